"""How far a pack repeats: by how much its own noise, filter and counting move a trip from one ramp to the next.

Two or three ramps say little of that: their residuals have one degree of freedom or none, and a pack that scatters by 0.1 K looks
steady in many a run. What packs are like is known as well, and the two are combined: the variance that is usual counts as
USUAL_WEIGHT degrees of freedom, the residuals beyond what each ramp explains itself as their own (the scaled inverse χ² that goes
with a normal likelihood). Trip and release of a sensor are made by the same circuit and are pooled (JCGM 100:2008, 4.2.4).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from runner.measure.budget import Inputs, Quantity
from runner.vocabulary import BudgetSource

Array = NDArray[np.float64]

# K: noise of 0.02 to 0.3 K moves a trip by about half of it (common practice, no source)
USUAL, USUAL_WEIGHT = 0.05, 2.0


@dataclass(frozen=True)
class Repeatability:
    """The standard ``deviation`` of a change from ramp to ramp, with its degrees of freedom, in the unit of the threshold."""

    deviation: float
    dof: float

    def of_sum(self, weights: Array, inputs: Inputs) -> Quantity:
        """What it contributes to a sum of changes with these weights."""
        spread = self.deviation * float(np.sqrt(np.sum(np.square(weights))))
        return inputs.add(BudgetSource.REPEATABILITY, 0.0, spread, "normal", self.dof)

    def of_mean(self, count: int, inputs: Inputs) -> Quantity:
        """What it contributes to a mean of so many changes."""
        return self.of_sum(np.full(count, 1.0 / count), inputs)


@dataclass(frozen=True)
class Group:
    """Changes of one direction: ``values``, their own variances, and the columns that a fit of them has (n × p)."""

    values: Array
    variances: Array
    design: Array


def repeatability(groups: Sequence[Group], usual: float = USUAL) -> Repeatability:
    """From the residuals of these groups and what is ``usual``."""
    excess, freedom = 0.0, 0
    for group in groups:
        left = len(group.values) - group.design.shape[1]
        if left < 1:
            continue
        keep = np.eye(len(group.values)) - group.design @ np.linalg.pinv(group.design)
        excess += float(np.sum((keep @ group.values) ** 2) - np.sum(keep**2 @ group.variances))
        freedom += left
    dof = USUAL_WEIGHT + freedom
    return Repeatability(float(((USUAL_WEIGHT * usual**2 + max(excess, 0.0)) / dof) ** 0.5), dof)
