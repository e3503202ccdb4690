"""What a person can do at a bench without a supply, or without a load on a cable: planned before anything is switched on.

Rule 1: a charger and a clamp take the place of a supply where every step has a form by hand. What sets a voltage or a current, or
        goes beyond full, has none.
Rule 2: what a charger gives cannot be set: it has to be within what the pack sheet allows, and times are those of its current.
Rule 3: a ceiling of the current is no lower than what the charger gives or the load draws, within what the pack sheet allows.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from runner.engine.texts import files, plan
from runner.notation.source import Path
from runner.sheets.bench import BenchFile
from runner.sheets.instruments import ChargerSheet, LoadSheet
from runner.sheets.pack import PackSheet
from runner.sheets.procedure import Procedure
from runner.vocabulary import Role

ABOVE = 1.25  # times what a charger gives or a load draws: what a ceiling leaves for the error of a clamp
TAPERED = 0.5  # of a charger's current: an end current above this would be reached before any taper
LONGER = 1.5  # times what a full charge takes from empty, before it is given up
BY_CHARGER = ("charge", "wake")  # steps in which a charger takes the place of a supply


def charger_of(bench: BenchFile) -> ChargerSheet | None:
    """The charger that takes the place of a supply, with a clamp to read its current; None where it does not."""
    instruments = bench.instruments
    return instruments.charger if instruments.supply is None and instruments.clamp is not None else None


def hand_load_of(bench: BenchFile) -> LoadSheet | None:
    """The load that a person switches, with a clamp to read its current; None where there is none."""
    load = bench.instruments.load
    return load if load is not None and load.by_hand and bench.instruments.clamp is not None else None


def roles_by_hand(bench: BenchFile) -> tuple[str, ...]:
    """The roles that a person reads or switches in a run; a charger only where there is no supply."""
    by_hand = (role for role in bench.roles() if bench.by_hand(role))
    return tuple(role for role in by_hand if role != Role.CHARGER or charger_of(bench) is not None)


@dataclass(frozen=True)
class Impossible:
    """Why a procedure cannot be run at a bench: where in the bench file, what, and what to do."""

    path: Path
    what: str
    remedy: str


def instead(procedure: Procedure, bench: BenchFile) -> tuple[str, ...]:
    """What a person is told before a procedure that needs a supply, at a bench with a charger."""
    return (plan.CHARGER_INSTEAD,) if charger_of(bench) is not None and Role.SUPPLY in procedure.needs else ()


def charged_by(bench: BenchFile) -> str:
    """The word for what charges the pack on this bench."""
    return Role.CHARGER.value if charger_of(bench) is not None else Role.SUPPLY.value


def missing_roles(procedure: Procedure, bench: BenchFile) -> list[str]:
    """The roles that a procedure needs and nothing on the bench takes the place of."""
    have = bench.roles()
    instead = {Role.SUPPLY} if charger_of(bench) is not None else set()
    return [role for role in procedure.needs if role not in have and role not in instead]


def needs_a_cable(procedure: Procedure, bench: BenchFile) -> list[str]:
    """The roles that a procedure needs with an address, and that a person reads or switches at this bench."""
    wired = procedure.wired(clamp=bench.instruments.clamp is not None)
    return [role for role in sorted(wired) if bench.by_hand(role)]


def beyond_the_charger(procedure: Procedure, pack: PackSheet, bench: BenchFile) -> Iterator[Impossible]:
    """Why the charger of this bench cannot take the place of a supply."""
    charger = charger_of(bench)
    if charger is None or Role.SUPPLY not in procedure.needs:
        return
    if why := procedure.only_by_supply():
        yield Impossible(("instruments",), why, files.ADD_A_SUPPLY)
        return
    place, most = ("instruments", str(Role.CHARGER)), pack.full_charge_voltage
    if charger.voltage > most * (1 + 1e-9):
        yield Impossible((*place, "voltage"), *files.charger_voltage(charger.voltage, most))
    if charger.voltage <= pack.nominal_voltage:
        yield Impossible((*place, "voltage"), *files.charger_too_low(charger.voltage, pack.nominal_voltage))
    if charger.current > pack.maximum_charge_current * (1 + 1e-9):
        wrong = files.charger_current(charger.current, pack.maximum_charge_current)
        yield Impossible((*place, "current"), *wrong)


def ceiling_of_current(ceiling: float, procedure: Procedure, pack: PackSheet, bench: BenchFile) -> float:
    """A procedure's ceiling of the current, in A, or what lets a charger and a load by hand work, which nobody can set lower.

    One that the procedure does not need stays off in it, and raises nothing.
    """
    charger, load = _switched_in(procedure, bench)
    given = (
        (charger.current if charger is not None else 0.0, pack.maximum_charge_current),
        (load.draws or 0.0 if load is not None else 0.0, pack.maximum_discharge_current or 0.0),
    )
    return max(ceiling, *(min(ABOVE * amps, most) for amps, most in given if amps >= ceiling), ceiling)


def _switched_in(procedure: Procedure, bench: BenchFile) -> tuple[ChargerSheet | None, LoadSheet | None]:
    """The charger and the load that a person switches on in a procedure."""
    charger, load = charger_of(bench), hand_load_of(bench)
    return (charger if Role.SUPPLY in procedure.needs else None), (load if Role.LOAD in procedure.needs else None)


def why_raised(procedure: Procedure, ceiling: float, raised: float, bench: BenchFile) -> str:
    """That the ceiling of the current (A) is not the procedure's, with both values, and what needs it."""
    charger, load = _switched_in(procedure, bench)
    gives = charger.current if charger is not None and charger.current >= ceiling else None
    drawn = (load.draws or 0.0) if load is not None else 0.0
    return plan.ceiling_raised(procedure.name, ceiling, raised, gives, drawn if drawn >= ceiling else None)


def with_its_charger(kind: str, values: dict[str, float], pack: PackSheet, charger: ChargerSheet) -> float:
    """Puts into a step's values what the charger gives; by how many seconds the step may take longer for that."""
    asked = values.get("current", charger.current)
    values["voltage"], values["current"] = charger.voltage, charger.current
    before = values.get("give_up", 0.0)
    if kind == "charge":
        if "end_current" in values:
            values["end_current"] = min(values["end_current"], TAPERED * charger.current)
            values["give_up"] = max(before, LONGER * pack.rated_capacity / charger.current)
        if "for" in values:
            values["for"] *= asked / charger.current
            values["give_up"] = max(before, LONGER * values["for"])
    return max(0.0, values.get("give_up", 0.0) - before)
