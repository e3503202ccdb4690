"""The simulated operator's eyes: what a person at the simulated bench reads off displays, and how late their key comes."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from runner.events import LOAD_CURRENT, METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT, Sampled
from runner.notation.quantity import parse_quantity
from runner.orders import Ask, AskTaps, BeginStep, End, Guide, Order, next_degree
from runner.twin.world import REFRESH, World
from runner.vocabulary import BoxPlace, Observed, Role, Wants

GONE, SEEN = 0.1, 0.15  # of what flowed: less is none on a clamp; A more than what was left are seen
JUST_NOW = 6.0  # s: longer than the simulated eyes are away from the bench, 4 s after each question (UNATTENDED)
HESITATION = 1.0  # s, at most: a hand that sets a box is no clock, so its moments keep no step with the pack's looks


@dataclass(frozen=True)
class Switched:
    """What a person switches: A that a load draws, V and A of a charger; and the clamp they read: s of its refresh, ± gain."""

    draws: float = 0.0
    voltage: float = 0.0
    current: float = 0.0
    refresh: float = 0.0
    gain: float = 0.0


class SimulatedEyes:
    """Looks at a world in this process. ``reaction``: how late a key comes, and how much that varies, in s."""

    def __init__(
        self, world: World, reaction: tuple[float, float], switched: Switched | None = None, *, heats: bool = True
    ) -> None:
        """``switched``: what a person switches and reads there. ``heats``: no actuator does it."""
        self._heats = heats
        self._world, self._reaction = world, reaction
        self._after_the_knob: float | None = (
            None  # s from the last knob of a box to the key: a habit, drawn when it is needed
        )
        self._switched = switched or Switched()
        self._clamp_error = random.Random(f"clamp {world.truth.seed}").uniform(-1.0, 1.0) * self._switched.gain
        self._pressed_at: float | None = None
        self._sets_at: float | None = None
        self._carried = self._looked = False
        self._flowed = self._left = 0.0  # A that flowed at most, and that was left when it was gone
        self._dice = random.Random(f"eyes {world.truth.seed}")
        self._sensor = ""
        self._taps: AskTaps | None = None
        self._next = 0.0
        self._seen: tuple[float, float] | None = None
        self._pressed: list[Sampled] = []

    def told(self, order: Order, t: float) -> None:
        if isinstance(order, (Guide, End)):
            self._heat_or_set(order)
        if isinstance(order, BeginStep):
            self._sensor = order.sensor or self._sensor
        if isinstance(order, Ask):
            self._pressed_at = self._sets_at = None
            self._looked = False
            if order.box == BoxPlace.OUT:
                self._world.boxed.clear()
        if isinstance(order, AskTaps):
            self._taps = order if order.step else None
            self._next, self._seen = order.first, None

    def _heat_or_set(self, order: Guide | End) -> None:
        """Heats, cools or sets the box as told; heat and ice go away when the run is over, whatever was said."""
        with self._world.lock:
            self._world.catch_up()
            if isinstance(order, Guide) and order.action == "substitute":
                self._world.substitute(order.sensor, order.rate)
            elif not self._heats:
                self._world.hands.sensor = (
                    order.sensor if isinstance(order, Guide) else ""
                ) or self._world.hands.sensor
            elif isinstance(order, Guide):
                self._world.hands.told(order.action, order.sensor, order.rate)
            else:
                self._world.hands.told("still", "", 0.0)

    def read(self, ask: Ask) -> str:
        with self._world.lock:
            self._world.catch_up()
            if ask.wants == Wants.CHOICE:
                return self._choice(ask)
            return self._number(ask)

    def moment(self, ask: Ask, t: float) -> float | None:
        """A sight is seen when it happens, or when a display next shows something new; the key comes a reaction later.

        A box is set by the same hands that press: the key comes with the last knob or some time after it, up to twice a reaction,
        as that person is used to, and a little early or late each time. Other keys come at once.
        """
        if ask.setting is not None:
            return self._box_set(ask.setting, t)
        sights = {
            Observed.LOAD_STOPPED.value: (self._load_stopped, 0.0),
            Observed.CAME_BACK.value: (self._came_back, REFRESH),
            Observed.CURRENT_GONE.value: (self._current_is_gone, self._switched.refresh),
            Observed.CURRENT_BACK.value: (self._current_is_back, self._switched.refresh),
        }
        if ask.of not in sights:
            return t
        with self._world.lock:
            self._world.catch_up()
            look, refresh = sights[ask.of]
            there, happened = look(), self._last_change(t)
        if not there:
            self._pressed_at = None
            return None
        if self._pressed_at is None:
            seen = happened + self._dice.uniform(0.0, refresh)
            self._pressed_at = seen + max(0.05, self._dice.gauss(*self._reaction))
        return self._pressed_at if t >= self._pressed_at else None

    def too_late(self, ask: Ask) -> bool:
        first, self._looked = not self._looked, True
        with self._world.lock:
            self._world.catch_up()
            return first and ask.of == Observed.CAME_BACK and self._came_back()

    def _box_set(self, resistance: float, t: float) -> float | None:
        if self._sets_at is None:
            self._sets_at = t + self._dice.uniform(0.0, HESITATION)
        if t < self._sets_at:
            return None
        if self._pressed_at is None:
            with self._world.lock:
                self._world.catch_up()
                self._world.substitute(self._sensor, resistance)
            if self._after_the_knob is None:
                self._after_the_knob = self._dice.uniform(0.0, 2 * self._reaction[0])
            self._pressed_at = t + self._after_the_knob + self._dice.gauss(0.0, self._reaction[1])
        if t < self._pressed_at:
            return None
        pressed, self._pressed_at, self._sets_at = self._pressed_at, None, None
        return pressed

    def act(self, ask: Ask) -> None:
        """Tape the probe to the sensor that is next, plug the box in its place, or switch the load that has no cable."""
        if ask.box == BoxPlace.IN:  # at 25 °C, as the question says
            with self._world.lock:
                self._world.catch_up()
                self._world.boxed = {self._sensor: 25.0}
        elif ask.wants == Wants.GO_ON and self._sensor:
            with self._world.lock:
                self._world.catch_up()
                if self._heats:
                    self._world.hands.told("still", "", 0.0)
                self._world.hands.sensor = self._sensor
        if ask.of in (Observed.LOAD_ON, Observed.LOAD_OFF):
            with self._world.lock:
                self._world.catch_up()
                self._world.load_current, self._carried = self._switched.draws, False
                self._world.switch_load(ask.of == Observed.LOAD_ON)
        if ask.of in (Observed.CHARGER_ON, Observed.CHARGER_OFF):
            with self._world.lock:
                self._world.catch_up()
                self._world.supply_voltage, self._world.supply_current = self._switched.voltage, self._switched.current
                self._world.switch_supply(ask.of == Observed.CHARGER_ON)

    def _on_the_clamp(self) -> float:
        """A, positive when it charges."""
        return round(self._world.current * (1.0 + self._clamp_error), 2)

    def _last_change(self, t: float) -> float:
        """When the pack last opened or closed a path, in s of the run, if that was just now; else now."""
        changes = self._world.pack.system.changes
        ago = (
            self._world.t - float(str(changes[-1]["t"])) if changes else JUST_NOW
        )  # a session has one world, many runs
        return t - ago if 0.0 <= ago < JUST_NOW else t

    def _load_stopped(self) -> bool:
        if self._world.current < 0:
            self._carried = True
        return self._carried and self._world.current >= 0

    def _current_is_gone(self) -> bool:
        """What flows is next to nothing of what flowed: a pack may leave a little."""
        now = abs(self._world.current)
        self._flowed = max(self._flowed, now)
        gone = now < GONE * self._flowed
        self._left = now if gone else self._left
        return gone

    def _current_is_back(self) -> bool:
        return abs(self._world.current) > self._left + SEEN

    def _came_back(self) -> bool:
        return not self._world.pack.system.discharge_open

    def displays(self) -> dict[str, float]:
        with self._world.lock:
            self._world.catch_up()
            return {
                PROBE_TEMPERATURE: round(self._world.displayed(), 1),
                METER_VOLTAGE: round(self._world.terminal_voltage(), 2),
                SUPPLY_CURRENT: max(self._on_the_clamp(), 0.0),
                LOAD_CURRENT: max(-self._on_the_clamp(), 0.0),
            }

    def taps(self, t: float) -> list[Sampled]:
        """Between two looks the display moves in a straight line; the key comes a reaction later."""
        if self._taps is not None:
            with self._world.lock:
                self._world.catch_up()
                shown = self._world.displayed()
            self._watch(t, shown, self._taps.step)
        due = [tap for tap in self._pressed if tap.t <= t]
        self._pressed = [tap for tap in self._pressed if tap.t > t]
        return due

    def _watch(self, t: float, shown: float, step: float) -> None:
        before, self._seen = self._seen, (t, shown)
        sign = 1.0 if step > 0 else -1.0
        while before is not None and sign * (shown - self._next) >= 0:
            moved = shown - before[1]
            part = (self._next - before[1]) / moved if moved else 1.0
            passed = before[0] + min(max(part, 0.0), 1.0) * (t - before[0])
            late = max(0.05, self._dice.gauss(*self._reaction))
            self._pressed.append(Sampled(passed + late, {PROBE_TEMPERATURE: self._next}, by_hand=True))
            self._next = next_degree(self._next, step)

    def _choice(self, ask: Ask) -> str:
        if set(ask.choices) == {"no", "yes"}:
            return "yes" if ask.of == Observed.ALARM and self._world.pack.system.alarms else "no"
        if ask.of == Observed.ALARM:
            alarms = [
                kind.replace("_", " ").replace(" temperature", "-temperature")
                for kind in self._world.pack.system.alarms
            ]
            fitting = [
                choice for choice in ask.choices if any(choice.replace("-", " ") in a.replace("-", " ") for a in alarms)
            ]
            return (fitting or [ask.choices[-1]])[0]
        return ask.choices[0]

    def _number(self, ask: Ask) -> str:
        world = self._world
        state = world.pack.state(world.current, world.sensed())
        if ask.of == Observed.LAST_VOLTAGE:
            return f"{world.last_loaded:.2f} V"
        if ask.role == Role.COUNTER:
            charge, energy = world.counted
            return f"{charge / 3600:.2f} Ah" if ask.dimension == "charge" else f"{energy / 3600:.1f} Wh"
        looks: dict[str, Callable[[], float]] = {
            Observed.LOWEST_CELL_VOLTAGE: lambda: state.lowest,
            Observed.HIGHEST_CELL_VOLTAGE: lambda: state.highest,
            Observed.AMBIENT_TEMPERATURE: lambda: world.truth.bench.ambient,
            Observed.PACK_TEMPERATURE: lambda: world.sensed().get(self._sensor, world.truth.bench.ambient),
            Observed.OPEN_CIRCUIT_VOLTAGE: world.terminal_voltage,
            Observed.LOADED_VOLTAGE: world.terminal_voltage,
            Observed.CHARGING_VOLTAGE: world.terminal_voltage,
            Observed.WOKEN_VOLTAGE: world.terminal_voltage,
            Observed.CLAMP_CURRENT: lambda: abs(self._on_the_clamp()),
            Observed.THERMOMETER: lambda: round(world.displayed(), 1),
        }
        if ask.of in looks:
            return f"{looks[ask.of]():.3f} {ask.unit}"
        if ask.lowest is not None and ask.highest is not None:
            return f"{_in_unit((ask.lowest + ask.highest) / 2, ask)} {ask.unit}"
        return f"1 {ask.unit}"


def _in_unit(value: float, ask: Ask) -> float:
    one = parse_quantity(f"1 {ask.unit}", ask.dimension)
    return value if ask.dimension == "temperature" else value / one
