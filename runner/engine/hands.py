"""Heat and ice at a sensor: which orders bring them, and that they go away before a step that does not go on with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from runner.engine.texts import ramps as texts
from runner.orders import BeginStep, Guide, Order

KEEPS_HANDS = ("heat", "cool", "wait", "bring back")  # steps that go on where the one before has heated or cooled


def hands_off(sensor: str, *, now: bool = False) -> Guide:
    """Stop heating or cooling ``sensor`` ("" is the pack); ``now``: the run ends, and this comes first."""
    return Guide("still", sensor, 0.0, texts.take_away(sensor, now=now))


def for_machine(order: Guide) -> Guide:
    """The same order in the words for a bench whose actuator carries it out; none sets a decade box."""
    if order.action == "substitute":
        return order
    return replace(order, say=texts.actuator(order.action, order.sensor, order.rate))


def heats(order: Guide, *, by_machine: bool) -> bool:
    """Whether heat or ice is at a sensor after this order: a person holds a temperature without, an actuator with."""
    return order.action in ("heat", "cool") or (order.action == "hold" and by_machine)


def taken_away_between(orders: Sequence[Order], hands_at: str | None, *, by_machine: bool) -> list[Order]:
    """The same orders, and before a step that heats and cools nothing, or another sensor, heat and ice go away.

    ``hands_at``: the sensor at which they are when the first of the orders is given; None: at none.
    """
    found = list[Order]()
    for order in orders:
        if isinstance(order, Guide):
            hands_at = order.sensor if heats(order, by_machine=by_machine) else None
        goes_on = isinstance(order, BeginStep) and order.kind in KEEPS_HANDS and order.sensor == hands_at
        if isinstance(order, BeginStep) and hands_at is not None and not goes_on:
            found.append(hands_off(hands_at))
            hands_at = None
        found.append(order)
    return found
