"""Platinum and thermocouples against published tables.

IEC 60751: a maker's printout of the table and the formula (second hand). ITS-90: NIST SRD 60 / Monograph 175, reference
junction at 0 °C, read in the NIST table files.
"""

import itertools

import pytest

from runner.bench.thermometry import (
    THERMOCOUPLE_RANGES,
    platinum_resistance,
    platinum_temperature,
    thermocouple_temperature,
    thermocouple_voltage,
)

# of SRD 60 too, from memory: °C and mV
OTHERS = {
    "J": {-100: -4.633, 100: 5.269, 200: 10.779, 500: 27.393, 760: 42.919},
    "E": {-100: -5.237, 100: 6.319, 200: 13.421, 500: 37.005},
    "N": {-100: -2.407, 100: 2.774, 200: 5.913, 500: 16.748, 1000: 36.256},
    "R": {-50: -0.226, 100: 0.647, 200: 1.469, 500: 4.471, 1000: 10.506, 1500: 17.451},
    "S": {-50: -0.236, 100: 0.646, 200: 1.441, 500: 4.233, 1000: 9.587, 1500: 15.582},
    "B": {100: 0.033, 200: 0.178, 500: 1.242, 1000: 4.834, 1500: 10.099, 1800: 13.591},
    "K": {-100: -3.554, 500: 20.644, 1000: 41.276},
    "T": {-100: -3.379, 300: 14.862, 400: 20.872},
}
PLATINUM = [
    (-200, 18.52), (-100, 60.26), (-50, 80.31), (-40, 84.27), (-20, 92.16), (-10, 96.09), (0, 100.00), (20, 107.79), (50, 119.40),
    (60, 123.24), (70, 127.08), (80, 130.90), (100, 138.51), (150, 157.33), (200, 175.86), (850, 390.48),
]  # fmt: skip
COUPLES = [  # °C, type K mV, type T mV
    (-40, -1.527, -1.475), (-20, -0.778, -0.757), (-10, -0.392, -0.383), (0, 0.0, 0.0), (20, 0.798, 0.790), (25, 1.000, 0.992),
    (30, 1.203, 1.196), (40, 1.612, 1.612), (45, 1.817, 1.823), (50, 2.023, 2.036), (55, 2.230, 2.251), (60, 2.436, 2.468),
    (65, 2.644, 2.687), (70, 2.851, 2.909), (80, 3.267, 3.358), (100, 4.096, 4.279), (150, 6.138, 6.704), (200, 8.138, 9.288),
]  # fmt: skip


@pytest.mark.parametrize(("temperature", "resistance"), PLATINUM)
def test_platinum_follows_iec_60751_both_ways(temperature, resistance):
    assert round(platinum_resistance(temperature), 2) == pytest.approx(resistance, abs=1e-9)
    assert platinum_temperature(resistance) == pytest.approx(temperature, abs=0.021)  # the table has two decimals
    assert platinum_temperature(platinum_resistance(temperature)) == pytest.approx(temperature, abs=1e-6)


def test_a_widely_copied_older_curve_is_not_ours():
    """138.50 Ω at 100 °C and 175.84 Ω at 200 °C are an older curve, often printed beside the present coefficients."""
    assert round(platinum_resistance(100), 2) != 138.50
    assert round(platinum_resistance(200), 2) != 175.84


def test_a_thousand_ohm_platinum_is_ten_times_a_hundred():
    assert platinum_resistance(55.0, 1000.0) == pytest.approx(10 * platinum_resistance(55.0))


@pytest.mark.parametrize(("temperature", "k", "t"), COUPLES)
def test_types_k_and_t_follow_its_90_both_ways(temperature, k, t):
    for kind, millivolts in (("K", k), ("T", t)):
        assert round(thermocouple_voltage(kind, temperature) * 1e3, 3) == pytest.approx(millivolts, abs=1e-9)
        assert thermocouple_temperature(kind, thermocouple_voltage(kind, temperature)) == pytest.approx(
            temperature, abs=1e-6
        )


@pytest.mark.parametrize("kind", OTHERS)
def test_all_eight_types_follow_its_90_both_ways(kind):
    for temperature, millivolts in OTHERS[kind].items():
        assert round(thermocouple_voltage(kind, temperature) * 1e3, 3) == pytest.approx(millivolts, abs=1e-9)
        voltage = thermocouple_voltage(kind, temperature, 23.0)
        assert thermocouple_temperature(kind, voltage, 23.0) == pytest.approx(temperature, abs=1e-6)


@pytest.mark.parametrize("kind", THERMOCOUPLE_RANGES)
def test_over_its_range_a_type_has_one_temperature_for_a_voltage_and_none_outside(kind):
    low, high = THERMOCOUPLE_RANGES[kind]
    volts = [thermocouple_voltage(kind, low + (high - low) * n / 2000) for n in range(2001)]
    assert all(b > a for a, b in itertools.pairwise(volts))
    for outside in (volts[0] - 1e-6, volts[-1] + 1e-6):
        with pytest.raises(
            ValueError, match=rf"is no voltage of a type {kind} thermocouple from {low:g} to {high:g} °C"
        ):
            thermocouple_temperature(kind, outside)
    with pytest.raises(ValueError, match="the terminals of a type"):
        thermocouple_temperature(kind, 0.0, 1900.0)


def test_the_terminals_are_added_as_a_voltage_and_never_as_a_temperature():
    assert thermocouple_temperature("K", 4.096e-3, 25.0) == pytest.approx(
        124.310, abs=0.001
    )  # not 100 + 25 less something
    assert thermocouple_temperature("K", 1.1e-3, 23.0) == pytest.approx(49.9079, abs=0.001)


@pytest.mark.parametrize("resistance", [0.0, -5.0, 500.0])
def test_what_no_platinum_thermometer_has_is_refused(resistance):
    with pytest.raises(ValueError, match="is no resistance of a platinum thermometer"):
        platinum_temperature(resistance)


def test_what_no_thermocouple_gives_is_refused():
    with pytest.raises(ValueError, match=r"^1000 mV is no voltage of a type K thermocouple from -270 to 1372 °C$"):
        thermocouple_temperature("K", 1.0)
