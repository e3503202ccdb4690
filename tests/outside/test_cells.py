"""The simulated cells against what is published or usual of their chemistry.

NMC: the published fits of Chen et al., J. Electrochem. Soc. 167 (2020) 080534, written out here a second time. All others: usual
voltages in use (common practice, no source; runner/sheets/chemistry.py has the table).
"""

import math

import pytest

from runner.sheets.chemistry import CHEMISTRIES, find
from runner.twin.cells import Cells, OpenCircuit
from runner.twin.chemistry import KINDS, kind_of


def chen(soc):
    """Open-circuit voltage of the published cell, in V: both electrodes' fits, between their lithiations at 0 and 1."""
    x, y, t = 0.0279 + soc * (0.9014 - 0.0279), 0.9084 + soc * (0.2661 - 0.9084), math.tanh
    low = 1.9793 * math.exp(-39.3631 * x) + 0.2482 - 0.0909 * t(29.8538 * (x - 0.1234))
    low += -0.04478 * t(14.9159 * (x - 0.2769)) - 0.0205 * t(30.4444 * (x - 0.6103))
    high = -0.8090 * y + 4.4875 - 0.0428 * t(18.5138 * (y - 0.5542)) - 17.7326 * t(15.7890 * (y - 0.3117))
    return high + 17.5842 * t(15.9308 * (y - 0.3120)) - low


def test_the_curve_of_nmc_is_the_published_one():
    curve = OpenCircuit(KINDS["NMC"].points)
    for soc in (0.02, 0.1, 0.25, 0.5, 0.65, 0.8, 0.93, 1.0):
        assert curve.volts([soc])[0] == pytest.approx(chen(soc), abs=0.02)


@pytest.mark.parametrize("chemistry", CHEMISTRIES, ids=lambda each: each.name)
def test_a_cell_rises_with_its_charge_and_is_near_its_nominal_voltage_when_half_full(chemistry):
    empty, full = chemistry.lowest[1], chemistry.highest[1]
    kind = kind_of(chemistry.name, empty, full)
    volts = [v for _, v in kind.points]
    assert volts == sorted(set(volts))
    half, top, bottom = OpenCircuit(kind.points).volts([0.5, 1.0, 0.0])
    assert chemistry.nominal[0] - 0.15 <= half <= chemistry.nominal[1] + 0.15
    assert top == pytest.approx(full, abs=0.14)  # LFP and LTO take the last volts when they are full already
    assert bottom == pytest.approx(empty, abs=0.32)


def test_voltages_of_a_sheet_decide_what_full_and_empty_are_where_the_curve_slopes():
    for empty, full in ((2.5, 4.2), (3.0, 4.1), (2.8, 4.25)):
        top, bottom = OpenCircuit(kind_of("NMC", empty, full).points).volts([1.0, 0.0])
        assert (top, bottom) == (pytest.approx(full), pytest.approx(empty + 0.05))


def test_cells_of_other_chemistries_move_along_their_curve():
    kind = kind_of("Na-ion", 1.5, 3.95)
    cells = Cells([0.5, 0.6], OpenCircuit(kind.points))
    before = cells.volts()
    cells.move(0.2)
    assert cells.stack == pytest.approx(sum(OpenCircuit(kind.points).volts([0.7, 0.8])))
    assert all(now > was for now, was in zip(cells.volts(), before, strict=True))


def test_a_chemistry_with_voltages_of_its_own_goes_from_one_to_the_other():
    assert find("other") is None
    kind = kind_of("other", 2.0, 3.4)
    assert OpenCircuit(kind.points).volts([0.0, 1.0]) == [pytest.approx(2.05), pytest.approx(3.4)]
