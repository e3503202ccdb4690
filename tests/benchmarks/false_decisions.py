"""How often a pack that is beyond its limit is passed: measured, against the risk that the decision rule states.

    python tests/benchmarks/false_decisions.py [--packs 4000] [--plot risk.svg]

Recordings of three ramps are made for packs whose true threshold lies around the upper limit of their tolerance, with the
errors that the budget states: probe calibration and coupling normal, sensor lag uniform 4 to 12 s, ramp noise. Each goes through
the findings; the statement is compared with where the pack really was. Distances are in expanded uncertainties U.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

LIMITS, CALIBRATION, COUPLING = (53.0, 57.0), 0.10, 0.15
STATED = {"simple acceptance": 0.5, "guard band": 0.025, "guard band with conditions": 0.025}


def judged(distance: float, dice: np.random.Generator, seed: int) -> tuple[dict[str, bool], float]:
    """Whether each rule passes a pack whose threshold is ``distance`` K above the limit, and U."""
    from runner.measure.conformity import statement
    from tests.measure.test_threshold import ramps, trip

    theta = LIMITS[1] + distance
    error = float(dice.normal(0, CALIBRATION) + dice.normal(0, COUPLING))
    behind = 1.5 + float(dice.uniform(4.0, 12.0))
    recording = ramps([1, 2, 3], theta=theta + error, behind=behind, noise=0.02, seed=seed)
    finding = trip(recording, calibration=(CALIBRATION, "normal"), coupling=COUPLING, trip_limits=LIMITS)
    passes = {rule: statement(finding.value, finding.expanded_uncertainty, *LIMITS, rule) == "pass" for rule in STATED}
    return passes, finding.expanded_uncertainty


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packs", type=int, default=4000)
    parser.add_argument("--plot", help="where to draw the rates against the distance, as SVG")
    options = parser.parse_args()
    dice = np.random.default_rng(11)
    steps = np.linspace(-1.5, 1.5, 13)
    each = max(options.packs // len(steps), 1)
    rates: dict[str, list[float]] = {rule: [] for rule in STATED}
    _, unit = judged(0.0, dice, 0)
    print(f"U = {unit:.3f} K; {each} packs at each distance")
    print(f"{'distance':>9}  " + "  ".join(f"{rule:>26}" for rule in STATED))
    good = True
    for number, step in enumerate(steps):
        count: Counter[str] = Counter()
        for pack in range(each):
            passes, _ = judged(step * unit, dice, 100_000 * number + pack)
            count.update(rule for rule, passed in passes.items() if passed)
        for rule in STATED:
            rates[rule].append(count[rule] / each)
            allowed = STATED[rule] + 3 * (STATED[rule] * (1 - STATED[rule]) / each) ** 0.5
            good = good and (step < -1e-9 or count[rule] / each <= allowed)
        print(f"{step:8.2f}U  " + "  ".join(f"{rates[rule][-1]:26.1%}" for rule in STATED))
    print("passes of packs beyond the limit stay under the stated risk" if good else "A STATED RISK IS EXCEEDED")
    if options.plot:
        draw(options.plot, steps, rates)
    return 0 if good else 1


def draw(path: str, steps: np.ndarray, rates: dict[str, list[float]]) -> None:
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6, 3.4), layout="constrained")
    FigureCanvasSVG(figure)
    axes = figure.add_subplot()
    for (rule, values), style in zip(rates.items(), ("-", "--", ":"), strict=True):
        axes.plot(steps, values, style, label=f"{rule} (at most {STATED[rule]:.1%} beyond the limit)")
    axes.axvline(0.0, linewidth=0.6, color="black")
    axes.set_xlabel("true threshold beyond the limit / U")
    axes.set_ylabel("share of packs passed")
    axes.legend(fontsize=7)
    figure.savefig(path, format="svg", metadata={"Date": None})


if __name__ == "__main__":
    sys.exit(main())
