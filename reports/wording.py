"""Findings as people read them: charge in Ah, energy in Wh, leads in mΩ, and as many digits as the uncertainty carries."""

from __future__ import annotations

import math
from dataclasses import dataclass

from runner.measure.finding import Finding

READ_AS = {"A·s": ("Ah", 3600.0), "J": ("Wh", 3600.0), "Ω": ("mΩ", 1e-3)}  # SI unit -> (shown unit, its size)


ADVICE = (  # how the source of a budget begins -> what would make it smaller
    ("coupling of probe", "a closer contact of probe and sensor, or placing them anew for some of the ramps"),
    ("probe calibration", "a better calibrated thermometer"),
    ("probe resolution", "a thermometer that shows more digits"),
    ("fit of the ramps", "a longer or calmer ramp"),
    ("unsteady ramps", "a steadier hand: slower, with the gun further away"),
    ("instants of the edges", "polling the current faster, or a slower ramp"),
    ("instant of the edge", "polling the current faster"),
    ("polling of the pack", "a slower ramp, or more repeats: the pack looks only so often"),
    ("delay counted", "knowing how the pack counts its delay"),
    ("delay of the pack", "ramps at two or three rates, which make the delay fall out"),
    ("lag of the", "ramps at two or three rates, which make the lag fall out"),
    ("disagreement of the ramps", "more repeats"),
    ("distance of the levels", "smaller steps"),
    ("distance of the looks", "looks that follow each other more closely"),
    ("distance of the readings", "reading more often"),
    ("accuracy of the decade box", "a better decade box"),
    ("gain of the", "a better calibrated meter"),
    ("offset of the", "a meter with less offset, or a larger current"),
    ("digits of the counter", "a counter that shows more digits"),
    ("resistance of the leads", "a voltmeter on the pack's own terminals, or measuring the leads"),
    ("fit of the voltage", "reading the voltage faster near the cut-off"),
    ("gaps without readings", "a run without interruptions"),
    ("moment of the person", "an instrument on a cable"),
    ("slope before", "an instrument on a cable"),
    ("reaction", "an instrument on a cable"),
    ("readings of the voltmeters", "more readings at each current"),
    ("scatter about the line", "more currents, and clamps that sit firmly"),
)


@dataclass(frozen=True)
class Worded:
    """The texts of one finding. ``value`` is empty where there is none."""

    unit: str
    value: str
    uncertainty: str
    expected: str
    limits: str


def worded(finding: Finding) -> Worded:
    """A finding in words and digits (two significant digits of the uncertainty: JCGM 100:2008, 7.2.6)."""
    unit, size = READ_AS.get(finding.unit, (finding.unit, 1.0))
    known = finding.value is not None and finding.expanded_uncertainty is not None
    digits = digits_for((finding.expanded_uncertainty or 0.0) / size) if known else 2
    few = 1 if finding.unit in ("°C", "K") else 2
    return Worded(
        unit,
        number((finding.value or 0.0) / size, digits) if known else "",
        number((finding.expanded_uncertainty or 0.0) / size, digits) if known else "",
        number(None if finding.expected is None else finding.expected / size, few),
        _limits(finding, size, few),
    )


def digits_for(uncertainty: float) -> int:
    """Decimals that show an uncertainty with two significant digits."""
    return max(0, 1 - math.floor(math.log10(uncertainty))) if uncertainty > 0 else 2


def number(value: float | None, digits: int = 2) -> str:
    """A number with a true minus sign, or a dash for none."""
    return "—" if value is None else f"{value:.{digits}f}".replace("-", "−")


def _limits(finding: Finding, size: float, digits: int) -> str:
    lower, upper = finding.lower, finding.upper
    if lower is not None and upper is not None:
        return f"{number(lower / size, digits)} … {number(upper / size, digits)}"
    if lower is not None:
        return f"≥ {number(lower / size, digits)}"
    return "—" if upper is None else f"≤ {number(upper / size, digits)}"


def what_would_help(finding: Finding) -> str:
    """The largest part of a budget in words, with what would reduce it; nothing where there is no budget."""
    if not finding.budget:
        return ""
    largest = finding.budget[0]
    share = largest.contribution**2 / sum(row.contribution**2 for row in finding.budget)
    help_with = next((advice for start, advice in ADVICE if largest.source.startswith(start)), "")
    return f"{largest.source} is {share:.0%} of the variance" + (f"; less of it by {help_with}" if help_with else "")
