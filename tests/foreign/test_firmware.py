"""The firmware models and paths of the foreign worlds do what their names say, by arithmetic that can be done by hand."""

import math
from statistics import NormalDist

import numpy as np
import pytest

from tests.foreign.firmware import Converter, Firmware, thermistor
from tests.foreign.paths import Current, Path


def looks(*past):
    return np.arange(len(past), dtype=float), np.array(past, bool)


def converter(step=0.1, seed=1, at=55.0):
    return Converter(np.random.default_rng(seed), step, at, 20.0, *thermistor(3435.0, 1e4))


def test_the_thermistor_is_the_b_parameter_equation():
    """IEC 60539-1: B between 25 and 85 °C is ln(R25/R85)/(1/298.15 − 1/358.15); a 10 kΩ part with B = 3435 K has 1452 Ω at 85 °C."""
    scale, back = thermistor(3435.0, 1e4)
    assert scale(25.0) == pytest.approx(0.5)
    share = float(scale(85.0))
    assert 1e4 * (1 / share - 1) == pytest.approx(1e4 * math.exp(-3435.0 * (1 / 298.15 - 1 / 358.15)), rel=1e-9)
    assert 1e4 * (1 / share - 1) == pytest.approx(1452, abs=1)
    assert back(share) == pytest.approx(85.0)


@pytest.mark.parametrize("step", [0.02, 0.1, 0.5, 1.0])
def test_a_converters_steps_are_about_their_size_and_uneven(step):
    one = converter(step)
    celsius = np.array([one.back(edge) for edge in one.edges])
    near = np.diff(celsius[np.abs(celsius - 55.0) < 8.0])
    assert np.mean(near) == pytest.approx(step, rel=0.15)
    assert near.std() > 0.02 * step
    assert (near > 0.3 * step).all()


@pytest.mark.parametrize("rising", [True, False])
@pytest.mark.parametrize(
    "firmware",
    [
        Firmware(delay=0.0),
        Firmware(mean=7, delay=0.0),
        Firmware(lag=5.0, delay=0.0),
        Firmware(in_a_row=4, delay=0.0, counted=True),
        Firmware(in_a_row=3, delay=0.0, counted=True, forgives=True),
        Firmware(delay=2.0),
    ],
)
def test_without_noise_and_haste_every_firmware_turns_at_the_limit(firmware, rising):
    """The definition of the truth: the edge of the converter's code, whatever the filter and the debounce."""
    one = converter(0.3)
    code, limit = one.limit(55.2)
    assert abs(limit - 55.2) < 0.3
    slow = 1e-4 if rising else -1e-4  # K a look
    times = np.arange(20_000.0)
    celsius = limit - slow * 10_000 + slow * times
    compared = firmware.filtered(one.codes(celsius))
    acted = firmware.acts(times, compared >= code - 0.5 if rising else compared < code - 0.5)
    assert celsius[int(acted)] == pytest.approx(limit, abs=30 * abs(slow))


def test_noise_moves_the_turning_point_of_an_average_by_less_than_a_quarter_of_a_step():
    one = converter(0.3)
    code, limit = one.limit(55.2)
    draw = np.random.default_rng(2)
    means = [one.codes(limit + offset + 0.3 * draw.standard_normal(200_000)).mean() for offset in (-0.1, 0.0, 0.1)]
    turning = np.interp(code - 0.5, means, [-0.1, 0.0, 0.1])
    assert abs(turning) < 0.25 * 0.3


def test_a_mean_of_n_looks_is_behind_a_ramp_by_half_of_them():
    firmware = Firmware(mean=9)
    assert firmware.filtered(np.arange(50.0))[-1] == pytest.approx(49 - 4)


def test_a_first_order_filter_is_behind_a_ramp_by_its_lag():
    """Discrete first-order low-pass behind a ramp of one a look: keep/(1 − keep) looks (geometric series)."""
    firmware = Firmware(lag=6.0)
    keep = math.exp(-1 / 6)
    assert firmware.filtered(np.arange(200.0))[-1] == pytest.approx(199 - keep / (1 - keep))


def test_noise_makes_a_pack_that_acts_at_once_early_as_first_passage_has_it():
    """P(not yet past by look n) = Π Φ((limit − T_i)/σ), whose sum is the mean number of looks: exact for independent noise."""
    firmware, sigma, draw = Firmware(every=0.25, delay=0.0), 0.2, np.random.default_rng(3)
    times = np.arange(0.0, 120.0, 0.25)
    celsius = -1.2 + times / 60  # 1 K/min towards a limit of 0
    not_yet = np.cumprod([NormalDist().cdf(-value / sigma) for value in celsius])
    expected = 0.25 * not_yet.sum()
    acted = [firmware.acts(times, celsius + sigma * draw.standard_normal(len(times)) >= 0) for _ in range(600)]
    assert np.mean(acted) == pytest.approx(expected, abs=4 * np.std(acted) / 600**0.5)
    assert np.mean(acted) < 72 - 10, "the sensor itself is there after 72 s"


def test_looks_in_a_row_start_again_at_a_good_one():
    firmware = Firmware(in_a_row=3, counted=True, delay=0.0)
    assert firmware.acts(*looks(0, 1, 1, 0, 1, 1, 1, 1)) == 6.0
    assert firmware.acts(*looks(0, 1, 1, 0, 1, 1, 0, 0)) is None


def test_a_forgiving_firmware_takes_one_off():
    firmware = Firmware(in_a_row=3, counted=True, delay=0.0, forgives=True)
    assert firmware.acts(*looks(0, 1, 1, 0, 1, 1, 1, 1)) == 5.0
    assert firmware.acts(*looks(0, 1, 0, 1, 0, 1, 0, 0)) is None


def test_a_timer_starts_at_the_look_and_is_stopped_by_a_good_one():
    firmware = Firmware(delay=1.5)
    assert firmware.acts(*looks(0, 1, 1, 1, 1)) == 2.5
    assert firmware.acts(*looks(0, 1, 0, 1, 1, 1)) == 4.5


def test_a_delay_that_is_counted_takes_whole_looks():
    firmware = Firmware(delay=1.5, counted=True)
    assert firmware.acts(*looks(0, 1, 1, 1, 1)) == 3.0
    assert firmware.longest == 2.0


def test_looks_come_by_the_packs_own_clock():
    firmware = Firmware(every=0.7, phase=0.25)
    times = firmware.looks(10.0, 20.0)
    assert np.diff(times) == pytest.approx(0.7)
    assert 10.0 <= times[0] < 10.7
    assert (times - 0.25) / 0.7 == pytest.approx(np.round((times - 0.25) / 0.7))


def course(**shape):
    current = Current(Path(**shape), 4.0, 0.0)
    current.on(5.0)
    current.opens(20.0)
    current.closes(40.0)
    return current.until(60.0)


def test_a_plain_path_is_open_within_a_millisecond_and_a_dead_time_moves_it():
    assert course().at([19.9, 20.001, 39.9, 40.1]) == pytest.approx([4, 0, 0, 4], abs=1e-3)
    assert course(dead=0.03).at([20.029, 20.031]) == pytest.approx([4, 0], abs=1e-3)


def test_a_tail_is_an_exponential():
    """Five time constants in off_time, so after one of them 1/e is left (to the 0.7 % that the cut-off end takes)."""
    tail = course(off="tail", off_time=1.0)
    assert tail.at(20.2) == pytest.approx(4 * math.exp(-1), rel=0.02)
    assert tail.at(20.4) == pytest.approx(4 * math.exp(-2), rel=0.06)
    assert tail.at(21.0) == pytest.approx(0.0, abs=1e-9)


def test_what_is_left_stays_and_a_pre_charge_comes_first():
    kept = course(left=0.2, pre_charge=(0.1, 2.0))
    assert kept.at(30.0) == pytest.approx(0.2)
    assert kept.at(41.0) == pytest.approx(0.4)
    assert kept.at(42.2) == pytest.approx(4.0)


def test_a_bounce_misses_the_charge_of_its_pauses():
    plain, bounced = course(), course(bounces=5, bounce=0.1)
    missing = plain.integral(59.0) - bounced.integral(59.0)
    assert missing == pytest.approx(5 * 0.1 * 4.0, rel=0.1)
