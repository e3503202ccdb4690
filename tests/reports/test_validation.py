"""The page of where the method holds is made from its record, names what falls short, and certificates cite it."""

import json

import pytest
import scipy.stats

from reports.conditions import EXPLAINED, NAMES, explained, name_of
from reports.validation import NAMED, PAGE, RECORD, Validation, by_chance
from runner.evaluation.provenance import measuring


def test_the_page_is_what_its_record_gives():
    assert PAGE.read_text(encoding="utf-8") == Validation.kept().page()


def test_every_line_that_falls_short_is_named_and_no_other():
    kept = Validation.kept()
    content = json.loads(RECORD.read_text(encoding="utf-8"))
    short = {
        (finding, departure)
        for finding, departures in content["findings"].items()
        for departure, line in departures.items()
        if line["coverage"] is not None and line["coverage"] < 0.9
    }
    assert {(finding, departure) for finding, departure, _ in kept.short()} == short
    for finding, departure in short:
        said = f"{finding}, {name_of(departure)} ({explained(departure)}): "
        assert f"- {said}" in kept.page()
        assert said in kept.cited() or len(short) > NAMED


def test_every_condition_is_explained_and_none_that_is_not_there():
    keys = {each for departures in Validation.kept().content["findings"].values() for each in departures}
    assert set(EXPLAINED) == keys
    assert set(NAMES) < keys


def test_a_certificate_says_whether_the_record_is_of_its_own_method():
    kept = Validation.kept()
    assert kept.record in kept.cited()
    assert f"Record {kept.record} " in kept.page()
    used = measuring()[:12]
    other = Validation({**kept.content, "method": "another"}, kept.fingerprint)
    assert f"The method checked was another; this certificate was made with {used}, another version." in other.cited()
    same = Validation({**kept.content, "method": measuring()}, kept.fingerprint)
    assert f"The method checked, {used}, is the one used here." in same.cited()


def test_the_chance_of_a_count_is_that_of_the_binomial_distribution():
    """Reference library: scipy's distribution."""
    assert by_chance(100) == pytest.approx(scipy.stats.binom.cdf(89, 100, 0.95))
