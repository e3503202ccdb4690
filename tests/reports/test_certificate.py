"""The certificate is read back: the structure of the HTML, and the words of the PDF as another program finds them."""

import re
import shutil
import subprocess
import zipfile
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from PIL import Image

from reports.certificate import render, write_certificate
from runner.evaluation.evaluate import evaluate
from runner.record.folder import RunFolder
from runner.sheets.answers import Answers
from runner.workspace.job import find_procedure
from runner.workspace.session import Session
from tests.builders import rehearsed, short_rehearsal
from tests.conduct.test_old_runs import ARCHIVE

VOID = {"meta", "br", "link", "img", "hr", "col", "use", "path", "rect", "circle"}


class Page(HTMLParser):
    """Tables as rows of cells by the heading above them, and whether every element is closed in its turn."""

    def __init__(self, text):
        super().__init__()
        self.open, self.wrong, self.tables, self.heading, self.cell, self.words = [], [], {}, "", None, []
        self.feed(text)
        self.wrong += self.open

    def handle_starttag(self, tag, attributes):
        if tag not in VOID:
            self.open.append(tag)
        if tag in ("h1", "h2"):
            self.heading, self.cell = "", "heading"
        elif tag == "tr":
            self.tables.setdefault(self.heading, []).append([])
        elif tag in ("td", "th"):
            self.tables[self.heading][-1].append("")
            self.cell = "table"
        elif tag == "br" and self.cell == "table":
            self.tables[self.heading][-1][-1] += " "

    def handle_startendtag(self, tag, attributes):
        pass

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"/{tag}")
        if tag in ("h1", "h2", "td", "th"):
            self.cell = None

    def handle_data(self, data):
        self.words.append(data)
        if self.cell == "heading":
            self.heading += data.strip()
        elif self.cell == "table":
            self.tables[self.heading][-1][-1] += " ".join(data.split())

    @property
    def verdict(self):
        text = " ".join(" ".join(self.words).split())
        return re.search(
            r"(?:real pack\.|no\. \S+) ([✓✗○–]? ?[a-z ]+?(?: \(no limit declared\))?)(?:, for what was tested)?: .*? (?:This is the|Nothing was)",
            text,
        ).group(1)


def made(tmp_path, evaluations, not_begun=()):
    """The page, and the PDF's text where it can be read."""
    folder = tmp_path / "made"
    folder.mkdir(exist_ok=True)
    written = write_certificate(evaluations, folder, "2026-11-26", not_begun)
    page = Page(written.html.read_text(encoding="utf-8"))
    assert page.wrong == []
    if written.pdf is None or shutil.which("pdftotext") is None:
        return page, None
    done = subprocess.run(["pdftotext", "-layout", str(written.pdf), "-"], capture_output=True, text=True, check=True)
    return page, " ".join(done.stdout.split())


CASES = [  # scenario, the headline, what its row of the results says
    ("sound", "✓ pass", {"trip": "✓ pass", "release": "✓ pass"}),
    ("trips-late", "✗ fail", {"trip": "✗ fail"}),
    ("no-protection", "✗ fail", {"trip": "✗ fail", "release": "○ not measured"}),
    ("lead-off", None, {}),
]


@pytest.mark.parametrize(("scenario", "verdict", "rows"), CASES)
def test_a_single_run_says_what_was_found(tmp_path, scenario, verdict, rows):
    run = short_rehearsal(tmp_path, scenario)
    page, pdf = made(tmp_path, [run.result.evaluation])
    found = {row[1].split(" / ")[0]: row for row in page.tables["Results"][1:]}
    assert set(found) == {"trip", "release"}
    for name, statement in rows.items():
        assert found[name][-2] == statement
    for each in run.result.evaluation.findings:
        if each.value is not None:
            assert f"± {each.expanded_uncertainty:.2f}" in found[each.name][4]
        else:
            assert each.reason in found[each.name][4]
    if verdict:
        assert page.verdict == verdict
        assert pdf is None or verdict in pdf
    assert pdf is None or "REHEARSAL ON A SIMULATED BENCH" in pdf


def test_every_declared_protection_is_named_tested_or_not(tmp_path):
    run = short_rehearsal(tmp_path)
    page, _ = made(tmp_path, [run.result.evaluation])
    table = page.tables["Protections: tested and not tested"][1:]
    tested = [row for row in table if "not tested" not in row[4]]
    assert [(row[0], row[1]) for row in tested] == [("charge over-temperature", "T1")]
    assert len(table) == 12


def test_a_session_has_every_run_and_what_was_not_begun(tmp_path):
    with zipfile.ZipFile(ARCHIVE) as archive:
        archive.extractall(tmp_path)
    session = Session.of(tmp_path / "session")
    page, pdf = made(tmp_path, session.evaluations(), [("capacity", "not reached")])
    heads = [row[0] for row in page.tables["Results"] if len(row) == 1]
    assert len(heads) == 2, "arrival has nothing to find"
    assert "·" in heads[0], "protection and sensor, and the procedure"
    assert page.tables["Procedures"][0][0].startswith("Arrival")
    assert len(page.tables["Hold points confirmed"]) == 3
    assert any(
        "lowest cell voltage" in row[0] for row in page.tables["Condition: observations and readings by the operator"]
    )
    assert any(row[0] == "ambient temperature" and "°C (read)" in row[1] for row in page.tables["Work"])
    if pdf is not None:
        assert "3 procedures on one pack" in pdf
        assert "page 1 of" in pdf


def test_an_attachment_and_its_remark_are_on_it(tmp_path):
    photo = tmp_path / "dent.jpg"
    Image.new("RGB", (40, 30)).save(photo)
    answers = Answers(kind="answers", answers=("go on", "go on", f"bad; a deep dent @{photo}"), then="go on")
    run = rehearsed(tmp_path / "runs", procedure=find_procedure("arrival"), sensors=(), answers=answers)
    page, pdf = made(tmp_path, [run.result.evaluation])
    rows = [row for row in page.tables["Condition: observations and readings by the operator"] if "deep dent" in row[2]]
    assert rows
    assert rows[0][1] == "✗ bad"
    assert "dent.jpg" in rows[0][3]
    html = (tmp_path / "made" / "certificate.html").read_text()
    assert html.count('src="data:image/jpeg;base64,') == 1
    assert "dent.jpg, SHA-256" in html
    assert pdf is None or "a deep dent" in pdf


def test_a_run_by_hand_says_so(tmp_path):
    with zipfile.ZipFile(ARCHIVE) as archive:
        archive.extractall(tmp_path)
    page, _ = made(tmp_path, [evaluate(RunFolder(tmp_path / "by-hand"))])
    assert "read by hand (mark at each whole degree)" in " ".join(page.words)


def test_what_was_said_again_and_again_stands_once_and_hides_nothing(tmp_path):
    """Eight lines are on the page, the others in the journal."""
    evaluation = short_rehearsal(tmp_path / "runs").result.evaluation
    said = [*((60.0 * minute, "The clamp meter shows nothing yet.") for minute in range(9)), (600.0, "a lead came off")]
    page, _ = made(tmp_path, [replace(evaluation, story=replace(evaluation.story, remarks=tuple(said)))])
    words = " ".join(" ".join(page.words).split())
    assert words.count("The clamp meter shows nothing yet.") == 1
    assert re.search(r"The clamp meter shows nothing yet\. \(9 times, last \S+ \S+ UTC\)", words)
    assert "a lead came off" in words
    assert "more in the journal" not in words


def test_what_was_planned_and_left_undone_is_in_the_headline(tmp_path):
    """A pass of what was measured is no pass of what was not done."""
    evaluation = short_rehearsal(tmp_path).result.evaluation
    story = replace(evaluation.story, end=replace(evaluation.story.end, undone=3))
    page, _ = made(tmp_path, [replace(evaluation, story=story)])
    text = " ".join(" ".join(page.words).split())
    assert ". 3 planned steps skipped." in text.split("Item tested")[0]


def scope(page):
    return {(row[0], row[1]): row[4] for row in page.tables["Protections: tested and not tested"][1:]}


def test_a_capacity_that_fails_is_a_row_of_its_own_and_no_protection_fails_with_it(tmp_path):
    evaluation = short_rehearsal(tmp_path).result.evaluation
    trip = replace(evaluation.findings[0], conformity="pass")
    capacity = replace(
        trip,
        name="capacity",
        unit="A·s",
        sensor=None,
        value=36.5 * 3600,
        lower=38.8 * 3600,
        upper=None,
        conformity="fail",
    )
    page, _ = made(tmp_path, [replace(evaluation, findings=(trip, capacity))])
    rows = scope(page)
    assert rows["charge over-temperature", "T1"] == "✓ pass"
    assert rows["capacity", "—"].startswith("✗ fail: 36.5")
    assert rows["capacity", "—"].endswith("limits ≥ 38.80 Ah")


def test_the_reason_of_a_row_is_that_of_its_worst_finding(tmp_path):
    evaluation = short_rehearsal(tmp_path).result.evaluation
    trip, release = (replace(each, conformity="pass") for each in evaluation.findings)
    stuck = replace(release, value=None, conformity="fail", reason="did not release by 35.0 °C")
    unknown = replace(
        release, name="hysteresis", value=None, conformity="not measured", reason="the release was not measured"
    )
    page, _ = made(tmp_path, [replace(evaluation, findings=(trip, unknown, stuck))])
    assert scope(page)["charge over-temperature", "T1"] == "✗ fail: release: did not release by 35.0 °C"
    late = replace(trip, conformity="fail")
    page, _ = made(tmp_path, [replace(evaluation, findings=(late, release))])
    assert "limits 53.0 … 57.0 °C" in scope(page)["charge over-temperature", "T1"]


def test_the_headline_says_of_how_many_protections_it_speaks(tmp_path):
    page, _ = made(tmp_path, [short_rehearsal(tmp_path).result.evaluation])
    text = " ".join(" ".join(page.words).split()).split("Item tested")[0]
    assert (
        "✓ pass, for what was tested: charge over-temperature at T1. Not tested: 11 of 12 protections (temperature protections"
        in text
    )


def test_the_first_page_has_the_signatures_and_numbers_keep_their_units(tmp_path):
    evaluation = short_rehearsal(tmp_path).result.evaluation
    html = render([evaluation], "a-number", "2026-11-26")
    assert html.index("authorized by") < html.index("Details:")
    assert "40\N{NO-BREAK SPACE}Ah" in html
    assert "usual values of the chemistry" not in html
    assumed = replace(
        evaluation, pack=evaluation.pack.model_copy(update={"usual": ("cut-off voltage", "over-voltage trip")})
    )
    html = " ".join(render([assumed], "a-number", "2026-11-26").split())
    assert "usual values of the chemistry, not from the data sheet: cut-off voltage, over-voltage trip" in html
