"""What a second probe at a sensor says: how far two thermometers at one place differ, which one alone never shows.

Both hang on the same sensor, so the sensor moves both; what is left between them at no rate is their calibration and their contact.
The reference is their mean, weighted by what is declared of each. Contact averages out in part only: both may lose heat the
same way (TOGETHER). Where they differ by more than is declared, the sensor may be anywhere about their mean by as much as they
differ, and the declared contact is not used. The same holds for what changes from trip to release, heating against cooling.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from runner.measure.budget import Inputs, Quantity, chi_square_limit
from runner.measure.recording import Reference, Specification
from runner.measure.threshold import Crossing, Shared, direction_of, shared
from runner.vocabulary import BudgetSource

TOGETHER = 0.5  # correlation of the contact of two probes on one sensor (common practice, no source)
LAG = 1.0  # s: how well the lag of a probe is known, at best
SECOND = "(second probe)"
WORTH_WRITING = 0.05  # K: what a bench file is asked for is rounded up to this


@dataclass(frozen=True)
class Difference:
    """By how many K the second probe is above the first at no rate, and its standard uncertainty, at trip or release."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Pair:
    """Two probes at one sensor: the ``weight`` of the second in their mean, and their differences by what changed ("trip").

    ``contact`` and ``direction`` are (standard uncertainty in K, distribution) of their mean; ``beyond``: by how many K they
    differ where that is more than is declared of them, else 0; ``own`` what one of them would have to declare then.
    """

    weight: float
    differences: dict[str, Difference]
    contact: tuple[float, str]
    direction: tuple[float, str]
    beyond: float
    own: float

    def shift(self, name: str, inputs: Inputs) -> Quantity:
        """What the mean of both is above the first at this change, in K."""
        found = self.differences[name]
        return inputs.add(BudgetSource.SECOND_PROBE, self.weight * found.value, self.weight * found.uncertainty)

    def caveats(self, name: str) -> tuple[str, ...]:
        """What is said of it with a threshold."""
        apart = self.differences[name].value
        read = f"{abs(apart):.2f} K {'higher' if apart >= 0 else 'lower'} than the first"
        said = f"mean of two probes on this sensor; the second read {read}"
        if not self.beyond:
            return (said,)
        return (
            said,
            f"the two probes differ by {self.beyond:.2f} K, more than their accuracy and declared contact explain; "
            "included in the uncertainty",
        )

    @property
    def advice(self) -> str:
        """What to write in the bench file, if they differ by more than is declared there."""
        if not self.beyond:
            return ""
        return f"probe: mount both again, or write coupling: {self.own:.2f} K in the bench file (found with the second probe)"


def paired(changes: Mapping[str, Sequence[Crossing]], declared: Specification, sensor: str) -> Pair | None:
    """Both probes compared over all changes of a sensor; None if there is no second one, or it was not read at all of them."""
    second = declared.beside.get(sensor)
    crossings = [each for group in changes.values() for each in group]
    if second is None or not crossings or any(each.second is None for each in crossings):
        return None
    differences = _differences({name: each for name, each in changes.items() if each}, declared, second)
    variances = [_variance(declared), _variance(second)]
    expected = sum(variances)  # of their difference, at most: nothing of it common
    weight = variances[0] / expected if expected > 0 else 0.5
    one, other = (1 - weight) * declared.coupling, weight * second.coupling
    contact = ((one**2 + other**2 + 2 * TOGETHER * one * other) ** 0.5, "normal")
    middle = sum(each.value for each in differences.values()) / len(differences)
    own = sum(each.uncertainty**2 for each in differences.values()) / len(differences) ** 2
    beyond = abs(middle) if middle**2 > chi_square_limit(1) * (expected + own) else 0.0
    if beyond:
        contact = (beyond / 3.0**0.5, "rectangular")
    return Pair(weight, differences, contact, _direction(differences, declared), beyond, _rounded_up(beyond / 2.0**0.5))


def pair_shared(inputs: Inputs, declared: Specification, sensor: str, ambient: float, pair: Pair) -> Shared:
    """What all ramps of a sensor share, read with two probes."""
    second, weight = declared.beside[sensor], pair.weight
    first = shared(inputs, declared, sensor, ambient, contact=pair.contact, direction=pair.direction)
    u, distribution = second.calibration
    calibration = inputs.add(BudgetSource.PROBE_CALIBRATION.of(SECOND), 0.0, u, distribution)
    resolution = inputs.add(BudgetSource.PROBE_RESOLUTION.of(SECOND), 0.0, second.resolution / 12.0**0.5, "rectangular")
    return Shared(
        (1 - weight) * first.calibration + weight * calibration,
        (1 - weight) * first.resolution + weight * resolution,
        first.coupling,
        first.growth,
        first.direction,
        ambient,
    )


def _differences(
    changes: Mapping[str, Sequence[Crossing]], declared: Specification, second: Reference
) -> dict[str, Difference]:
    """Least squares over all changes of d = D(trip or release) + rate × (lag of the first − lag of the second).

    What the bench file says of the two lags is one more observation (JCGM 100:2008, 4.3).
    """
    names = list(changes)
    rows, values, variances = [], [], []
    for index, name in enumerate(names):
        for crossing in changes[name]:
            assert crossing.second is not None
            rows.append([*(1.0 if k == index else 0.0 for k in range(len(names))), crossing.ramp.rate])
            values.append(crossing.second.temperature - crossing.ramp.temperature)
            variances.append(crossing.second.temperature_uncertainty**2 + crossing.ramp.temperature_uncertainty**2)
    first_lag, second_lag = declared.probe_lag or (0.0, 0.0), second.probe_lag
    rows.append([*(0.0 for _ in names), 1.0])
    values.append(first_lag[0] - second_lag[0])
    variances.append(max(first_lag[1], LAG) ** 2 + max(second_lag[1], LAG) ** 2)
    design, y = np.array(rows), np.array(values)
    weights = np.diag(1.0 / np.maximum(variances, 1e-12))
    covariance = np.linalg.inv(design.T @ weights @ design)
    found = covariance @ design.T @ weights @ y
    residuals = y - design @ found
    scale = max(float(residuals @ weights @ residuals) / max(len(y) - design.shape[1], 1), 1.0)
    return {name: Difference(float(found[k]), float((scale * covariance[k, k]) ** 0.5)) for k, name in enumerate(names)}


def _variance(probe: Specification | Reference) -> float:
    """What is declared of how far a probe may be off its sensor, in K²."""
    return probe.calibration[0] ** 2 + probe.resolution**2 / 12 + probe.coupling**2


def _direction(differences: dict[str, Difference], declared: Specification) -> tuple[float, str]:
    """What changes between heating and cooling: as declared, or as much as the difference of the two probes changes."""
    usual = direction_of(declared)
    if len(differences) < 2:
        return usual, "rectangular"
    trip, release = differences.values()
    changed = abs(trip.value - release.value)
    noise = trip.uncertainty**2 + release.uncertainty**2
    found = changed / 2 / 3.0**0.5 if changed**2 > chi_square_limit(1) * noise else 0.0
    return max(usual, found), "rectangular"


def _rounded_up(kelvins: float) -> float:
    return float(np.ceil(kelvins / WORTH_WRITING - 1e-9) * WORTH_WRITING)
