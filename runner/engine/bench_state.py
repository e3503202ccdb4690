"""What the engine knows of the bench at this moment: the latest readings, and how fast the temperature moves."""

from __future__ import annotations

from collections import deque

from runner.events import CHARGE, CURRENT_OF, DISCHARGE, PROBE_TEMPERATURE, SUPPLY_VOLTAGE, Sampled
from runner.vocabulary import Role

PATH_OF: dict[str, str] = {Role.CHARGER: CHARGE, Role.LOAD: DISCHARGE}  # what a person switches
STALE = 15.0  # s without a reading after which the last one is forgotten
RATE_WINDOW = 20.0  # s over which the live ramp rate is taken
TAPS = 4  # readings by hand over which it is taken


class BenchState:
    """Latest valid readings and the live ramp rate. Nothing here decides; findings are worked out elsewhere."""

    def __init__(self) -> None:
        self.t = 0.0
        self.latest: dict[str, float] = {}
        self.lost: dict[str, str] = {}
        self._read: dict[str, float] = {}  # s: when each of these was read last
        self._silent: dict[str, float] = {}  # s: since when each of these has not been read
        self.by_hand_on: tuple[str, ...] = ()  # the roles that a person was told to switch on, and has not said are off
        self.hand_current: float | None = None  # A: what a person read on the clamp last
        self.hand_flowed = 0.0  # A: the most of it since something was switched on
        self.hands_at: str | None = None  # the sensor that hands heat or cool, "" for the pack, None while they do not
        self.path = ""  # the path that is on: charge, discharge, or none
        self.going_off = False  # off has been ordered and is not confirmed yet
        self.unordered = ""  # the role that is on though it was ordered off
        self.highest_while_off = 0.0  # V that the supply has shown with everything off
        self.path_since = 0.0  # s: when it was switched on
        self.output: bool | None = None  # what the instrument of that path said of itself last
        self.points = (0.0, 0.0)  # V and A of the supply, as read back last
        self.mode = ""
        self.marked_at: float | None = (
            None  # s: the last mark of a thermometer that a person reads; None where a cable does
        )
        self._temperatures: deque[tuple[float, float]] = deque()
        self._rate: tuple[float | None] | None = None  # worked out since the last change of the temperatures

    def take(self, sample: Sampled) -> None:
        """Remember a sample."""
        self.t = sample.t
        self.latest.update(sample.readings)
        self._read.update(dict.fromkeys(sample.readings, sample.t))
        for channel in sample.readings:
            self.lost.pop(channel, None)
            self._silent.pop(channel, None)
        self.lost.update(sample.lost)
        for channel in sample.lost:  # what an instrument said before it fell silent is no reading of now
            if sample.t - self._silent.setdefault(channel, sample.t) > STALE:
                self.latest.pop(channel, None)
        self.mode = sample.mode or self.mode
        self.output = self.output if sample.output is None else sample.output
        self.unordered = sample.unordered or self.unordered
        if not self.path:
            self.highest_while_off = max(self.highest_while_off, sample.readings.get(SUPPLY_VOLTAGE, 0.0))
        if sample.by_hand and PROBE_TEMPERATURE in sample.readings:
            self._temperatures = deque(
                self._temperatures, maxlen=TAPS
            )  # a tap a degree: the last few, however long ago
        if PROBE_TEMPERATURE in sample.readings:
            self._rate = None
            self.marked_at = sample.t if sample.by_hand else None
            self._temperatures.append((sample.t, sample.readings[PROBE_TEMPERATURE]))
            while not sample.by_hand and self._temperatures[0][0] < sample.t - RATE_WINDOW:
                self._temperatures.popleft()

    @property
    def hand_load(self) -> bool:
        """Whether a load that a person switches is on, or may be."""
        return Role.LOAD in self.by_hand_on

    @hand_load.setter
    def hand_load(self, on: bool) -> None:
        self.switched_by_hand(Role.LOAD, on=on)

    def switched_by_hand(self, role: str, *, on: bool) -> None:
        """A person is told to switch something on, or has said that it is off."""
        others = tuple(each for each in self.by_hand_on if each != role)
        self.by_hand_on = (*others, role) if on else others
        if on:
            self.path = PATH_OF[role]
        elif not others:
            self._nothing_on()

    def _nothing_on(self) -> None:
        self.path, self.output, self.hand_current, self.hand_flowed = "", None, None, 0.0

    def clamp_read(self, amps: float) -> None:
        """A person has read a current on the clamp, which shows it negative if it is turned round."""
        self.hand_current = abs(amps)
        self.hand_flowed = max(self.hand_flowed, abs(amps))

    def probe_moves(self, *, by_hand: bool) -> None:
        """The probe goes to another place: what a person has read there before says nothing about this one."""
        if by_hand:
            self.latest.pop(PROBE_TEMPERATURE, None)

    def moves_anew(self) -> None:
        """Another motion of the temperature begins: what was read before says nothing about its rate."""
        self._temperatures.clear()
        self._rate = None

    def switched_on(self, path: str, t: float) -> None:
        """The instrument of a path is on, as read back: what it said of itself before is over."""
        self.path, self.path_since, self.output = path, t, None

    def since_on(self, channel: str) -> float | None:
        """The latest reading, if it came since the path was switched on."""
        return self.latest.get(channel) if self._read.get(channel, -1.0) > self.path_since else None

    def switched_off(self) -> None:
        """Everything is off: the current read last is none that flows."""
        self.going_off, self.unordered = False, ""
        if not self.by_hand_on:
            self._nothing_on()
        for channel in CURRENT_OF.values():
            self.latest.pop(channel, None)

    @property
    def output_on(self) -> bool:
        """Whether supply or load is on."""
        return bool(self.path)

    @property
    def temperature(self) -> float | None:
        """The reference temperature, °C, if there is one."""
        return self.latest.get(PROBE_TEMPERATURE)

    def rate(self) -> float | None:
        """The slope of the reference temperature over the last RATE_WINDOW seconds, K/s, by least squares."""
        if self._rate is None:
            self._rate = (self._slope(),)
        return self._rate[0]

    def _slope(self) -> float | None:
        points = self._temperatures
        fewest = 5 if points.maxlen is None else 2
        if len(points) < fewest or points[-1][0] - points[0][0] < RATE_WINDOW / 3:
            return None
        mean_t = sum(t for t, _ in points) / len(points)
        mean_value = sum(value for _, value in points) / len(points)
        spread = sum((t - mean_t) ** 2 for t, _ in points)
        return sum((t - mean_t) * (value - mean_value) for t, value in points) / spread
