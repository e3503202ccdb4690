"""Slips of a finger: what is typed is questioned where it is odd, and shown again where it alone decides a statement."""

import random
from dataclasses import replace

import pytest

from runner.conduct.answer_parsing import NotUnderstood, understood
from runner.engine.ceilings import Ceilings
from runner.engine.derived import usual_readings
from runner.engine.program import CeilingValues
from runner.engine.steps.typed import DECIDES, TypedReadings
from runner.events import Answered
from runner.orders import Ask
from runner.sheets.pack import parse_pack
from runner.vocabulary import Answer, Observed, Wants
from tests.builders import PACK

SHEET = parse_pack(PACK, "p")
RATED = (SHEET.rated_capacity, SHEET.rated_capacity * SHEET.nominal_voltage)


def readings():
    ceilings = Ceilings(CeilingValues(60.0, 31.0, 12.0, 7200.0), 0.0)
    return TypedReadings(ceilings, usual_readings(SHEET), RATED)


def ask(of):
    return Ask("q", f"Read: {of}.", of.value, Wants.NUMBER, "V", of.dimension, of=of)


def typed(watch, of, value):
    """(the value that the step gets, how often something was asked again)."""
    question, asked, again = ask(of), ask(of), 0
    event = Answered(1.0, "q", repr(value), "a", "", ())
    while True:
        event, asked = watch.answered(event, asked)
        if asked is None:
            return float(event.value), again
        again += 1
        said = Answer.GO_ON.value if asked.wants == Wants.CHOICE else repr(value)
        event = Answered(2.0, asked.question, said, "a", "", ())
        assert again < 5, question


def slip(dice, value):
    """One digit dropped, doubled, changed, two swapped, the point moved, or a sign."""
    text = f"{value:.2f}"
    digits = [n for n, letter in enumerate(text) if letter.isdigit()]
    at = dice.choice(digits)
    kind = dice.choice(("dropped", "doubled", "changed", "swapped", "point", "sign"))
    if kind == "dropped":
        return float(text[:at] + text[at + 1 :] or "0")
    if kind == "doubled":
        return float(text[:at] + text[at] + text[at:])
    if kind == "changed":
        return float(text[:at] + str((int(text[at]) + dice.randrange(1, 10)) % 10) + text[at + 1 :])
    if kind == "swapped":
        one, other = sorted(dice.sample(digits, 2))
        return float(text[:one] + text[other] + text[one + 1 : other] + text[one] + text[other + 1 :])
    return value * dice.choice((0.1, 10.0, 100.0)) if kind == "point" else -value


@pytest.mark.parametrize(
    "of", [Observed.LAST_VOLTAGE, Observed.CHARGE_AFTER, Observed.ENERGY_AFTER, Observed.CHARGE_BEFORE]
)
def test_no_slip_of_two_hundred_counts_without_having_been_shown_again(of):
    dice = random.Random(of)
    for _ in range(200):
        watch = readings()
        assert of in DECIDES
        value, again = typed(watch, of, slip(dice, dice.uniform(19.5, 26.0)))
        assert again >= 1, value


def test_what_is_no_reading_of_this_pack_is_asked_for_again():
    for value in (2.61, -26.1, 6.21):
        assert typed(readings(), Observed.LOADED_VOLTAGE, value)[1] == 1, value
    watch, asked = readings(), ask(Observed.LOADED_VOLTAGE)
    over = Answered(1.0, "q", "133.0", "a", "", ())
    _, again = watch.answered(over, asked)
    assert "over its ceiling" in again.say
    assert watch.passed(Answered(2.0, again.question, "133.0", "a", "", ()), again), "twice is no slip"
    assert typed(readings(), Observed.OPEN_CIRCUIT_VOLTAGE, 2.64)[1] == 1
    assert typed(readings(), Observed.LOWEST_CELL_VOLTAGE, 33.1)[1] == 1
    assert typed(readings(), Observed.AMBIENT_TEMPERATURE, 210.0)[1] == 1


def test_two_hundred_right_readings_of_a_discharge_are_hardly_ever_questioned():
    """A discharge read every ten minutes, 26.4 V down to 20 V, steep at its end (the shape: common practice, no source)."""
    dice, questioned, count = random.Random(4), 0, 0
    while count < 200:
        watch = readings()
        for part in (0.0, 0.1, 0.3, 0.5, 0.7, 0.85, 0.93, 0.98):
            value = 26.4 - 1.2 * part - 5.0 * part**12 + dice.gauss(0.0, 0.01)
            count += 1
            questioned += typed(watch, Observed.LOADED_VOLTAGE, round(value, 2))[1]
    assert questioned <= 0.02 * count


def test_a_total_that_no_pack_gives_is_asked_for_again():
    watch = readings()
    typed(watch, Observed.CHARGE_BEFORE, 12 * 3600.0)
    assert typed(watch, Observed.CHARGE_AFTER, 52 * 3600.0)[1] == 1, "shown once, as everything that decides"
    watch = readings()
    typed(watch, Observed.CHARGE_BEFORE, 12 * 3600.0)
    assert typed(watch, Observed.CHARGE_AFTER, 520 * 3600.0)[1] == 2


def test_what_is_called_wrong_is_asked_for_again():
    watch, asked = readings(), ask(Observed.LAST_VOLTAGE)
    event, shown = watch.answered(Answered(1.0, "q", "20.43", "a", "", ()), asked)
    assert "20.43 V" in shown.say
    event, again = watch.answered(Answered(2.0, shown.question, Answer.WRONG, "a", "", ()), shown)
    assert again.wants == Wants.NUMBER
    event, shown = watch.answered(Answered(3.0, again.question, "20.34", "a", "", ()), again)
    event, none = watch.answered(Answered(4.0, shown.question, Answer.GO_ON, "a", "", ()), shown)
    assert (event.value, event.question, none) == ("20.34", "q", None)


def test_what_was_to_be_confirmed_is_gone_with_its_question():
    """The step has taken its question back meanwhile: the answer to the next one is not the confirmation."""
    watch = readings()
    _, shown = watch.answered(Answered(1.0, "q", "20.43", "a", "", ()), ask(Observed.LAST_VOLTAGE))
    assert shown is not None
    following = replace(ask(Observed.OPEN_CIRCUIT_VOLTAGE), question="next")
    event, again = watch.answered(Answered(2.0, "next", "25.1", "a", "", ()), following)
    assert (event.question, event.value, again) == ("next", "25.1", None)


def test_a_lowest_cell_is_shown_again_where_it_decides_that_the_pack_should_have_come_back():
    bounds = replace(ask(Observed.LOWEST_CELL_VOLTAGE), lowest=2.0, highest=3.65)
    for protection, shown in (("under_voltage", True), ("", False)):
        watch = TypedReadings(Ceilings(CeilingValues(60.0, 31.0, 12.0, 7200.0)), {}, RATED, protection)
        assert (watch.answered(Answered(1.0, "q", "3.1", "a", "", ()), bounds)[1] is not None) is shown


def test_a_comma_is_a_point_and_the_unit_of_something_else_is_refused():
    voltage = ask(Observed.LAST_VOLTAGE)
    assert understood(voltage, "20,43").value == understood(voltage, "20.43 V").value == "20.43"
    for slipped in ("20.43 A", "20.43 Ah", "20.43 degC", "20.43 C", "20..43", "2O.43"):
        with pytest.raises(NotUnderstood):
            understood(voltage, slipped)
    assert typed(readings(), Observed.LAST_VOLTAGE, float(understood(voltage, "20.43 mV").value))[1] == 2


@pytest.mark.parametrize("line", [4.9, 0.02, 3.31, 35.2, 512.0])
def test_a_reading_of_another_line_is_asked_for_again(line):
    """The clamp, an idle clamp, a cell, the counter's Ah and Wh, typed where the pack's voltage is wanted."""
    for of in (Observed.LOADED_VOLTAGE, Observed.CHARGING_VOLTAGE, Observed.OPEN_CIRCUIT_VOLTAGE):
        watch = readings()
        typed(watch, of, 24.8)
        _, again = watch.answered(Answered(1.0, "q", repr(line), "a", "", ()), ask(of))
        assert again is not None, of
        assert "Read again" in again.say


@pytest.mark.parametrize(("value", "asked_again"), [(1.4, 1), (1.6, 0), (0.0, 0), (4.9, 0)])
def test_of_a_clamp_in_a_charge_what_is_far_below_the_reading_before_is_asked_for_again(value, asked_again):
    """Next to nothing has a second look of its own; a mark of a stop is no reading in a charge."""
    lowest = 0.3 * 4.9
    watch, question = readings(), replace(ask(Observed.CLAMP_CURRENT), lowest=lowest)
    event, again = watch.answered(Answered(1.0, "q", repr(value), "a", "", ()), question)
    assert (again is not None) == bool(asked_again)
    if again is not None:
        assert "1.47 A to 4.9 A would be usual in this charge" in again.say
        event, again = watch.answered(Answered(2.0, again.question, repr(value), "a", "", ()), again)
        assert (float(event.value), again) == (value, None), "a second time it is taken"
    assert typed(readings(), Observed.CLAMP_CURRENT, value)[1] == 0
