"""The bench as a whole: opened from its file, polled, made safe, closed."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection, Iterator, Mapping
from functools import partial
from typing import Protocol

from runner.bench.actuator import Actuator
from runner.bench.dialect import BUILT_IN, Driver
from runner.bench.line import Transport
from runner.bench.link import Link
from runner.bench.load import Load
from runner.bench.off import OffWords, Proof, insist, stays_off, switch_off_by_hand
from runner.bench.probe import Probe
from runner.bench.sessions.listening import Listener
from runner.bench.sessions.session import Session
from runner.bench.supply import Supply, off_current
from runner.bench.transports.choose import Wiring
from runner.bench.wired import wiring
from runner.errors import BenchError, BenchNotReady
from runner.events import CHARGE, CURRENT_OF, DISCHARGE, VOLTAGE_OF
from runner.sheets.bench import BenchFile
from runner.sheets.dialect import Dialect
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import facts_of, reads_into, role_of
from runner.sheets.parts.meters import ProbeSheet
from runner.vocabulary import Role

OFF_IS_TOLD_AFTER = 4.5  # s of real time: what has not confirmed by then has to be told to a person

COMES_BACK = 1.0  # s after off: until then one that has gone on by itself has done so again, if it does

Connect = Callable[[str, InstrumentSheet], Transport]  # role, sheet -> a transport for one opening


class BenchClock(Protocol):
    """What a bench asks of its clock. Times in s on the run's clock, but for the ``seconds`` of ``together``: real ones."""

    speed: float

    @property
    def runs_by_itself(self) -> bool: ...

    def now(self) -> float: ...

    def sleep(self, seconds: float) -> None: ...

    def together(self, jobs: Mapping[str, Callable[[], None]], seconds: float) -> None: ...


class Readings:
    """What one poll gave: values by channel, and the reason for each that did not arrive.

    ``ages``: how old a value was already when it was read, in s on the bench's clock, where that is not next to nothing.
    """

    def __init__(self) -> None:
        self.values: dict[str, float] = {}
        self.ages: dict[str, float] = {}
        self.lost: dict[str, str] = {}
        self.mode = ""
        self.output: bool | None = None
        self.fault = self.unordered = ""


class Bench:
    """An open bench. Its links may be used from several threads at once; each of them belongs to one at a time."""

    def __init__(
        self,
        sheet: BenchFile,
        dialects: Mapping[str, Dialect],
        clock: BenchClock,
        connect: Connect | None = None,
        announce: Callable[[float], None] = lambda seconds: None,
    ) -> None:
        """Connections are opened when they are needed; ``ready`` looks whether everybody is there.

        ``connect`` makes transports in place of PyVISA's; ``announce`` is told before each wait how long it may be, in s.
        """
        self.sheet, self._clock, self._announce = sheet, clock, announce
        self.speakers: dict[str, Driver] = {}
        self.wirings: dict[str, Wiring] = {}
        self.off_words: dict[str, OffWords] = {}  # made before anything is on, so that the way out needs no dialect
        sessions: dict[str, Session] = {}
        for role, instrument in sheet.wired().items():
            dialect = dialects.get(role) or BUILT_IN[role_of(role)]
            self.wirings[role] = wired = wiring(instrument, sheet.backend)
            link = (Listener if dialect.listen else Link)(
                partial(connect, role, instrument) if connect else wired.transport,
                instrument.address,
                role,
                timeout=instrument.timeout,
                identity=instrument.identity,
                identify=dialect.identity,
                queue=(dialect.errors.ask, dialect.errors.none) if dialect.errors else None,
                framing=wired.framing,
                start=[text.format(channel=instrument.channel) for text in dialect.start],
                end=[text.format(channel=instrument.channel) for text in dialect.end],
                session=sessions.setdefault(wired.key, Session()),
                now=clock.now,
                announce=announce,
            )
            self.speakers[role] = Driver(link, dialect, instrument.channel)
            facts = facts_of(role)
            if facts.off is not None:
                places = instrument.outputs
                self.off_words[role] = self.speakers[role].off_words(*facts.off, places, off_current(instrument))
        instruments, speakers = sheet.instruments, self.speakers
        self.supply = Supply(speakers["supply"], instruments.supply) if instruments.supply else None
        self.load = Load(speakers["load"], instruments.load) if instruments.load and "load" in speakers else None
        self.probes: dict[str, Probe] = {}
        for key, each in sheet.wired().items():
            if isinstance(each, ProbeSheet):
                self.probes[key] = Probe(speakers[key], each, self.probes)
        actuator = instruments.actuator
        self.actuator = Actuator(speakers["actuator"], actuator) if actuator else None
        self._slow = list(self._polled_slowly())

    def _polled_slowly(self) -> Iterator[tuple[str, str, Callable[[], float]]]:
        """Each channel that is polled slowly: its role, its name, and how it is read."""
        for role, speaker in self.speakers.items():
            for query, channel in facts_of(role).polled:
                own = self.probes.get(role) or (self.actuator if role == Role.ACTUATOR else None)
                read = own.read if own is not None else partial(speaker.number, query)
                yield role, reads_into(role, channel), read

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

    def _greet(self, role: str, speaker: Driver) -> None:
        speaker.link.hurry()
        if speaker.dialect.identity:
            speaker.link.ask(speaker.dialect.identity)
        if role in self.probes:
            self.probes[role].read()
        speaker.try_out(self.asked_of(role))

    def asked_of(self, role: str) -> tuple[str, ...]:
        """The queries that a run asks of a role."""
        if role in self.probes:
            return self.probes[role].asks
        return tuple(self.speakers[role].dialect.queries)

    def old_errors(self) -> list[tuple[str, str]]:
        """(role, entry) of what stood in error queues when sessions were opened, since the last call."""
        return [(role, entry) for role, speaker in self.speakers.items() for entry in speaker.link.take_old_errors()]

    # ---- polling ---------------------------------------------------------------------------------------------

    def poll_path(self, path: str, into: Readings) -> None:
        """Voltage, current, state and mode of what feeds or loads this path. A fault is a reason in ``lost``."""
        source = {CHARGE: self.supply, DISCHARGE: self.load}[path]
        if source is None:
            return
        try:
            reading = source.read()
        except BenchError as fault:
            into.lost[VOLTAGE_OF[path]] = into.lost[CURRENT_OF[path]] = str(fault)
            return
        into.mode, into.output = reading.mode, reading.output
        into.fault, into.unordered = reading.fault, reading.unordered
        for channel, value in ((VOLTAGE_OF[path], reading.voltage), (CURRENT_OF[path], reading.current)):
            if value is None:
                into.lost[channel] = reading.bad
            else:
                into.values[channel] = value

    def poll_idle(self, path: str, into: Readings) -> None:
        """Only whether what feeds or loads this path is on without an order; one that does not answer is asked again later."""
        source = {CHARGE: self.supply, DISCHARGE: self.load}[path]
        if source is not None:
            with contextlib.suppress(BenchError):
                reading = source.settings.idle()
                into.fault, into.unordered = reading.fault, reading.unordered

    def slow_groups(self) -> list[tuple[str, ...]]:
        """The roles that are polled slowly, those together that share a connection."""
        groups: dict[str, dict[str, None]] = {}
        for role, _, _ in self._slow:
            groups.setdefault(self.wirings[role].key, {})[role] = None
        return [tuple(roles) for roles in groups.values()]

    def poll_slow(self, into: Readings, roles: Collection[str] | None = None) -> None:
        """What changes slowly: temperatures, and the voltage at the pack's terminals, where the bench has them.

        ``roles``: only of these.
        """
        for role, channel, read in self._slow:
            if roles is not None and role not in roles:
                continue
            try:
                into.values[channel] = read()
                if age := self.speakers[role].age:
                    into.ages[channel] = age * self._clock.speed
            except BenchError as fault:
                into.lost[channel] = str(fault)

    # ---- the way out -----------------------------------------------------------------------------------------

    def off(self, *, everything: bool = True) -> tuple[bool, str]:
        """Supply and load off, with ``everything`` also what heats; each by itself and all at once.

        (True, "") if all read back as off and no current flows through them; (True, of which of them that is not known) if the
        rest did; else False and what to do.
        Never raises, and returns within OFF_IS_TOLD_AFTER s of real time: whoever has not confirmed by then is named in
        capitals for a person to switch off.
        """
        for source in (self.supply, self.load):
            if source is not None:
                source.settings.ordered = False
        meant = {role: words for role, words in self.off_words.items() if everything or facts_of(role).carries}
        proofs = {role: Proof() for role in meant}
        unsure = set(meant)
        try:
            self._announce(OFF_IS_TOLD_AFTER)
            jobs = {role: partial(self._off, role, unsure, proofs[role]) for role in meant}
            self._clock.together(jobs, OFF_IS_TOLD_AFTER)
        except Exception:  # no thread to be had, say: one after the other, then
            for role in [role for role in meant if role in unsure]:
                self._off(role, unsure, proofs[role])
        roles = [role for role in meant if role in unsure and not self._only_unread(role, proofs[role])]
        if roles:
            return False, switch_off_by_hand(roles, {role: proofs[role].doubt(meant[role]) for role in roles})
        mute = [role for role, words in meant.items() if not words.reports]
        unread = [role for role, words in meant.items() if words.reports and proofs[role].unread]
        said = [f"{' and '.join(mute)} told to switch off; cannot report it"] if mute else []
        said += [f"{role} reads back off; its current could not be read" for role in unread]
        return True, "; ".join(said)

    def _off(self, role: str, unsure: set[str], proof: Proof) -> None:
        """Switch one off; it leaves ``unsure`` once it has read back as off. Never raises."""
        link, words = self.speakers[role].link, self.off_words[role]
        if not insist(link, words, self._pause, proof):
            return
        if self._came_on(role):
            proof.off = False
            self._pause(COMES_BACK)  # what went on by itself once may do so again
            if not stays_off(link, words):
                return
        unsure.discard(role)

    def _only_unread(self, role: str, proof: Proof) -> bool:
        """Whether it reads back off, and only its current is missing. One that came on by itself is looked at again."""
        return proof.off and proof.unread and not self._came_on(role)

    def _came_on(self, role: str) -> bool:
        source = {Role.SUPPLY: self.supply, Role.LOAD: self.load}.get(Role(role))
        return source is not None and source.settings.came_on

    def _pause(self, seconds: float) -> None:
        """What an instrument needs to come to itself it needs in real time, however fast the bench's own time runs."""
        self._clock.sleep(seconds * self._clock.speed if self._clock.runs_by_itself else seconds)

    def close(self) -> None:
        """Close every connection. Never raises. The outputs stay as they are."""
        for speaker in self.speakers.values():
            speaker.link.finish()
