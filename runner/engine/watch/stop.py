"""A current that has stopped: what stopped it, and whether its coming back would be seen. Voltages in V, currents in A."""

from __future__ import annotations

from runner.engine.watch.contradiction import LEAD_VOLTAGE, VOLTAGE_RATIO
from runner.events import CHARGE
from runner.vocabulary import WatchWord

FULL_RATIO = 0.10  # of the set current: the end of a taper
COLLAPSE_RATIO = 0.5  # of the voltage before: a load that finds less has lost its source


def charge_stopped(
    before: float,
    points: tuple[float, float],
    voltage: float | None,
    terminal: float | None,
    end_of_charge: str,
    *,
    tapered: bool,
) -> tuple[str, str]:
    """The word and the evidence for a charge that has stopped.

    ``points`` are the set voltage and current, ``voltage`` and ``terminal`` what supply and pack terminals read since.
    ``end_of_charge`` is why it may be one, ``tapered`` whether the supply was in constant voltage.
    """
    set_voltage, set_current = points
    if tapered and before < 2 * FULL_RATIO * set_current:
        return WatchWord.FULL, f"the current had tapered to {before:.3g} A; possibly the end of charge"
    if voltage is not None and voltage < set_voltage * (1 - VOLTAGE_RATIO):
        why = f"no current, and the supply is at {voltage:.2f} V instead of {set_voltage:.2f} V: it is not regulating"
        return WatchWord.LIMITED, why
    if voltage is not None and terminal is not None and abs(voltage - terminal) > LEAD_VOLTAGE:
        return WatchWord.OPEN_LEAD, f"a lead is off (supply {voltage:.2f} V, pack terminals {terminal:.2f} V)"
    if end_of_charge:
        return WatchWord.FULL, end_of_charge
    return WatchWord.STOPPED, f"current fell from {before:.3g} A to 0; the supply is at its set voltage"


def discharge_stopped(
    before: float, stood: float, voltage: float | None, terminal: float | None, empty_at: float
) -> tuple[str, str]:
    """The word and the evidence for a discharge that has stopped. ``stood``: the voltage under load before."""
    if voltage is not None and voltage > COLLAPSE_RATIO * stood:
        return WatchWord.LIMITED, f"no current, but the load still sees {voltage:.2f} V: it stopped by itself"
    if voltage is not None and terminal is not None and terminal > COLLAPSE_RATIO * stood:
        return WatchWord.OPEN_LEAD, f"a lead is off (load {voltage:.2f} V, pack terminals {terminal:.2f} V)"
    if stood <= empty_at:
        why = f"the pack voltage was {stood:.2f} V under load; the under-voltage protection may have opened the path"
        return WatchWord.UNCLEAR, why
    return WatchWord.STOPPED, f"current fell from {before:.3g} A to 0, and the voltage collapsed"


def return_unseen(path: str, voltage: float | None, terminal: float | None, stood: float) -> tuple[str, str]:
    """The word and why the pack's coming back would not be seen, or two empty texts."""
    if voltage is None:
        return "", ""
    if path == CHARGE:
        if terminal is not None and abs(voltage - terminal) > LEAD_VOLTAGE:
            return WatchWord.OPEN_LEAD, f"a lead is off (supply {voltage:.2f} V, pack terminals {terminal:.2f} V)"
        return "", ""
    if voltage > COLLAPSE_RATIO * stood:
        return WatchWord.LIMITED, f"the load sees {voltage:.2f} V again but draws no current: it stopped by itself"
    if terminal is not None and terminal > COLLAPSE_RATIO * stood:
        return WatchWord.OPEN_LEAD, f"a lead is off (load {voltage:.2f} V, pack terminals {terminal:.2f} V)"
    return "", ""
