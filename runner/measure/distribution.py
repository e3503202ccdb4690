"""The distribution of a result about its value. The expanded uncertainty, the statement and the probability of conformity are
taken from it, so that they cannot contradict each other.

Rule 1: the normal parts of a budget are one normal distribution; of Student's shape where their degrees of freedom are finite,
        which are those of Welch and Satterthwaite (JCGM 100:2008, G.4.1; JCGM 101:2008, 6.4.9).
Rule 2: parts that have an end (rectangular, arc sine, two values) are added as what they are: a result whose uncertainty is
        mostly one rectangle never is further away than its half-width (JCGM 100:2008, G.1.4 and G.2.2; JCGM 101:2008, 6.4.2
        and 6.4.6).
Rule 3: nothing is drawn at random. The largest rectangle is added in closed form; the other bounded parts are added up on a grid
        of NODES cells to a side, which moves U by less than a thousandth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

MANY = math.inf  # degrees of freedom of what is known without repeats
AS_GOOD_AS_MANY = 1e6  # from here on Student's distribution is the normal one within 1e-6
NODES = 400
SMALL = 0.01  # of the whole: a bounded part below it is taken as normal
SMOOTH = 2e-3  # of the whole: the least normal part where no rectangle makes the distribution continuous


@dataclass(frozen=True)
class Part:
    """One independent input of a result: its distribution, its standard uncertainty in the unit of the result, its dof."""

    distribution: str
    uncertainty: float
    dof: float = MANY


@dataclass(frozen=True, eq=False)
class Distribution:
    """Of the true value about the value of a result; symmetric about 0, in the unit of the result.

    ``uncertainty`` is the combined standard uncertainty, ``normal`` that of the normal parts and ``dof`` their degrees of freedom,
    ``rectangle`` the half-width of the largest rectangular part (0 without one); ``at`` and ``weight`` are what the other
    bounded parts add up to.
    """

    uncertainty: float
    normal: float
    dof: float
    rectangle: float
    at: np.ndarray
    weight: np.ndarray

    def below(self, x: float) -> float:
        """Probability that the true value is at most ``x`` above the value (a negative ``x``: at least so far below)."""
        if self.uncertainty <= 0:
            return 1.0 if x >= 0 else 0.0
        y = (x - self.at) / self.normal
        if not self.rectangle:
            return float(self.weight @ _below(y, self.dof))
        h = self.rectangle / self.normal
        area = _area(y + h, self.dof) - _area(y - h, self.dof)
        return float(np.clip(self.weight @ area / (2 * h), 0.0, 1.0))

    def half_width(self, coverage: float) -> float:
        """The expanded uncertainty U: value ± U holds the true value with this probability (more than 0, less than 1)."""
        if self.uncertainty <= 0:
            return 0.0
        tail = (1.0 - coverage) / 2
        if not self.rectangle and len(self.at) == 1:
            return -self.normal * float(
                _special().stdtrit(self.dof, tail) if _few(self.dof) else _special().ndtri(tail)
            )
        widest = 2.0 * self.uncertainty
        while self.below(-widest) > tail:
            widest *= 2.0
        from scipy import optimize  # slow to import: the start of the program does not wait for it

        return float(optimize.brentq(lambda x: self.below(-x) - tail, 0.0, widest, xtol=1e-12 * widest))


def distribution_of(parts: Sequence[Part]) -> Distribution:
    """The distribution of a sum of independent parts."""
    whole = math.hypot(*(part.uncertainty for part in parts))
    bounded = [part for part in parts if part.distribution in _ENDS and part.uncertainty > SMALL * whole]
    variance = sum(part.uncertainty**2 for part in parts if part not in bounded)
    freedom = sum(part.uncertainty**4 / part.dof for part in parts if part not in bounded)
    halves = [(part.distribution, _ENDS[part.distribution] * part.uncertainty) for part in bounded]
    largest = max((half for kind, half in halves if kind == RECTANGULAR), default=0.0)
    if largest:
        halves.remove((RECTANGULAR, largest))
    at, weight = _added_up(halves)
    least = 1e-6 * whole if largest else max(SMOOTH * whole, at[-1] / NODES)
    return Distribution(
        whole,
        max(variance**0.5, least if bounded else 0.0),
        variance**2 / freedom if freedom else MANY,
        largest,
        at,
        weight,
    )


# ---- normal parts, in units of their standard uncertainty ---------------------------------------------------------------


def _special() -> Any:
    """SciPy's functions; slow to import: the start of the program does not wait for them."""
    from scipy import special

    return special


def _few(dof: float) -> bool:
    return dof < AS_GOOD_AS_MANY


def _below(y: np.ndarray, dof: float) -> np.ndarray:
    return np.asarray(_special().stdtr(dof, y) if _few(dof) else _special().ndtr(y))


def _area(y: np.ndarray, dof: float) -> np.ndarray:
    """An integral of the distribution function: its differences are those of the sum with something rectangular.

    By parts: y·F(y) minus the integral of y·f(y), which is −f(y) for the normal density and −f(y)·(ν + y²)/(ν − 1) for Student's.
    """
    whole = y * _below(y, dof)
    if not _few(dof):
        return np.asarray(whole + np.exp(-(y**2) / 2) / math.sqrt(2 * math.pi))
    if abs(dof - 1) < 1e-5:
        return np.asarray(whole - np.log1p(y**2) / (2 * math.pi))
    log_gamma = _special().gammaln
    log_of_highest = log_gamma((dof + 1) / 2) - log_gamma(dof / 2) - 0.5 * math.log(dof * math.pi)
    density = np.exp(log_of_highest - (dof + 1) / 2 * np.log1p(y**2 / dof))
    return np.asarray(whole + density * (dof + y**2) / (dof - 1))


# ---- bounded parts -------------------------------------------------------------------------------------------------------

RECTANGULAR, ARC_SINE, TWO_VALUES = "rectangular", "U-shaped", "two values"
_ENDS = {RECTANGULAR: 3.0**0.5, ARC_SINE: 2.0**0.5, TWO_VALUES: 1.0}  # half-width over standard deviation
_OF_A_BAND: dict[str, Callable[[np.ndarray], np.ndarray]] = {  # the distribution function between −1 and 1
    RECTANGULAR: lambda x: (x + 1) / 2,
    ARC_SINE: lambda x: 0.5 + np.arcsin(x) / math.pi,
}


def _added_up(halves: Sequence[tuple[str, float]]) -> tuple[np.ndarray, np.ndarray]:
    """The sum of bounded parts (kind, half-width) as values and their weights; one value, 0, where there are none."""
    cell = sum(half for _, half in halves) / NODES
    weight = np.ones(1)
    for kind, half in halves:
        weight = np.convolve(weight, _in_cells(kind, half / cell))
    count = len(weight) // 2
    return np.arange(-count, count + 1) * cell, weight


def _in_cells(kind: str, half: float) -> np.ndarray:
    """How much of a bounded part lies in each cell about a whole number; ``half`` in cells."""
    count = math.ceil(half)
    if kind == TWO_VALUES:  # between two cells it is shared, so that the mean stays
        weight = np.zeros(2 * count + 1)
        inner = count - half
        weight[[0, -1]] += (1.0 - inner) / 2
        weight[[1, -2]] += inner / 2
        return weight
    edges = np.clip((np.arange(-count, count + 2) - 0.5) / half, -1.0, 1.0)
    return np.asarray(np.diff(_OF_A_BAND[kind](edges)))
