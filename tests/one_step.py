"""A run of one step on a bench that reads what a test says, told second by second."""

from __future__ import annotations

from dataclasses import replace

from runner.engine.opening import CAUTIONS
from runner.engine.program import CeilingValues, Planned
from runner.engine.run import Run
from runner.events import (
    CHARGE,
    DISCHARGE,
    LOAD_CURRENT,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    PROBE_TEMPERATURE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    Answered,
    Event,
    LimitsAreSet,
    LoadIsOn,
    LoadIsSet,
    OutputIsOff,
    OutputIsOn,
    Sampled,
    Started,
    SupplyIsSet,
)
from runner.orders import Conclude, Order, Pace
from tests.builders import a_program

WIDE = CeilingValues(None, 60.0, 60.0, 1e6)  # no ceiling is what these tests are about
NAMES = {
    "supply": SUPPLY_VOLTAGE,
    "charge": SUPPLY_CURRENT,
    "load": LOAD_VOLTAGE,
    "draw": LOAD_CURRENT,
    "meter": METER_VOLTAGE,
    "probe": PROBE_TEMPERATURE,
}


class OneStep:
    """The run; ``t`` its time; ``orders`` every order since the step began. Steps given as ``after`` come after it, ``before`` is done to the run before."""

    def __init__(
        self,
        kind: str,
        values: dict,
        *,
        program: dict | None = None,
        after: tuple = (),
        before=lambda run: None,
        **planned,
    ) -> None:
        step = Planned(0, kind, f"the {kind}", "", values, **planned)
        following = tuple(replace(each, index=number) for number, each in enumerate(after, start=1))
        plan = {"ceilings": WIDE, "smallest_current": {CHARGE: 0.03, DISCHARGE: 0.03}, "patience": 1.0}
        self.run = Run(replace(a_program(), steps=(step, *following), **{**plan, **(program or {})}))
        self.orders: list[Order] = []
        self.t = 0.0
        self.run.receive(Started(0.0, ""))
        before(self.run)
        self.tell(Answered(0.0, CAUTIONS, "go on", "me"))

    def tell(self, *events: Event) -> list[Order]:
        """The orders that these events make."""
        made = [order for event in events for order in self.run.receive(event)]
        self.orders += made
        return made

    def on(self, path: str, current: float, voltage: float = 0.0) -> OneStep:
        """The path comes on as the step asked for."""
        t = self.t
        if path == DISCHARGE:
            self.tell(LoadIsSet(t, current), LoadIsOn(t))
        else:
            self.tell(LimitsAreSet(t, 30.0, 50.0), SupplyIsSet(t, voltage, current), OutputIsOn(t))
        return self

    def off(self) -> OneStep:
        self.tell(OutputIsOff(self.t, True))
        return self

    def read(
        self, seconds: float, every: float = 1.0, *, mode: str = "CC", output: bool = True, **readings
    ) -> list[Order]:
        """So many seconds of readings, each a number or what is to be made of the time; the orders that they make."""
        made, end = [], self.t + seconds
        while self.t < end - 1e-9 and not self.run.ended:
            self.t += every
            now = {NAMES[name]: value(self.t) if callable(value) else value for name, value in readings.items()}
            known = {channel: value for channel, value in now.items() if value is not None}
            lost = {channel: "no reply" for channel, value in now.items() if value is None}
            made += self.tell(Sampled(self.t, known, lost, mode, output))
        return made

    @property
    def conclusion(self) -> Conclude | None:
        found = [order for order in self.orders if isinstance(order, Conclude)]
        return found[-1] if found else None

    @property
    def pace(self) -> tuple[float, float] | None:
        """How often current and the rest are polled by now, in s."""
        found = [order for order in self.orders if isinstance(order, Pace)]
        return (found[-1].interval, found[-1].slow) if found else None
