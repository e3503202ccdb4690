"""The page of where the method holds is made from its record, names what falls short, and certificates cite it."""

import json

from reports.validation import PAGE, RECORD, Validation


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
    assert all(f"- {finding}, {departure}: " in kept.page() for finding, departure in short)


def test_a_certificate_says_whether_the_record_is_of_its_own_method():
    kept = Validation.kept()
    assert kept.fingerprint[:12] in kept.cited()
    other = Validation({**kept.content, "method": "another"}, kept.fingerprint)
    assert "not with this version of the method" in other.cited()
