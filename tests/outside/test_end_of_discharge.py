"""How much steeper than its mean a discharge ends: the bounds that a voltage read by hand is carried back with.

The records are those of test_reference_cell.py (an independent model, 0.4 C to 2.5 V) and test_measured_cell.py (measured,
1 C and 2 C, to 3.0 V), with their sources there. The expected slopes are straight lines through the last seconds.
"""

import numpy as np
import pytest

from runner.measure.by_hand import slopes_at_the_end
from tests.outside.test_measured_cell import until_3_volts
from tests.outside.test_reference_cell import discharge, first_without_current


def records():
    current, voltage = discharge()
    end = first_without_current(current)
    before = voltage.t < end
    yield "model, 0.4 C", voltage.t[before], voltage.value[before]
    for name in ("1C_discharge_U", "2C_discharge_U"):
        voltage, _ = until_3_volts(name)
        yield name, voltage.t, voltage.value


@pytest.mark.parametrize("span", [60.0, 120.0, 200.0, 300.0, 400.0])
@pytest.mark.parametrize(
    ("name", "t", "value"), list(records()), ids=lambda each: each if isinstance(each, str) else ""
)
def test_the_slope_at_the_end_is_within_the_bounds(name, t, value, span):
    last = t > t[-1] - 8.0
    slope = np.polyfit(t[last], value[last], 1)[0]
    mean = (value[-1] - np.interp(t[-1] - span, t, value)) / span
    gentle, steep = slopes_at_the_end(mean, span)
    assert steep <= slope <= 0.98 * gentle, (name, slope / mean)
