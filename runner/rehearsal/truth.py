"""What the simulated bench says was true, for each finding: a rehearsal ends with what it got right."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

COVERAGE = 0.95  # of U
CHANCE = 0.005  # on either side: 99 % of all rehearsals lie between
FAR = 6.0  # K beyond the threshold: the one long step of a box procedure


def truth_of(finding: Mapping[str, Any], truth: Mapping[str, Any]) -> Any:
    """The true value (SI, °C) of a finding as findings.json has it, from truth.json; None where it has none of its own.

    Raises LookupError of what did not happen at all, as a release after a mark that was a slip.
    """
    kind, name, sensor = finding["protection"], finding["name"], finding["sensor"]
    mine = [change for change in truth["changes"] if change["kind"] == kind]
    if sensor is not None and name in ("trip", "release"):
        return truth["thresholds"][kind][sensor][name]
    if sensor is not None and name == "hysteresis":
        return abs(truth["thresholds"][kind][sensor]["trip"] - truth["thresholds"][kind][sensor]["release"])
    if name == "delay":
        return truth["protections"][kind]["delay"] + filtering(kind, sensor, truth)
    if name in ("trip", "release") and kind.endswith("voltage"):
        return [change["stack_V"] for change in mine if change["change"] == name][-1]
    if name == "trip":
        return truth["trips"][kind]
    of_the_pack: dict[str, Callable[[], Any]] = {
        "capacity": lambda: truth["charge_out_As"],
        "energy": lambda: truth["energy_out_J"],
        "recovery time": lambda: mine[-1]["t"] - [change for change in mine if change["change"] == "trip"][-1]["t"],
        "leads": lambda: truth["load_leads_Ohm"],
    }
    return of_the_pack[name]() if name in of_the_pack else None


def filtering(kind: str, sensor: str | None, truth: Mapping[str, Any]) -> float:
    """s that a mean of some looks takes to pass the threshold after the box's one long step, beyond the first look.

    It is part of the time a protection takes to operate, as the box's findings have it.
    """
    looks = truth.get("looks_in_mean", 1)
    if looks <= 1 or sensor is None:
        return 0.0
    threshold, sign = truth["thresholds"][kind][sensor]["trip"], 1.0 if "over" in kind else -1.0
    mine = [each for each in truth["box_steps"] if each["sensor"] == sensor and each["from"] != each["to"]]
    far = [each for each in mine if sign * (each["to"] - threshold) > FAR and sign * (each["from"] - threshold) < 0]
    share = (threshold - far[-1]["from"]) / (far[-1]["to"] - far[-1]["from"])
    return float(math.floor(share * looks) * truth["protections"][kind]["polling"])


def against_truth(runs: Sequence[tuple[Sequence[Mapping[str, Any]], Mapping[str, Any]]]) -> list[str]:
    """How many values of rehearsals hold the truth within their U, and which do not. A run is (its findings, its truth).

    A finding is as findings.json has it, with the ``procedure`` that found it.
    """
    errors: list[tuple[float, str, Mapping[str, Any], Any]] = []
    never: list[str] = []  # values of what did not happen
    for findings, truth in runs:
        for finding in findings:
            name = f"{finding['name']} {finding['sensor'] or ''}".strip()
            try:
                true = truth_of(finding, truth) if finding["value"] is not None else None
            except LookupError:
                said = (
                    f"{finding['value']:.6g} {finding['unit']} was found, but nothing of the kind happened at the pack"
                )
                never.append(f"  {finding['procedure']}, {name}: {said}")
                continue
            if true is not None and finding["expanded_uncertainty"]:
                away = abs(finding["value"] - true) / finding["expanded_uncertainty"]
                errors.append((away, name, finding, true))
    if not errors:
        return ["truth of the simulation:", *never] if never else []
    held = sum(away <= 1.0 for away, *_ in errors)
    largest = max(away for away, *_ in errors)
    said = f"{held} of {len(errors)} values are within U of the true value; the largest error is {_in_u(largest)} U"
    least = least_by_chance(len(errors))
    expected = f"expected: about {COVERAGE * len(errors):.0f} (95 %); {least} or more is within chance (99 %)"
    lines = [f"truth of the simulation: {said}", f"  {expected}"]
    missed = sorted((each for each in errors if each[0] > 1.0), key=lambda each: -each[0])
    return [*lines, *never] + [
        f"  {finding['procedure']}, {name}: {_in_u(away)} U away from the true {true:.6g} {finding['unit']}"
        for away, name, finding, true in missed
    ]


def _in_u(away: float) -> str:
    """A distance in U; one just beyond 1 is not written as 1.0."""
    return f"{away:.2f}" if f"{away:.1f}" == "1.0" else f"{away:.1f}"


def least_by_chance(count: int) -> int:
    """The fewest of ``count`` values within U that chance explains: quantile CHANCE of a binomial distribution with COVERAGE."""
    below = 0.0
    for held in range(count + 1):
        below += math.comb(count, held) * COVERAGE**held * (1 - COVERAGE) ** (count - held)
        if below >= CHANCE:
            return held
    return count
