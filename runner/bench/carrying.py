"""What an order to the bench does, and the event that says what really happened. One line in the table for each order."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

from runner.events import (
    ActuatorIsSet,
    Event,
    LimitsAreSet,
    LoadIsOn,
    LoadIsSet,
    OrderFailed,
    OutputIsOff,
    OutputIsOn,
    SupplyIsSet,
)
from runner.orders import Guide, LoadOn, Order, SetLimits, SetLoad, SetSupply, SwitchOff, SwitchOn


class SupplyPort(Protocol):
    """What an order needs of a supply; every call reads back what it set."""

    def limit(self, voltage: float, current: float) -> tuple[float, float]: ...

    def set(self, voltage: float, current: float) -> tuple[float, float]: ...

    def on(self) -> None: ...


class LoadPort(Protocol):
    """What an order needs of a load."""

    def set(self, current: float) -> float: ...

    def on(self) -> None: ...


class ActuatorPort(Protocol):
    """What an order needs of what heats and cools on command."""

    def guide(self, action: str, sensor: str, rate: float) -> tuple[float, float] | None: ...


class OrderedBench(Protocol):
    """What orders need of a bench."""

    @property
    def supply(self) -> SupplyPort | None: ...

    @property
    def load(self) -> LoadPort | None: ...

    @property
    def actuator(self) -> ActuatorPort | None: ...


class Carrying:
    """Carries orders out on a bench. ``now`` gives seconds on the run's clock.

    ``off`` is the one way to off, and says whether it was confirmed; with True it means what heats too. ``going_on`` is told
    before something may go on.
    """

    def __init__(
        self,
        bench: OrderedBench,
        now: Callable[[], float],
        off: Callable[[bool], tuple[bool, str]],
        going_on: Callable[[], None],
    ) -> None:
        self._bench, self._now, self._off, self._going_on = bench, now, off, going_on
        self._table: dict[type[Order], Callable[[Any], Event | None]] = {
            SwitchOff: self._switch_off,
            Guide: self._guide,
            SetLimits: self._limit_supply,
            SetSupply: self._set_supply,
            SwitchOn: self._supply_on,
            SetLoad: self._set_load,
            LoadOn: self._load_on,
        }

    def carry_out(self, order: Order) -> Event | None:
        """What came of an order, stamped when it was read back; None of an order that is none to the bench. Raises BenchError."""
        handler = self._table.get(type(order))
        return handler(order) if handler is not None else None

    def _switch_off(self, order: SwitchOff) -> Event:
        confirmed, remark = self._off(order.everything)
        return OutputIsOff(self._now(), confirmed, remark, order.everything)

    def _guide(self, order: Guide) -> Event | None:
        actuator = self._bench.actuator
        if actuator is None or order.action == "substitute":  # a person does it
            return None
        self._going_on()
        points = actuator.guide(order.action, order.sensor, order.rate)
        return None if points is None else ActuatorIsSet(self._now(), *points)

    def _limit_supply(self, order: SetLimits) -> Event:
        supply = self._bench.supply
        if supply is None:
            return self._missing(order, "supply")
        limits = supply.limit(order.voltage, order.current)
        return LimitsAreSet(self._now(), *limits)

    def _set_supply(self, order: SetSupply) -> Event:
        supply = self._bench.supply
        if supply is None:
            return self._missing(order, "supply")
        points = supply.set(order.voltage, order.current)
        return SupplyIsSet(self._now(), *points)

    def _supply_on(self, order: SwitchOn) -> Event:
        supply = self._bench.supply
        if supply is None:
            return self._missing(order, "supply")
        self._going_on()
        supply.on()
        return OutputIsOn(self._now())

    def _set_load(self, order: SetLoad) -> Event:
        load = self._bench.load
        if load is None:
            return self._missing(order, "load on a cable")
        current = load.set(order.current)
        return LoadIsSet(self._now(), current)

    def _load_on(self, order: LoadOn) -> Event:
        load = self._bench.load
        if load is None:
            return self._missing(order, "load on a cable")
        self._going_on()
        load.on()
        return LoadIsOn(self._now())

    def _missing(self, order: Order, what: str) -> Event:
        return OrderFailed(self._now(), type(order).__name__, f"this bench has no {what}")
