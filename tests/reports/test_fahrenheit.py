"""°F for people: temperatures with their zero, differences without; what is typed comes back in °C, and records stay in °C.

Fixed points: water freezes at 32 °F and boils at 212 °F, −40 is the same on both; a kelvin is 1.8 °F (NIST SP 811, B.8 and B.9).
"""

import json
import re

import pytest

from reports.certificate import render
from reports.wording import worded
from runner.cli import main
from runner.conduct.answer_parsing import NotUnderstood, hint, understood
from runner.engine.ceilings import Ceilings
from runner.engine.program import CeilingValues
from runner.notation.quantity import shown
from runner.orders import Ask, next_degree
from runner.record.folder import FINDINGS
from runner.scale import as_read, celsius, reading_in, whole
from runner.vocabulary import Wants
from tests.builders import short_rehearsal
from tests.screen.kept_runs import TRIP

THERMOMETER = Ask("q", "Read.", "r", Wants.NUMBER, "degC", "temperature", lowest=5.0, highest=40.0)


@pytest.fixture
def fahrenheit():
    with reading_in("degF"):
        yield


@pytest.mark.parametrize(("there", "here"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (55.0, 131.0)])
def test_fixed_points_and_the_way_back(fahrenheit, there, here):
    assert as_read(there, "°C") == (pytest.approx(here), "°F")
    assert celsius(here) == pytest.approx(there)


def test_a_difference_has_no_zero(fahrenheit):
    assert shown(5.0, "temperature difference") == "9 °F"
    assert shown(5.0, "temperature") == "41.0 °F"
    assert shown(2.0 / 60, "ramp rate") == "3.6 °F/min"
    assert shown(29.2, "voltage") == "29.2 V"


@pytest.mark.parametrize("typed", ["131", "131 F", "131F", "131 °F", "131,0", "55 degC", "55 °C"])
def test_what_is_typed_comes_back_in_celsius(fahrenheit, typed):
    assert float(understood(THERMOMETER, typed).value) == pytest.approx(55.0)


def test_the_question_says_what_is_wanted_and_where_celsius_is_read_fahrenheit_is_none():
    with reading_in("degF"):
        assert hint(THERMOMETER).startswith("Type a number in °F, then Enter (expected 41.0 °F to 104.0 °F)")
    with pytest.raises(NotUnderstood, match="not a number in °C"):
        understood(THERMOMETER, "131 F")


def test_marks_are_whole_degrees_of_the_thermometer_in_the_hand(fahrenheit):
    assert whole(55.0, 1.0) == pytest.approx(55.0)
    assert whole(55.1, 1.0) == pytest.approx(celsius(132.0))
    assert whole(55.1, -1.0) == pytest.approx(celsius(131.0))
    degree = 50.0
    for wanted in (123, 124, 125):
        degree = next_degree(degree, 1.0)
        assert degree == pytest.approx(celsius(wanted))
    assert next_degree(degree, -1.0) == pytest.approx(celsius(124))


def test_a_finding_has_a_temperature_and_an_interval(fahrenheit):
    """54.62 ± 0.36 °C between 53 and 57 °C."""
    text = worded(TRIP)
    assert (text.value, text.uncertainty, text.unit) == ("130.32", "0.65", "°F")
    assert (text.expected, text.limits) == ("131.0", "127.4 … 134.6")


def test_a_ceiling_is_said_in_fahrenheit(fahrenheit):
    over = Ceilings(CeilingValues(67.0, 30.0, 6.0, 3600.0)).typed("temperature", 70.0)
    assert over == "temperature 158 °F is over its ceiling of 152.6 °F"


def test_a_run_is_read_in_fahrenheit_and_recorded_in_celsius(tmp_path, fahrenheit):
    run = short_rehearsal(tmp_path, nothing_wired=True)
    folder = run.result.folder.path
    trip = next(each for each in json.loads((folder / FINDINGS).read_text())["findings"] if each["name"] == "trip")
    assert trip["unit"] == "°C"
    assert 53 < trip["value"] < 57
    page = re.sub(r"<svg.*?</svg>", "", render([run.result.evaluation], "n", "2026-11-26"), flags=re.S)
    row = re.search(r"<td class=\"num\">trip / (°.)</td><td class=\"num\">([\d.]+)</td>", page)
    assert row.groups() == ("°F", "131.0")
    assert not re.search(r"\d °C", page.replace("\N{NO-BREAK SPACE}", " "))


def test_a_scale_that_there_is_not_is_refused(monkeypatch, capsys):
    monkeypatch.setenv("TRIPWITNESS_TEMPERATURES", "degR")
    assert main(["check", "pack.yaml"]) == 2
    assert "set it to degC or degF" in capsys.readouterr().err
