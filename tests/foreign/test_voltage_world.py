"""The under-voltage world is right by itself: cells, relaxation, meters and the truth, held against arithmetic. Nothing here asks the method."""

from dataclasses import replace
from random import Random

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from runner.measure.fits.cells import FIRST_ORDER
from tests.foreign.trial import PLAIN
from tests.foreign.voltage.cells import GRID, Cells, open_circuit, share_at
from tests.foreign.voltage.drawn import COUNT, GROUPS, plain
from tests.foreign.voltage.world import departures, ripple, trial

SOME = range(10)
TWO = Cells(40 * 3600.0, (0.05, 0.03), 0.002, (0.003, 20.0), (0.01, 300.0))


def test_the_open_circuit_curve_is_flat_and_has_a_knee_near_empty():
    """LFP: 3.2 to 3.3 V over the middle, a knee below a tenth (any data sheet of the chemistry)."""
    assert open_circuit([0.3, 0.8]) == pytest.approx([3.29, 3.3], abs=0.02)
    assert open_circuit(0.0) == pytest.approx(3.3077 - 0.020269 - 0.9)
    assert share_at(float(open_circuit(0.02))) == pytest.approx(0.02, abs=1e-6)


def test_a_discharge_takes_its_charge_from_every_cell():
    """144 kA·s at 20 A are 2 h: a hundredth of it is gone after 72 s."""
    amps = np.full(int(72 / GRID) + 1, 20.0)
    volts = TWO.voltages(amps)
    lost = 20.0 * (0.002 + 0.003 + 0.01)
    assert volts[:, 0] == pytest.approx(open_circuit([0.05, 0.03]) - lost)
    assert volts[:, -1] == pytest.approx(open_circuit([0.04, 0.02]) - lost, abs=1e-6)


def test_cells_recover_at_once_by_the_ohmic_part_and_then_by_two_exponentials():
    """RC behind a current that stops: I·R·e^(−t/τ) is left (any textbook)."""
    flowed = 100
    amps = np.concatenate((np.full(flowed, 20.0), np.zeros(6000)))
    volts = TWO.voltages(amps)[0]
    rest = open_circuit(0.05 - 20.0 * (flowed - 0.5) * GRID / TWO.capacity)
    t = GRID * np.arange(1, 6001)
    left = 20.0 * (0.003 * np.exp(-t / 20.0) + 0.01 * np.exp(-t / 300.0))
    assert volts[flowed:] == pytest.approx(rest - left, abs=2e-5)


@pytest.mark.parametrize("departure", departures())
def test_every_departure_makes_a_whole_record(departure):
    one, again = trial(5, departure), trial(5, departure)
    assert one.truth == again.truth
    for name, (t, values) in one.channels.items():
        assert (np.diff(t) > 0).all()
        assert len(t) == len(values)
        assert np.isfinite(values).all()
        assert (again.channels[name][1] == values).all()
    drained, rested = one.steps
    assert drained.acted < rested.began < rested.acted < rested.ended
    assert one.truth["trip"] < one.truth["release"]
    assert one.truth["recovery time"] > 20.0
    assert (METER_VOLTAGE in one.channels) == one.drawn.voltmeter


@pytest.mark.parametrize("seed", SOME)
def test_a_quiet_pack_acts_one_look_and_its_delay_after_its_lowest_cell_has_crossed(seed):
    one = trial(seed, PLAIN)
    firmware = one.drawn.firmware
    for step in one.steps:
        late = step.acted - step.crossed
        assert 0.94 * firmware.longest - 1e-6 <= late <= 1.06 * firmware.longest + firmware.every


@pytest.mark.parametrize("seed", SOME)
def test_the_voltmeter_reads_the_truth_when_the_cell_crosses(seed):
    one = trial(seed, PLAIN)
    t, volts = one.channels[METER_VOLTAGE]
    (gain, _), (offset, _) = one.drawn.gains[0], one.drawn.offsets[0]
    for step, name in zip(one.steps, ("trip", "release"), strict=True):
        if name == "release":
            continue  # the terminals are dead until the path closes
        read = np.interp(step.crossed, t, volts)
        assert read == pytest.approx(one.truth[name], abs=gain * one.truth[name] + offset + 0.003)
    closed = volts[(t > one.steps[1].acted + 0.6) & (t < one.steps[1].acted + 3)]
    assert closed == pytest.approx(one.truth["release"], abs=gain * 26 + offset + 0.05)


@pytest.mark.parametrize("seed", SOME)
def test_leads_lower_what_the_load_reads_by_their_drop(seed):
    one = trial(seed, "no voltmeter, leads said")
    t, volts = one.channels[LOAD_VOLTAGE]
    assert 0.02 <= one.drawn.leads <= 0.03
    read = np.interp(one.steps[0].crossed, t, volts) + one.drawn.leads * one.level
    assert read == pytest.approx(one.truth["trip"], abs=0.001 * 26 + 0.01 + 0.01)
    flows = one.channels[LOAD_CURRENT][1]
    assert np.median(flows[: len(flows) // 2]) == pytest.approx(one.level, rel=0.01)


def test_an_open_pack_leaves_its_terminals_dead():
    for seed in SOME:
        one = trial(seed, PLAIN)
        t, volts = one.channels[METER_VOLTAGE]
        between = volts[(t > one.steps[0].acted + 0.1) & (t < one.steps[1].acted)]
        assert between.max() < 0.31
        assert between.min() > -0.01


def test_a_meter_takes_the_mean_of_a_ripple():
    """Against sums over fine steps; over whole periods nothing is left."""
    ends = np.linspace(3.0, 4.0, 7)
    for hertz, aperture in ((0.7, 0.3), (50.0, 0.013)):
        fine = [
            np.mean(0.02 * np.sin(2 * np.pi * hertz * (e - aperture * (np.arange(4000) + 0.5) / 4000))) for e in ends
        ]
        assert ripple((0.02, hertz), ends, aperture) == pytest.approx(fine, abs=1e-7)
    assert ripple((0.02, 50.0), ends, 0.2) == pytest.approx(0.0, abs=1e-12)


def test_noise_on_eight_cells_finds_the_lowest_sooner_than_on_one():
    """The lowest of eight noisy looks is on average 1.42 σ below (order statistics of the normal; Tippett 1925)."""
    draw = np.random.default_rng(4)
    assert draw.standard_normal((100_000, 8)).min(axis=1).mean() == pytest.approx(-1.4236, abs=0.02)
    early = []
    for seed in range(40):
        one = trial(seed, "looks in a row")
        if one.drawn.firmware.noise > 0.002:
            early.append(one.steps[0].acted - one.steps[0].crossed - one.drawn.firmware.longest)
    assert len(early) > 8
    assert np.median(early) < 0


@pytest.mark.parametrize(("group", "departure"), [("cells", "uneven cells"), ("inside", "resistance inside the pack")])
def test_a_cut_off_at_a_second_current_says_nothing_of_the_filter(group, departure):
    """Why no procedure cuts off twice to find lag and filter.

    The voltage at the terminals falls more steeply at a larger current, so that a lag would show in the difference of two cut-offs.
    But cells apart and the resistance inside the pack move the terminals as well: what is taken for a lag is mostly off by more
    than any filter of common practice is long.
    """
    off = []
    for seed in range(24):
        rng = Random(f"second current {seed}")
        d = plain(rng)
        GROUPS[group][departure](rng, d)
        first = _cut_off(d, d.level, d.cells.left)
        left = tuple(each - d.level * first[2] / d.cells.capacity for each in d.cells.left)
        second = _cut_off(d, d.level / 4, left)
        off.append((first[0] - second[0]) / (first[1] - second[1]))
    assert np.median(np.abs(off)) > FIRST_ORDER


def _cut_off(d, amps, left):
    """(V at the terminals, V/s, s) when the first cell passes the pack's threshold."""
    cells = replace(d.cells, left=left).voltages(np.full(40_000, amps))
    here = int(np.argmax((cells < d.trip / COUNT + d.trip_off).any(axis=0)))
    stack = cells.sum(axis=0) - amps * d.inside
    return stack[here], (stack[here] - stack[here - 20]) / (20 * GRID), here * GRID
