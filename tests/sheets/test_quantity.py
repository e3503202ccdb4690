"""Quantities and expressions. Conversions are definitions of the SI (1 h = 3600 s, 1 min = 60 s)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runner.notation.quantity import DIMENSIONS, QuantityError, parse_expression, parse_quantity, shown

NAMES = {
    "trip": "temperature",
    "release": "temperature",
    "rate": "ramp rate",
    "full_charge_voltage": "voltage",
    "rated_capacity": "charge",
    "delay": "time",
}
VALUES = {
    "trip": 55.0,
    "release": 45.0,
    "rate": 2 / 60,
    "full_charge_voltage": 29.2,
    "rated_capacity": 144000.0,
    "delay": 1.0,
}


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("29.2 V", "voltage", 29.2), ("5 mV", "voltage", 0.005), ("40 Ah", "charge", 144000.0), ("2 K/min", "ramp rate", 2 / 60),
        ("2 degC/min", "ramp rate", 2 / 60), ("58 degC", "temperature", 58.0), ("-5 °C", "temperature", -5.0),
        ("2 K", "temperature difference", 2.0), ("12 mohm", "resistance", 0.012), ("90 min", "time", 5400.0), ("0.1 %", "ratio", 0.001),
        (0.95, "ratio", 0.95), ("1024 Wh", "energy", 3686400.0), ("1e-3 A", "current", 0.001),
    ],
)  # fmt: skip
def test_a_quantity_is_read_in_si_and_degrees_celsius(text, dimension, value):
    assert parse_quantity(text, dimension) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "dimension", "what"),
    [
        ("58", "temperature", "58 has no unit"),
        (58, "temperature", "58 has no unit"),
        ("58 K", "temperature", "58 K is a temperature difference; a temperature is needed"),
        ("2 degC", "temperature difference", "2 degC is a temperature; a temperature difference is needed"),
        ("4 V", "current", "4 V is a voltage; a current is needed"),
        ("4 furlongs", "current", "'furlongs' is not a unit used here"),
        ("4 bananas", "current", "'bananas' is not a unit"),
        ("much", "current", "'much' is not a number with a unit"),
        (True, "current", "True is not a current"),
        (None, "current", "nothing is not a current"),
    ],
)
def test_a_wrong_quantity_says_what_is_wrong_and_how_to_write_it(text, dimension, what):
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)
    assert caught.value.what == what
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("trip + 8 K", "temperature", 63.0), ("trip-8 K", "temperature", 47.0), ("trip − 8 K", "temperature", 47.0),
        ("8 K + trip", "temperature", 63.0), ("trip - release", "temperature difference", 10.0), ("0.1 C", "current", 4.0),
        ("full charge voltage", "voltage", 29.2), ("Full Charge Voltage + 200 mV", "voltage", 29.4), ("2 * (1 A + 3 A)", "current", 8.0),
        ("rated capacity / 10 h", "current", 4.0), ("rate * 30 s", "temperature difference", 1.0), ("rate / 2", "ramp rate", 1 / 60),
        ("-(2 K) + trip", "temperature", 53.0), ("trip + rate * delay", "temperature", 55.0 + 2 / 60), ("10 K / 2", "temperature difference", 5.0),
    ],
)  # fmt: skip
def test_an_expression_is_worked_out_from_the_packs_values(text, dimension, value):
    assert parse_expression(text, dimension, NAMES).value(VALUES) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "offset", "part"),
    [
        ("trip + 8 degC", 5, "adds two temperatures"), ("trip + 8 V", 5, "cannot be added"), ("trep + 8 K", 0, "is not a known name"),
        ("trip +", 6, "breaks off"), ("(trip", 5, "not closed"), ("trip 8 K", 5, "goes on with"), ("trip * 2", 5, "cannot be multiplied"),
        ("trip + $", 7, "does not belong"), ("", 0, "breaks off"), ("8 K / rate / trip", 11, "cannot be divided"),
        ("__import__('os')", 0, "does not belong"),
    ],
)  # fmt: skip
def test_a_wrong_expression_is_found_when_it_is_read_with_its_place(text, offset, part):
    with pytest.raises(QuantityError) as caught:
        parse_expression(text, "temperature", NAMES)
    assert part in caught.value.what
    assert caught.value.offset == offset


@given(st.text(alphabet="trip +-*/()0123456789.KV%mA C", max_size=25))
def test_no_text_does_anything_but_give_a_number_or_an_error(text):
    try:
        parsed = parse_expression(text, "temperature", NAMES)
    except QuantityError as error:
        assert 0 <= error.offset <= len(text)
    else:
        try:
            assert isinstance(parsed.value(VALUES), float)
        except ZeroDivisionError:
            assert "/" in text


def test_every_dimension_shows_its_own_example():
    for dimension, (_, _, example) in DIMENSIONS.items():
        assert shown(parse_quantity(example, dimension), dimension)


@pytest.mark.parametrize(
    ("value", "dimension", "said"),
    [
        (1e6, "current", "1000000 A"),
        (12345.0, "voltage", "12340 V"),  # four digits, the last of them even
        (2e-5, "current", "0.00002 A"),
        (-0.0, "voltage", "0 V"),
        (-1e-9, "temperature", "0.0 °C"),
        (-20000.0, "voltage", "−20000 V"),
        (3.6e9, "charge", "1000000 Ah"),
        (1e4, "temperature difference", "10000 K"),
        (6e4 / 60, "ramp rate", "60000 K/min"),
    ],
)
def test_people_read_no_powers_of_ten_and_no_minus_before_zero(value, dimension, said):
    assert shown(value, dimension) == said
