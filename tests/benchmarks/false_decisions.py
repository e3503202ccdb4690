"""How often a pack that is at its limit or beyond it is passed: measured, against the risk that is printed with the decision rule.

    python tests/benchmarks/false_decisions.py [--packs 1000] [--ramps 400] [--plot risk.svg]

Every rule, at coverages of 50, 80, 90, 95 and 99 % or maximum risks of the same size. Packs are made whose true value is at a
limit or beyond it by a part of U, with the errors that the budget states: directly, for budgets that are mostly normal, few
repeats, one rectangle, or a mixture, between limits that are far apart, nearer than 2 U and next to each other; and as recordings of three ramps that
go through the findings (probe calibration and coupling normal, sensor lag uniform 4 to 12 s, ramp noise). For the rule of a
maximum producer's risk, which limits no wrong passes, packs at a limit and inside it that are failed are counted instead; its passes
stand beside. Distances are in U of 95 %.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

from runner.measure.budget import Inputs
from runner.measure.conformity import FAIL, PASS, Decision, percent
from runner.measure.distribution import Distribution
from runner.vocabulary import Rule

COVERAGES = (0.5, 0.8, 0.9, 0.95, 0.99)
DECISIONS = (
    Decision(Rule.SIMPLE),
    *(Decision(rule, coverage) for rule in (Rule.GUARD_BAND, Rule.WITH_CONDITIONS) for coverage in COVERAGES),
    *(Decision(rule, 0.95, (1 - each) / 2) for rule in (Rule.CONSUMER, Rule.PRODUCER) for each in COVERAGES),
)
BEYOND = (0.0, 0.25, 0.5, 1.0)  # U beyond a limit
SIGMAS = 3.5  # of the count: 21 rules in 13 worlds are looked at

Measured = tuple[float, Distribution]  # error of a result, and what is known about it
World = Callable[[np.random.Generator], Measured]


# ---- budgets by themselves -------------------------------------------------------------------------------------------------


def readings(dice: np.random.Generator, inputs: Inputs, sigma: float, number: int):
    """The mean of some readings, as an input quantity of its own evaluation (JCGM 100:2008, 4.2)."""
    taken = dice.normal(0, sigma, number)
    return inputs.add("readings", float(taken.mean()), float(taken.std(ddof=1)) / number**0.5, dof=number - 1.0)


def rectangle(dice: np.random.Generator, inputs: Inputs, half: float):
    """Something known to be within ± half."""
    return inputs.add("band", float(dice.uniform(-half, half)), half / 3**0.5, "rectangular")


def calibrated(dice: np.random.Generator, inputs: Inputs, u: float):
    """Something of a calibration certificate."""
    return inputs.add("calibration", float(dice.normal(0, u)), u)


def budget(make: Callable[[np.random.Generator, Inputs], object]) -> World:
    def measured(dice: np.random.Generator) -> Measured:
        inputs = Inputs()
        result = make(dice, inputs)
        return float(result.x), inputs.distribution(result)  # type: ignore[attr-defined]

    return measured


BUDGETS: dict[str, World] = {
    "normal": budget(lambda dice, inputs: calibrated(dice, inputs, 0.2) + calibrated(dice, inputs, 0.1)),
    "three readings": budget(lambda dice, inputs: readings(dice, inputs, 0.2, 3)),
    "one rectangle": budget(lambda dice, inputs: rectangle(dice, inputs, 0.3) + calibrated(dice, inputs, 0.02)),
    "two rectangles, four readings": budget(
        lambda dice, inputs: (
            rectangle(dice, inputs, 0.3) + rectangle(dice, inputs, 0.2) + readings(dice, inputs, 0.2, 4)
        )
    ),
}


# ---- recordings of ramps ---------------------------------------------------------------------------------------------------

THETA, CALIBRATION, COUPLING = 55.0, 0.10, 0.15


@dataclass(frozen=True)
class Overheard(Decision):
    """A rule that keeps what it was asked about."""

    spreads: list[Distribution] = field(default_factory=list, compare=False)

    def statement(self, value: float, spread: Distribution, lower: float | None, upper: float | None) -> str:
        self.spreads.append(spread)
        return super().statement(value, spread, lower, upper)


def three_ramps(dice: np.random.Generator) -> Measured:
    """The error of a trip from three ramps, and the distribution that its statement was made from."""
    from tests.measure.test_threshold import ramps, trip

    error = float(dice.normal(0, CALIBRATION) + dice.normal(0, COUPLING))
    behind = 1.5 + float(dice.uniform(4.0, 12.0))
    recording = ramps([1, 2, 3], theta=THETA + error, behind=behind, noise=0.02, seed=int(dice.integers(2**31)))
    heard = Overheard()
    finding = trip(recording, calibration=(CALIBRATION, "normal"), coupling=COUPLING, decision=heard)
    spreads = [each for each in heard.spreads if abs(each.half_width(0.95) - finding.expanded_uncertainty) < 1e-9]
    return finding.value - THETA, spreads[0]


# ---- counting --------------------------------------------------------------------------------------------------------------


@dataclass
class Count:
    """Shares of one rule in one world, by distance: passes beyond a limit, and fails inside it."""

    decision: Decision
    passes: list[float]
    fails: list[float]

    def good(self, packs: int) -> bool:
        """Whether nothing is more often than printed, by more than counting explains."""

        def most(risk: float) -> float:
            return risk + SIGMAS * (risk * (1 - risk) / packs) ** 0.5

        wrong = self.fails if self.decision.rule == Rule.PRODUCER else self.passes
        return all(share <= most(self.decision.risk) for share in wrong)

    def line(self, packs: int) -> str:
        """The rule, the printed risk, and the shares."""
        number = self.decision.coverage if self.decision.maximum is None else self.decision.maximum
        shares = "  ".join(f"{share:7.2%}" for share in self.passes)
        fails = "  ".join(f"{share:7.2%}" for share in self.fails) if self.decision.rule == Rule.PRODUCER else ""
        mark = "" if self.good(packs) else "  EXCEEDED"
        return f"{self.decision.rule:27} {percent(number):>6}  ≤ {percent(self.decision.risk):>6}  {shares}   {fails}{mark}"


def counted(drawn: list[Measured], width: float) -> Iterator[Count]:
    """Every rule on packs at the distances, beyond and inside; the limits are ``width`` U apart, and every pack is at either."""
    unit = float(np.median([spread.half_width(0.95) for _, spread in drawn]))
    for decision in DECISIONS:
        shares: dict[tuple[str, float], int] = {}
        for distance in BEYOND:
            for side, (error, spread) in enumerate(drawn):
                sign = 1 if side % 2 else -1  # the upper limit is 0, or the lower one
                limits = (-width * unit, 0.0) if sign > 0 else (0.0, width * unit)
                passed = decision.statement(sign * distance * unit + error, spread, *limits) == PASS
                shares["pass", distance] = shares.get(("pass", distance), 0) + passed
                if decision.rule == Rule.PRODUCER and distance <= width / 2:
                    failed = decision.statement(-sign * distance * unit + error, spread, *limits) == FAIL
                    shares["fail", distance] = shares.get(("fail", distance), 0) + failed
        yield Count(
            decision,
            [shares["pass", distance] / len(drawn) for distance in BEYOND],
            [share / len(drawn) for (what, _), share in shares.items() if what == "fail"],
        )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packs", type=int, default=1000, help="for each budget by itself")
    parser.add_argument("--ramps", type=int, default=400, help="recordings of three ramps")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--plot", help="where to draw the passes of the ramps against the distance, as SVG")
    options = parser.parse_args()
    dice = np.random.default_rng(options.seed)
    Distribution.half_width = lru_cache(maxsize=None)(Distribution.half_width)  # asked for at every distance
    good, found = True, []
    worlds = [(name, world, options.packs, width) for name, world in BUDGETS.items() for width in (6.0, 1.5, 0.2)]
    for name, world, packs, width in [*worlds, ("three ramps", three_ramps, options.ramps, 6.0)]:
        drawn = [world(dice) for _ in range(packs)]
        found = list(counted(drawn, width))
        beyond = "  ".join(f"{distance:6.2f}U" for distance in BEYOND)
        print(f"\n{name}, limits {width:g} U apart, {packs} packs each")
        print(f"{'':27} {'':>6}  printed   passes {beyond}   fails so far inside (maximum producer risk)")
        for count in found:
            print(count.line(packs))
            good = good and count.good(packs)
    print("\nno risk is exceeded" if good else "\nA PRINTED RISK IS EXCEEDED")
    if options.plot:
        draw(options.plot, found)
    return 0 if good else 1


def draw(path: str, counts: list[Count]) -> None:
    """The passes of the last world against the distance, a line a rule at 95 % (or 2.5 %)."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6, 3.4), layout="constrained")
    FigureCanvasSVG(figure)
    axes = figure.add_subplot()
    shown = [each for each in counts if each.decision.coverage == 0.95 and each.decision.maximum in (None, 0.025)]
    for count, style in zip(shown, ("-", "--", ":", "-.", (0, (1, 4))), strict=False):
        label = f"{count.decision.rule} (at most {percent(count.decision.risk)})"
        axes.plot(BEYOND, count.passes, linestyle=style, label=label)
    axes.set_xlabel("true value beyond the limit / U")
    axes.set_ylabel("share of packs passed")
    axes.legend(fontsize=7)
    figure.savefig(path, format="svg", metadata={"Date": None})


if __name__ == "__main__":
    sys.exit(main())
