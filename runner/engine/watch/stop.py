"""A current that has stopped: what stopped it, and whether its coming back would be seen. Voltages in V, currents in A."""

from __future__ import annotations

from dataclasses import dataclass

from runner.engine.watch.contradiction import VOLTAGE_RATIO
from runner.engine.watch.terminals import lead_is_off
from runner.events import CHARGE
from runner.vocabulary import Explanation, WatchWord

Said = tuple[str, str, tuple[Explanation, ...]]
FULL_OR_TRIP = (Explanation.TRIPPED, Explanation.FULL)

FULL_RATIO = 0.10  # of the set current: the end of a taper
COLLAPSE_RATIO = 0.5  # of the voltage before: a load that finds less has lost its source


@dataclass(frozen=True)
class Stop:
    """A current that has stopped, all of it but what is ``left``, and what was read before and since.

    ``points`` are the set voltage and current, ``before`` the current that flowed, ``voltage`` what the supply or the load reads
    since, ``terminal`` the pack's own voltmeter; ``stood``: what both read while it flowed, 0 and None if unknown.
    ``end_of_charge`` is why it may be one, ``tapered`` whether the supply was in constant voltage, ``went_down`` whether the
    current had gone down as a full pack's does, ``wanted`` whether the over-voltage is being tested; ``empty_at`` as in Watcher.
    """

    points: tuple[float, float]
    before: float
    left: float
    voltage: float | None
    terminal: float | None
    stood: tuple[float, float | None]
    end_of_charge: str
    tapered: bool
    went_down: bool
    wanted: bool
    empty_at: float

    @property
    def fell(self) -> str:
        """What the current did."""
        return f"current fell from {self.before:.3g} A to {f'{self.left:.3g} A' if self.left else '0'}"


def on_its_way(path: str, voltage: float | None, set_voltage: float, stood: float | None) -> bool:
    """Whether a voltage may still be moving to where an open path leaves it: a supply's up, a load's down from where it stood."""
    if voltage is None:
        return False
    if path == CHARGE:
        return voltage < set_voltage * (1 - VOLTAGE_RATIO)
    return stood is not None and COLLAPSE_RATIO * stood < voltage < stood


def charge_stopped(stop: Stop) -> Said:
    """The word and the evidence for a charge that has stopped, and the two explanations that cannot be told apart."""
    (set_voltage, set_current), voltage, terminal = stop.points, stop.voltage, stop.terminal
    late = stop.before < 2 * FULL_RATIO * set_current
    if stop.tapered and late:
        return (
            WatchWord.FULL,
            f"the current had tapered to {stop.before:.3g} A; possibly the end of charge",
            FULL_OR_TRIP,
        )
    if voltage is not None and voltage < set_voltage * (1 - VOLTAGE_RATIO):
        why = f"no current, and the supply is at {voltage:.2f} V instead of {set_voltage:.2f} V: it is not regulating"
        return WatchWord.LIMITED, why, ()
    if voltage is not None and terminal is not None and lead_is_off(voltage, terminal, stop.stood[1]):
        return WatchWord.OPEN_LEAD, f"a lead is off (supply {voltage:.2f} V, pack terminals {terminal:.2f} V)", ()
    if stop.end_of_charge and not stop.wanted:
        return WatchWord.FULL, stop.end_of_charge, FULL_OR_TRIP
    if stop.went_down and late:
        return WatchWord.UNCLEAR, f"{stop.fell}; it had gone down before, as that of a full pack does", FULL_OR_TRIP
    return WatchWord.STOPPED, f"{stop.fell}; the supply is at its set voltage", ()


def discharge_stopped(stop: Stop) -> Said:
    """The same for a discharge."""
    stood, voltage, terminal = stop.stood[0], stop.voltage, stop.terminal
    if not stood and voltage is not None:
        return WatchWord.UNCLEAR, f"no current, {voltage:.2f} V, and no voltage was read while the current flowed", ()
    if voltage is not None and voltage > COLLAPSE_RATIO * stood:
        return WatchWord.LIMITED, f"no current, but the load still sees {voltage:.2f} V: it stopped by itself", ()
    if voltage is not None and terminal is not None and terminal > COLLAPSE_RATIO * stood:
        return WatchWord.OPEN_LEAD, f"a lead is off (load {voltage:.2f} V, pack terminals {terminal:.2f} V)", ()
    if stood <= stop.empty_at:
        why = f"the pack voltage was {stood:.2f} V under load; the under-voltage protection may have opened the path"
        return WatchWord.UNCLEAR, why, (Explanation.TRIPPED, Explanation.EMPTY)
    return WatchWord.STOPPED, f"{stop.fell}, and the voltage collapsed", ()


def return_unseen(
    path: str, voltage: float | None, terminal: float | None, stood: tuple[float, float | None]
) -> tuple[str, str]:
    """The word and why the pack's coming back would not be seen, or two empty texts. ``stood``: both voltages before the stop."""
    if voltage is None:
        return "", ""
    if path == CHARGE:
        if terminal is not None and lead_is_off(voltage, terminal, stood[1]):
            return WatchWord.OPEN_LEAD, f"a lead is off (supply {voltage:.2f} V, pack terminals {terminal:.2f} V)"
        return "", ""
    if voltage > COLLAPSE_RATIO * stood[0]:
        return WatchWord.LIMITED, f"the load sees {voltage:.2f} V again but draws no current: it stopped by itself"
    if terminal is not None and terminal > COLLAPSE_RATIO * stood[0]:
        return WatchWord.OPEN_LEAD, f"a lead is off (load {voltage:.2f} V, pack terminals {terminal:.2f} V)"
    return "", ""
