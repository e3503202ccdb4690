"""The order of a pack's procedures: what state of charge each needs and leaves, what a bench cannot do, what comes last.

Rule 1: looking comes before switching; small currents before large ones; what heats and cools after what does not.
Rule 2: a procedure runs where the state of charge fits it. If none that is left fits, the pack is brought to where one does:
        charged to half, or to full, or emptied by its capacity test.
Rule 3: what empties the pack comes last of all that fits, because the way back takes hours.
        What is not possible at all (the pack sheet, the bench, or a current that is too large for one of them) is not begun.
Rule 4: what is left out is named, with the reason; nothing is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from runner.engine.fitting.by_hand import beyond_the_charger, missing_roles, needs_a_cable
from runner.engine.fitting.duration import seconds
from runner.engine.program import Program
from runner.engine.texts import plan as texts
from runner.sheets.bench import BenchFile
from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import protection_name
from runner.sheets.procedure import Procedure

TO_FULL, TO_HALF, EMPTIES = "full-charge", "partial-charge", "capacity"
HALF = 0.5
LEAVES = {"full": 1.0, "half": HALF, "empty": 0.0}
Planner = Callable[[Procedure], Program | str]
UNKNOWN = 3600.0  # s that a procedure is taken to need where it does not say


@dataclass(frozen=True)
class Item:
    """One procedure of a session: its place in it is explained by ``why``; ``added`` if nobody asked for it by name.

    ``source`` is what it is found by, its name or the path of its file; ``notes`` are the currents that had to be lowered.
    """

    name: str
    title: str
    why: str
    seconds: float
    added: bool = False
    source: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Agenda:
    """What is done in which order, and what is left out and why (name, reason)."""

    items: tuple[Item, ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def seconds(self) -> float:
        """About how long it takes."""
        return sum(item.seconds for item in self.items)

    def lines(self) -> list[str]:
        """The plan as people read it: what is done in which order and why, and what is not."""
        lines = [texts.headline(len(self.items), self.seconds)]
        for number, item in enumerate(self.items, start=1):
            lines.append(texts.line(number, item.name, item.seconds, item.why, added=item.added))
            lines += map(texts.note, item.notes)
        return lines + [texts.left_out(name, why) for name, why in self.left_out]


def propose(
    wanted: Sequence[Procedure],
    movers: Mapping[str, Procedure],
    pack: PackSheet,
    bench: BenchFile,
    state_of_charge: float | None = None,
    planned: Planner | None = None,
) -> Agenda:
    """An order for the wanted procedures. ``movers`` are procedures by name that may be put in to move the charge.

    ``state_of_charge`` is a ratio, None where nobody knows: then the pack is taken to be about half full. ``planned`` makes the
    program of a procedure, or says why there can be none; without it, what the files do not agree on is not looked for.
    """
    programs: dict[str, Program] = {}

    def why_not(procedure: Procedure) -> str:
        if why := _impossible(procedure, pack, bench):
            return why
        made = planned(procedure) if planned is not None else ""
        if isinstance(made, str):
            return made
        programs[procedure.name] = made
        return ""

    left_out = [(each.name, why) for each in wanted for why in [why_not(each)] if why]
    impossible = {name for name, _ in left_out}
    left = sorted((each for each in wanted if each.name not in impossible), key=_rank)
    usable = {name: each for name, each in movers.items() if not why_not(each)}
    now = HALF if state_of_charge is None else state_of_charge
    items: list[Item] = []
    while left:
        fitting = [each for each in left if _fits(each, now)]
        first_full = bool(fitting) and fitting[0].ends == "empty" and _wants_more(left, now) and TO_FULL in usable
        if fitting and not first_full:
            chosen: Procedure | None = fitting[0]
            why = _why(fitting[0], now)
        else:
            chosen, why = _move(left, usable, now)
        if chosen is None:
            left_out += [(each.name, why) for each in left]
            break
        added = chosen not in left
        items.append(planned_item(chosen, programs.get(chosen.name), why, now, added=added))
        left = [each for each in left if each is not chosen]
        now = LEAVES.get(chosen.ends, now)
    return Agenda(tuple(items), tuple(left_out))


def planned_item(
    procedure: Procedure, program: Program | None, why: str, charge: float | None, *, added: bool = False
) -> Item:
    """A procedure in a plan, with the time its program takes from a state of charge (a ratio)."""
    if program is None:
        return Item(procedure.name, procedure.title, why, procedure.duration or UNKNOWN, added)
    takes = seconds(program, HALF if charge is None else charge)
    notes = (*program.fitted, *map(texts.to_agree, program.to_judge))
    return Item(procedure.name, procedure.title, why, takes, added, notes=notes)


def _impossible(procedure: Procedure, pack: PackSheet, bench: BenchFile) -> str:
    """Why a procedure cannot be run on this pack at this bench, or nothing."""
    kind = procedure.protection
    if kind is not None and procedure.tested(pack) is None:
        return texts.not_declared(protection_name(kind))
    if missing := missing_roles(procedure, bench):
        return texts.not_there(missing)
    for each in beyond_the_charger(procedure, pack, bench):
        return each.what
    if by_hand := needs_a_cable(procedure, bench):
        return texts.needs_an_address(by_hand)
    if "box" in procedure.needs:
        protection = pack.protection(kind or "")
        without = [s.name for s in pack.sensors if s.curve is None and s.name in getattr(protection, "sensors", ())]
        if without:
            return texts.no_curve(without)
    return ""


def _rank(procedure: Procedure) -> tuple[int, str]:
    """Rule 1, and rule 3, as a number: the smaller the sooner."""
    needs, kind = procedure.needs, procedure.protection or ""
    if not needs:
        return (0 if procedure.looks_at_condition() else 1), procedure.name
    if procedure.ends == "empty":
        return 90, procedure.name
    if procedure.ends in ("full", "half"):
        return 80, procedure.name
    if not kind:
        return 10, procedure.name
    if "box" in needs:
        return 20, procedure.name
    if "temperature" in kind:
        return (30 if "under" in kind else 40), procedure.name
    return 50, procedure.name


def _fits(procedure: Procedure, now: float) -> bool:
    window = procedure.state_of_charge
    return window is None or window.lowest - 1e-6 <= now <= window.highest + 1e-6


def _why(procedure: Procedure, now: float) -> str:
    rank, _ = _rank(procedure)
    if rank < 10:
        return texts.AT_THE_START
    if rank >= 90:
        return texts.AT_THE_END
    window = procedure.state_of_charge
    if window is None:
        return texts.ANY_CHARGE
    return texts.needs_charge(window.lowest, window.highest, now)


def _wants_more(left: Sequence[Procedure], now: float) -> bool:
    """Whether something that is left needs a higher state of charge, which emptying would put far away."""
    return any(each.state_of_charge is not None and each.state_of_charge.lowest > now for each in left)


def _move(left: Sequence[Procedure], movers: Mapping[str, Procedure], now: float) -> tuple[Procedure | None, str]:
    """What brings the pack to where something that is left fits."""
    higher = _wants_more(left, now)
    half = movers.get(TO_HALF)
    if half is not None and _fits(half, now) and any(_fits(each, HALF) for each in left):
        return half, texts.BRINGS_THERE
    full = movers.get(TO_FULL)
    if higher and full is not None and now < 1.0 and any(_fits(each, 1.0) for each in left):
        return full, texts.BRINGS_THERE
    if not higher and EMPTIES in movers and now > 0.0 and any(_fits(each, 0.0) or _fits(each, HALF) for each in left):
        return movers[EMPTIES], texts.DISCHARGES
    return None, texts.not_brought_there(now)
