"""Platinum and thermocouples against published tables.

IEC 60751: a maker's printout of the table and the formula (second hand). ITS-90: NIST SRD 60 / Monograph 175, reference
junction at 0 °C, read in the NIST table files.
"""

import pytest

from runner.measure.thermometry import (
    platinum_resistance,
    platinum_temperature,
    thermocouple_temperature,
    thermocouple_voltage,
)

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
    with pytest.raises(ValueError, match=r"^1000 mV is no voltage of a type K thermocouple$"):
        thermocouple_temperature("K", 1.0)
