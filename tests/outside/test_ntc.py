"""Sensor curves against published tables."""

import math

import pytest

from runner.notation.fields import AS_IT_WAS
from runner.sheets.curve import Curve

# Steinhart–Hart coefficients and table of a 10 kΩ "curve 3" thermistor, from an instrument maker's manual (second hand)
MANUAL = (1.129241e-3, 2.341077e-4, 8.775468e-8)
MANUAL_TABLE = [
    (-40, 336103.2),
    (-30, 176804.8),
    (-20, 97006.9),
    (-10, 55303.9),
    (-5, 42316.7),
    (0, 32650.9),
    (1, 31030.8),
]

# The usual pack sensor, 10 kΩ, B25/85 = 3435 K: its data sheet's table in kΩ, as kept in a public repository (second hand)
USUAL_TABLE = [
    (-40, 188.5), (-30, 111.3), (-20, 67.77), (-10, 42.47), (0, 27.28), (5, 22.05), (10, 17.96), (15, 14.69), (20, 12.09),
    (25, 10.00), (30, 8.313), (35, 6.940), (40, 5.827), (45, 4.911), (50, 4.160), (55, 3.536), (60, 3.020), (65, 2.588),
    (70, 2.228), (75, 1.924), (80, 1.668), (85, 1.451), (90, 1.266), (100, 0.9731),
]  # fmt: skip
USUAL_FIT = (8.88073909e-4, 2.51425171e-4, 1.92279449e-7)  # Steinhart–Hart through its 0, 25 and 50 °C


@pytest.mark.parametrize(("temperature", "resistance"), MANUAL_TABLE)
def test_steinhart_hart_gives_the_manuals_table(temperature, resistance):
    curve = Curve(coefficients=MANUAL)
    assert curve.temperature(resistance) == pytest.approx(temperature, abs=0.0026)
    assert curve.resistance(temperature) == pytest.approx(resistance, rel=2e-4)


@pytest.mark.parametrize(("temperature", "kiloohm"), [row for row in USUAL_TABLE if 0 <= row[0] <= 65])
def test_steinhart_hart_through_three_points_follows_the_usual_sensor_from_0_to_65(temperature, kiloohm):
    assert Curve(coefficients=USUAL_FIT).temperature(kiloohm * 1000) == pytest.approx(temperature, abs=0.02)


def test_one_constant_is_wrong_by_what_is_published_and_is_not_used_where_a_table_is_given():
    beta = Curve(resistance_at_25="10 kohm", b="3435 K")
    assert beta.temperature(4160) - 50 == pytest.approx(-0.43, abs=0.03)
    assert beta.temperature(27280) - 0 == pytest.approx(1.1, abs=0.05)
    table = Curve(table=[[f"{t} degC", f"{r} kohm"] for t, r in USUAL_TABLE])
    assert table.temperature(4160) == pytest.approx(50, abs=1e-6)
    assert table.temperature(27280) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(("temperature", "kiloohm"), USUAL_TABLE)
def test_a_table_gives_its_rows_back_both_ways(temperature, kiloohm):
    table = Curve(table=[[f"{t} degC", f"{r} kohm"] for t, r in USUAL_TABLE])
    assert table.resistance(temperature) == pytest.approx(kiloohm * 1000)
    assert table.temperature(kiloohm * 1000) == pytest.approx(temperature, abs=1e-6)


def test_between_the_rows_a_table_is_within_hundredths_of_the_fit():
    table = Curve(table=[[f"{t} degC", f"{r} kohm"] for t, r in USUAL_TABLE])
    fit = Curve(coefficients=USUAL_FIT)
    for temperature in (2.5, 12.5, 22.5, 32.5, 47.5, 57.5):
        assert table.temperature(fit.resistance(temperature)) == pytest.approx(temperature, abs=0.04)


def test_outside_of_a_table_nothing_is_made_up():
    table = Curve(table=[["0 degC", "27.28 kohm"], ["50 degC", "4.16 kohm"]])
    with pytest.raises(ValueError, match="outside the sensor's table"):
        table.resistance(60)
    with pytest.raises(ValueError, match="outside the sensor's table"):
        table.temperature(100e3)


@pytest.mark.parametrize("c", [8.8e-8, 0.0, -1e-8, -5e-8])
def test_steinhart_hart_works_both_ways_whatever_the_sign_of_its_third_coefficient(c):
    """The equation itself (Steinhart and Hart 1968), put in: a fit through three points may have C below zero."""
    curve = Curve(coefficients=(1.2e-3, 2.3e-4, c))
    for temperature in (-20.0, 0.0, 25.0, 60.0):
        resistance = curve.resistance(temperature)
        x = math.log(resistance)
        assert 1 / (1.2e-3 + 2.3e-4 * x + c * x**3) - 273.15 == pytest.approx(temperature, abs=1e-6)
        assert curve.temperature(resistance) == pytest.approx(temperature, abs=1e-6)


def test_coefficients_that_describe_no_sensor_at_a_temperature_say_so():
    curve = Curve(coefficients=(1.2e-3, 2.3e-4, -2e-7))  # its bend is at −35 °C
    with pytest.raises(ValueError, match="outside what the sensor's coefficients describe"):
        curve.resistance(-60.0)
    with pytest.raises(ValueError, match="outside what the sensor's coefficients describe"):
        curve.temperature(1e9)


def test_steinhart_hart_as_old_runs_have_it_raises_what_callers_expect():
    """Coefficients that no thermistor has; a sheet that was run before they were refused is still read."""
    for wrong in [
        (1.1e-3, 2.3e-8, 0),
        (1.1e-3, 0, 0),
        (1.1e-3, 2.3e-4, -1e-300),
        (1e400, 1, 1),
        (1.1e-3, -2.3e-4, 8.8e-8),
    ]:
        curve = Curve.model_validate({"coefficients": wrong}, context={AS_IT_WAS: True})
        with pytest.raises(ValueError, match="outside what the sensor's coefficients describe"):
            curve.resistance(25.0)
