"""The bench as a whole: opened from its file, polled, made safe, closed."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pyvisa

from runner.bench.dialect import BUILT_IN, Speaker
from runner.bench.link import Link
from runner.bench.load import Load
from runner.bench.probe import Probe
from runner.bench.supply import Supply
from runner.errors import BenchError, BenchNotReady
from runner.events import (
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
)
from runner.sheets.bench import BenchFile
from runner.sheets.dialect import Dialect

OFF_PAUSES = (0.0, 0.2, 0.5, 1.0, 2.0, 4.0)  # s before each attempt: a busy or rebooting interface needs a moment


class Readings:
    """What one poll gave: values by channel, and the reason for each that did not arrive."""

    def __init__(self) -> None:
        self.values: dict[str, float] = {}
        self.lost: dict[str, str] = {}
        self.mode = ""
        self.output: bool | None = None


class Bench:
    """An open bench. Everything on it is called from one thread."""

    def __init__(
        self,
        sheet: BenchFile,
        dialects: Mapping[str, Dialect],
        now: Callable[[], float],
        pause: Callable[[float], None],
    ) -> None:
        """Open the connections lazily; ``ready`` looks whether everybody is there."""
        self.sheet, self._pause = sheet, pause
        self._manager = pyvisa.ResourceManager(sheet.backend)
        self.speakers: dict[str, Speaker] = {}
        for role, instrument in sheet.wired().items():
            dialect = dialects.get(role) or BUILT_IN[role]
            link = Link(
                self._manager,
                instrument.address,
                role,
                timeout=instrument.timeout,
                identity=instrument.identity,
                identify=dialect.identity,
                now=now,
            )
            self.speakers[role] = Speaker(link, dialect, instrument.channel)
        instruments = sheet.instruments
        self.supply = Supply(self.speakers["supply"], instruments.supply) if instruments.supply else None
        self.load = (
            Load(self.speakers["load"], instruments.load) if instruments.load and "load" in self.speakers else None
        )

        probe = instruments.probe
        self.probe = Probe(self.speakers["probe"], probe) if probe and "probe" in self.speakers else None

    def ready(self) -> dict[str, str]:
        """The identity of every instrument by role. Raises BenchNotReady with every fault there is."""
        faults: list[BenchError] = []
        for role, speaker in self.speakers.items():
            try:
                self._greet(role, speaker)
            except BenchError as fault:
                faults.append(fault)
        if faults:
            raise BenchNotReady(faults)
        return {role: speaker.link.identity for role, speaker in self.speakers.items()}

    def _greet(self, role: str, speaker: Speaker) -> None:
        speaker.link.hurry()
        if role == "probe" and self.probe is not None:
            self.probe.read()
            return
        for query in ("output", "input", "temperature", "voltage"):
            if query in speaker.dialect.queries:
                speaker.number(query)
                return
        if speaker.dialect.identity:
            speaker.link.ask(speaker.dialect.identity)

    # ---- polling ---------------------------------------------------------------------------------------------

    def poll_supply(self, into: Readings) -> None:
        """Voltage, current, output and mode of the supply. A fault is a reason in ``lost``, never an exception."""
        if self.supply is None:
            return
        try:
            reading = self.supply.read()
        except BenchError as fault:
            into.lost[SUPPLY_VOLTAGE] = into.lost[SUPPLY_CURRENT] = str(fault)
            return
        into.mode, into.output = reading.mode, reading.output
        for channel, value in ((SUPPLY_VOLTAGE, reading.voltage), (SUPPLY_CURRENT, reading.current)):
            if value is None:
                into.lost[channel] = reading.bad
            else:
                into.values[channel] = value

    def poll_load(self, into: Readings) -> None:
        """Voltage, current and input of the load. A fault is a reason in ``lost``, never an exception."""
        if self.load is None:
            return
        try:
            reading = self.load.read()
        except BenchError as fault:
            into.lost[LOAD_VOLTAGE] = into.lost[LOAD_CURRENT] = str(fault)
            return
        into.output = reading.output
        for channel, value in ((LOAD_VOLTAGE, reading.voltage), (LOAD_CURRENT, reading.current)):
            if value is None:
                into.lost[channel] = reading.bad
            else:
                into.values[channel] = value

    def poll_slow(self, into: Readings) -> None:
        """Reference temperature and terminal voltage, where the bench has them."""
        reads: list[tuple[str, Callable[[], float]]] = []
        if self.probe is not None:
            reads.append((PROBE_TEMPERATURE, self.probe.read))
        if "meter" in self.speakers:
            reads.append((METER_VOLTAGE, lambda: self.speakers["meter"].number("voltage")))
        for channel, read in reads:
            try:
                into.values[channel] = read()
            except BenchError as fault:
                into.lost[channel] = str(fault)

    # ---- hands and the way out -------------------------------------------------------------------------------

    def guide(self, action: str, sensor: str, rate: float) -> None:
        """Tell hands that can be told (the simulated ones). Raises BenchError.

        ``rate`` is in K/s and sent in K/min; for the decade box it is Ω, sent as it is.
        """
        if "hands" in self.speakers:
            self.speakers["hands"].command(action, rate if action == "substitute" else rate * 60, sensor)

    def off(self) -> tuple[bool, str]:
        """Supply and load off. (True, "") if both read back as off, else (False, what to do). Never raises.

        Everybody gets a first attempt before anybody gets a second; the whole takes at most the OFF_PAUSES and, for each
        attempt that fails, two openings and two replies.
        """
        unsure = {name: thing for name, thing in (("supply", self.supply), ("load", self.load)) if thing is not None}
        for seconds in OFF_PAUSES:
            self._pause(seconds)
            unsure = {name: thing for name, thing in unsure.items() if not thing.off()}
            if not unsure:
                return True, ""
        words = " and ".join(unsure)
        return False, f"{words} did not confirm to be off: SWITCH OFF {words.upper()} BY HAND"

    def close(self) -> None:
        """Close every connection. Never raises. The outputs stay as they are."""
        for speaker in self.speakers.values():
            speaker.link.close()
