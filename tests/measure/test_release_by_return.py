"""The voltage at which an empty pack comes back, from what is read after it has: against a relaxation that is put in."""

import numpy as np
import pytest

from runner.events import METER_VOLTAGE
from runner.measure.findings import findings
from runner.measure.recording import Attempt, Recording, Series
from tests.builders import declared

DELAY, POLLING, EVERY = 1.0, 0.25, 0.5  # s


@pytest.mark.parametrize("time", [20.0, 60.0, 200.0])
def test_the_relaxation_is_followed_back_to_when_the_pack_decided(time):
    dice = np.random.default_rng(4)
    held, wide = 0, []
    for _ in range(200):
        decided = 100.0 + dice.uniform(0, 1)

        def volts(t, decided=decided):
            return 22.4 + 0.4 * (1 - np.exp(-(t - decided) / time))

        back = decided + dice.uniform(0, POLLING) + np.ceil(DELAY * dice.uniform(0.9, 1.1) / POLLING) * POLLING
        t = np.arange(90.0 + dice.uniform(0, EVERY), 160.0, EVERY)
        value = np.where(t < back, 0.3, volts(t) + dice.normal(0, 0.001, len(t)))
        at = float(t[t >= back][0])
        attempt = Attempt("recover", "", 0, 0.0, 95.0, None, at, "returned", "")
        (finding,) = findings(
            Recording({METER_VOLTAGE: Series(t, value)}, (attempt,)),
            declared(
                protection="under_voltage",
                sensors=(),
                wanted=("release",),
                delay=DELAY,
                delay_uncertainty=0.1 / 3**0.5,
                polling=POLLING,
                cell_noise=0.0,
                filter_lag=0.0,
            ),
        )
        held += abs(finding.value - 22.4) <= finding.expanded_uncertainty
        wide.append(finding.expanded_uncertainty)
    assert held / 200 >= 0.92
    assert (
        np.median(wide) < 0.5 * 0.4 / time * (DELAY + POLLING + EVERY / 2) + 0.003
    )  # half of the way back was allowed before
