"""The programmable supply: limits, set points, output, each read back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from runner.bench.dialect import Driver
from runner.errors import BenchError, NotAReading, SettingError
from runner.sheets import instruments as sheets
from runner.sheets.instrument_parts import InstrumentSheet

NO_CURRENT = 0.01  # of the most that it may carry
LEAST_CURRENT = 0.05  # A: so much an instrument may show that is off (common practice, no source)


def off_current(instrument: InstrumentSheet) -> float:
    """A: what a supply or load that is off may read at most."""
    if not isinstance(instrument, sheets.SupplySheet | sheets.LoadSheet):
        return 0.0
    accuracy = instrument.current_accuracy
    declared = 3 * float(accuracy.offset + accuracy.resolution)
    return max(declared, NO_CURRENT * float(instrument.limits.current), LEAST_CURRENT)


@dataclass(frozen=True)
class PowerReading:
    """One reading of a supply or a load, in V and A; None is a value that was no reading, with the reason in ``bad``.

    ``fault``: that it is on and not as it was set, or on without an order; of the latter, ``unordered`` is the instrument's role.
    """

    voltage: float | None
    current: float | None
    output: bool | None
    mode: str
    bad: str = ""
    fault: str = ""
    unordered: str = ""


NOTHING_READ = PowerReading(None, None, None, "")
SURE = 2  # readings in a row: a lone bad one ends no run


class Settings:
    """What an instrument was set to, and whether it was ordered on.

    One that was without power comes back with other settings, and perhaps with its output on; and anybody can press the key at its
    front. ``ordered``: whether on was the last order. ``state`` is the query for whether it is on; one that has none counts as on
    while its current is more than ``below`` (A), which it has to be at most to count as off.
    """

    def __init__(self, speaker: Driver, state: str, below: float) -> None:
        self._speaker, self._state, self._below = speaker, state, below
        self.ordered = False
        self._on_unordered = 0  # how often in a row it has said that it is on though it was ordered off
        self.came_on = False  # whether it went on in this run without an order
        self._kept: dict[str, tuple[float, float]] = {}  # what reads back, and by how much it may differ
        self._opening = self._set_at = 0  # the openings of the session in which they were seen, and set, last

    def set(self, what: str, value: float, tolerance: float) -> float:
        """Set it; what reads back. Raises BenchError."""
        got = self._speaker.set(what, value, tolerance)
        self._kept[what] = (got, max(tolerance, 1e-3 * abs(got)))
        self._set_at = self._speaker.link.openings
        return got

    def before_on(self) -> None:
        """On a connection that was opened since the setting, everything is compared, and set once more, before it is switched on.

        One that was without power has its own settings, some of which nothing reads back. Raises BenchError.
        """
        self._speaker.link.reach()
        if self._speaker.link.openings != self._set_at:
            self.check()
            for what, (value, tolerance) in list(self._kept.items()):
                self.set(what, value, tolerance)

    def checked(self, read: Callable[[], PowerReading]) -> PowerReading:
        """A reading, with what has to end the run at once if it is on and not as it was set, or without an order.

        What was under way while on or off was ordered says nothing of an order. Raises LinkError.
        """
        ordered = self.ordered
        reading = read()
        flows = reading.output is None and reading.current is not None and abs(reading.current) > self._below
        unordered = (reading.output is True or flows) and not ordered and not self.ordered
        self._on_unordered = self._on_unordered + 1 if unordered else 0
        if reading.output is False:
            return reading
        try:
            self.check()
        except SettingError as fault:
            reading = replace(reading, fault=str(fault))
        if self._on_unordered < SURE:
            return reading
        self.came_on = True
        instrument = self._speaker.link.instrument
        said = SettingError.unordered(instrument, reading.current if flows else None)
        return replace(reading, fault=str(said), unordered=instrument)

    def idle(self) -> PowerReading:
        """Whether it is on, of an instrument that feeds or loads nothing now; by its current where it cannot say so.

        Raises BenchError.
        """
        return self.checked(self._read_state)

    def _read_state(self) -> PowerReading:
        if self._state not in self._speaker.dialect.queries:
            current = self._speaker.number("current")
            return replace(NOTHING_READ, current=current, output=None if abs(current) > self._below else False)
        return replace(NOTHING_READ, output=bool(self._speaker.number(self._state)))

    def check(self) -> None:
        """After the connection was lost and is back: whether everything is as it was set. Raises BenchError."""
        opening = self._speaker.link.openings
        if opening == self._opening:
            return
        for what, (value, tolerance) in self._kept.items():
            if f"{what}_setting" in self._speaker.dialect.queries:
                got = self._speaker.number(f"{what}_setting")
                if abs(got - value) > tolerance:
                    raise SettingError.lost(self._speaker.link.instrument, what, value, got)
        self._opening = opening


class Supply:
    """Speaks for the supply. Voltages in V, currents in A."""

    def __init__(self, speaker: Driver, sheet: sheets.SupplySheet) -> None:
        self.speaker, self.sheet, self.settings = speaker, sheet, Settings(speaker, "output", off_current(sheet))

    def limit(self, voltage: float, current: float) -> tuple[float, float]:
        """Program the supply's own over-voltage and over-current protection; what it reads back.

        What no command sets was set by a person, who has confirmed it. Raises BenchError; then the output was not switched on.
        """
        wanted = {"overvoltage": voltage, "overcurrent": current}
        known = self.speaker.dialect.commands
        got = {what: self._set(what, value) if f"set_{what}" in known else value for what, value in wanted.items()}
        return got["overvoltage"], got["overcurrent"]

    def set(self, voltage: float, current: float) -> tuple[float, float]:
        """Program the set points; what reads back. Raises BenchError; then the output is as it was."""
        limits = self.sheet.limits
        if voltage > limits.voltage or current > limits.current:
            raise BenchError(
                f"{voltage:g} V and {current:g} A are asked for, at most {limits.voltage:g} V and {limits.current:g} A are allowed",
                "supply",
                "",
                "correct limits in the bench file if supply and pack allow it",
            )
        return self._set("voltage", voltage), self._set("current", current)

    def on(self) -> None:
        """Output on, and read back as on. Raises BenchError; then it may be on, and has to be switched off."""
        self.settings.before_on()
        self.settings.ordered = True
        self.speaker.switch("output", True)

    def read(self) -> PowerReading:
        """Voltage, current, output and mode. Raises LinkError."""
        return self.settings.checked(lambda: read_power(self.speaker, "output", self.speaker.mode))

    def _set(self, what: str, value: float) -> float:
        accuracy = self.sheet.current_accuracy if "current" in what else self.sheet.voltage_accuracy
        return self.settings.set(what, value, 1.5 * accuracy.resolution)


def read_power(speaker: Driver, state: str, mode: Callable[[], str]) -> PowerReading:
    """Voltage, current, whether it is on where it says so, and the mode asked for after them. Raises LinkError."""
    told = [state] if state in speaker.dialect.queries else []
    voltage, current, *rest = speaker.numbers("voltage", "current", *told)
    on = rest[0] if rest else None
    bad = "; ".join(str(value) for value in (voltage, current, on) if isinstance(value, NotAReading))
    return PowerReading(
        None if isinstance(voltage, NotAReading) else voltage,
        None if isinstance(current, NotAReading) else current,
        None if on is None or isinstance(on, NotAReading) else bool(on),
        mode(),
        bad,
    )
