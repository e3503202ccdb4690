"""What a certificate covers: every declared protection, through every sensor it has, tested or not, and why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from runner.evaluation.evaluate import Evaluation
from runner.measure.conformity import NOT_JUDGED, NOT_MEASURED, worst
from runner.sheets.pack import PackSheet, protection_name


@dataclass(frozen=True)
class Covered:
    """One protection through one sensor (or of the whole pack): by which procedures, with which statement, or why not."""

    protection: str
    sensor: str
    by: str
    statement: str
    why: str = ""


def coverage(
    pack: PackSheet, evaluations: Sequence[Evaluation], not_begun: Sequence[tuple[str, str]] = ()
) -> list[Covered]:
    """Every declared protection × sensor, in the order of the pack sheet."""
    rows = []
    for kind in type(pack.protections).model_fields:
        protection = pack.protection(kind)
        if protection is None:
            continue
        for sensor in getattr(protection, "sensors", ()) or (None,):
            rows.append(_covered(kind, sensor, evaluations, not_begun))
    return rows


def _covered(
    kind: str, sensor: str | None, evaluations: Sequence[Evaluation], not_begun: Sequence[tuple[str, str]]
) -> Covered:
    words = protection_name(kind)
    mine = [
        (
            evaluation,
            [finding for finding in evaluation.findings if finding.protection == kind and finding.sensor == sensor],
        )
        for evaluation in evaluations
        if evaluation.procedure.protection == kind
    ]
    found = [(evaluation, findings) for evaluation, findings in mine if findings]
    if not found:
        why = "skipped in this run" if mine else _why_not(kind, not_begun)
        return Covered(words, sensor or "—", "—", "not tested", why)
    statements = [f.conformity for _, findings in found for f in findings if f.conformity is not None]
    missing = [f for _, findings in found for f in findings if f.conformity == NOT_MEASURED]
    return Covered(
        words,
        sensor or "—",
        ", ".join(evaluation.procedure.name for evaluation, _ in found),
        worst(statements) if statements else NOT_JUDGED,
        f"{missing[0].name}: {missing[0].reason}" if missing else "",
    )


def _why_not(kind: str, not_begun: Sequence[tuple[str, str]]) -> str:
    """Why no procedure of this kind was run: the reason of the first that would have done, or nothing was asked."""
    near = kind.replace("_", "-").replace("-temperature", "-temperature")
    for name, why in not_begun:
        if name == near or name.startswith(near) or (kind == "under_voltage" and name == "capacity"):
            return why
    return "not ordered"
