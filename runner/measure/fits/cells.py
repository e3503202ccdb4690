"""What lies between a pack's cells and its decision, and shows in no reading of the bench: noise and filter of its converter.

At the lower end a pack acts on its lowest cell, and to come back needs every cell above (at the upper end the highest, and every
one below). Each cell is read with noise, and the lowest of n noisy readings is below what they all are: by 1.42 σ in the mean of
8 (Tippett 1925, Biometrika 17, 364). So a noisy pack cuts off early and comes back late: each time it is further inside than its
threshold when it decides, by up to about 2 σ where one look is enough for a cut-off, or many in a row are wanted to come back.
Where one cell is lower than all others and many looks in a row are wanted, it is the other way about, by less.

A single cut-off shows none of this. Noise of 0.5 to 5 mV a cell, means of up to 16 looks and filters of the first order are common
practice (no source).
"""

from __future__ import annotations

from runner.measure.budget import Inputs, Quantity
from runner.measure.recording import Specification
from runner.vocabulary import BudgetSource

Between = tuple[float, float]
CUT_OFF, BACK = (-0.0015, 0.006), (-0.002, 0.0075)  # V a cell by which a pack is further inside, of unknown noise
CUT_OFF_SIGMAS, BACK_SIGMAS = (-1.0, 2.0), (-1.0, 3.0)  # the same in σ, where the sheet says what it is
LOOKS_AVERAGED = 16
FIRST_ORDER = 2.5  # s
LONGEST_POLLING = 0.5  # s: between looks at the cells, where the sheet does not say
KEPT = 0.25  # of a declared filter: how well it is


def early(declared: Specification, inputs: Inputs) -> Quantity:
    """By how many V the pack is further inside than its threshold when it cuts off."""
    return _inside(declared, inputs, CUT_OFF, CUT_OFF_SIGMAS)


def late(declared: Specification, inputs: Inputs) -> Quantity:
    """By how many V the pack is further inside than its threshold when it comes back."""
    return _inside(declared, inputs, BACK, BACK_SIGMAS)


def _inside(declared: Specification, inputs: Inputs, unknown: Between, sigmas: Between) -> Quantity:
    noise = declared.cell_noise
    a_cell = unknown if noise is None else (sigmas[0] * noise, sigmas[1] * noise)
    low, high = (declared.cells * each for each in a_cell)
    return inputs.add(BudgetSource.CELL_NOISE, (low + high) / 2, (high - low) / 12.0**0.5, "rectangular")


def lag_of_filter(declared: Specification) -> tuple[float, float]:
    """(mean, standard uncertainty) in s, rectangular: how old what the pack compares is, on average over its filter."""
    if declared.filter_lag is not None:
        return declared.filter_lag, KEPT * declared.filter_lag / 3.0**0.5
    longest = max(FIRST_ORDER, (LOOKS_AVERAGED - 1) / 2 * (declared.polling or LONGEST_POLLING))
    return longest / 2, longest / 12.0**0.5


def about_cells(declared: Specification) -> tuple[str, ...]:
    """What was assumed of noise and filter, because the sheet does not say it and one cut-off does not show it."""
    assumed = []
    if declared.filter_lag is None:
        assumed.append(f"filter of 0 to {2 * lag_of_filter(declared)[0]:.2g} s")
    if declared.cell_noise is None:
        assumed.append(
            f"noise that moves it by {CUT_OFF[0] * 1e3:.2g} to {CUT_OFF[1] * 1e3:.2g} mV per cell".replace("-", "−")
        )
    if not assumed:
        return ()
    return (f"cell readings of the pack not declared; assumed {' and '.join(assumed)}",)
