"""The findings of a run, and of one of them everything that it rests on."""

from __future__ import annotations

from collections.abc import Sequence

from runner.vocabulary import EVIDENCE_CHANGED

NOTHING_MEASURED = "This run measures nothing. The certificate lists what was read."
MAKING = "Making the certificate. This takes a few seconds …"
NOT_MEASURED = "not measured"
FUNCTIONAL = "FUNCTIONAL ONLY: the change was seen, but the ramp was too fast to measure the threshold"
BUDGET = "WHERE THE UNCERTAINTY COMES FROM"


def changed(differences: Sequence[str]) -> str:
    """That the evidence has changed, with the first of what differs; nothing where nothing does."""
    more = f" (and {len(differences) - 1} more)" if len(differences) > 1 else ""
    return f"{EVIDENCE_CHANGED}: {differences[0]}{more}" if differences else ""


def certificate(path: str) -> str:
    """Where the certificate is."""
    return f"certificate: {path}"


# ---- of one finding; values and limits are worded already ------------------------------------------------------------


def value(number: str, uncertainty: str, unit: str) -> str:
    """A value with its uncertainty."""
    return f"{number} ± {uncertainty} {unit}"


def coverage(said: str, factor: float, percent: str) -> str:
    """A value with how its uncertainty was expanded."""
    return f"{said}  (k = {factor:.2f}, {percent})"


def heading(name: str, protection: str) -> str:
    """The first line of a finding; ``protection``: what it is of, if anything."""
    return f"{name.upper()}{f' · {protection}' if protection else ''}"


def declared(expected: str, limits: str) -> str:
    """What the pack sheet says of it."""
    return f"declared {expected}, limits {limits}"


def statement(said: str, probability: str) -> str:
    """The statement of conformity."""
    return f"{said} (probability {probability})"


def no_value(said: str, reason: str) -> str:
    """Why there is no value."""
    return f"{said}: {reason}"


def rule(words: str) -> str:
    """The decision rule."""
    return f"rule: {words}"


def repeats(values: str, unit: str, *, ramps: bool) -> str:
    """The values that a finding was worked out from; ``ramps``: one from each ramp."""
    return f"{'ramps' if ramps else 'values'}: {values} {unit}"


def share(of: float, source: str) -> str:
    """A line of the budget: its share of the variance (0 to 1) as a bar and in per cent, and where it comes from."""
    return f"{'▪' * round(of * 10):10} {100 * of:3.0f} %  {source}"


def caveat(said: str) -> str:
    """What to know about a finding."""
    return f"! {said}"
