"""Twenty outcomes, each with its headline, read back from plain lines, screen and PDF: the same words, and never more than was judged.

What was not seen is not failed, what was not tested is not passed: in the headline and in the exit status (common practice, no source).
"""

import asyncio
import re
import shutil
import subprocess
from dataclasses import replace

import pytest
from textual.app import App
from textual.widgets import Static

from reports.certificate import render
from reports.headline import headline
from reports.pdf import write_pdf
from runner.console_output import print_headline
from runner.orders import End, Note
from runner.screen.findings import FindingsScreen
from tests.builders import short_rehearsal

OF = "12 protections (temperature protections counted once per sensor)"
ALL_BUT_ONE = f"Not tested: 11 of {OF}"
TESTED = ", for what was tested"
COT, SIM = "charge over-temperature at T1", "Rehearsal on a simulated bench"


class Outcomes:
    """Makes evaluations like one that was really made, with findings and history put in."""

    def __init__(self, made):
        self.made = made
        self.trip, self.release = (replace(each, conformity="pass", plots=()) for each in made.findings)

    def run(self, *findings, simulated=False, broken=(), **story):
        history = replace(self.made.story, simulated=simulated, **story)
        return replace(self.made, findings=findings, story=history, broken=broken)

    def bench(self, word):
        found = replace(self.trip, name="meters", protection="", sensor=None, unit="V", conformity=word)
        return self.run(found, replace(found, name="leads", unit="Ω", conformity=None))

    def other(self, protection, word, sensor=None):
        return replace(self.trip, protection=protection, sensor=sensor, conformity=word)

    def missing(self, finding, reason):
        return replace(finding, value=None, expanded_uncertainty=None, conformity="not measured", reason=reason)

    def seen(self, name, word, why):
        return Note(0, name, word, why=why, of="condition")

    def table(self):
        """(the runs, what was not begun, the headline, the exit status of the first run)"""
        trip, release, run, other = self.trip, self.release, self.run, self.other
        fail = replace(trip, conformity="fail")
        capacity = replace(trip, name="capacity", unit="A·s", sensor=None, protection="under_voltage")
        dent = self.seen("case (swelling, dents, cracks)", "bad", "lid dented")
        end = self.made.story.end
        pressed, hot = (
            replace(end, early=True, reason=why) for why in ("the operator pressed STOP", "ceiling: 67.1 °C")
        )
        quick = replace(trip, conformity="conditional pass", functional=True)
        unclear = self.missing(trip, "unclear: the current fell, and nothing shows what stopped it")
        voltages = other("over_voltage", "pass"), other("under_voltage", "pass"), other("charge_over_current", "pass")
        lost = self.missing(other("discharge_over_temperature", "", "T1"), "lost")
        one = f"✓ pass{TESTED}: {COT}. {ALL_BUT_ONE}"
        return {
            "all passed": ([run(trip, release)], one, 0),
            "one failed": ([run(fail, release)], f"✗ fail: {COT}. {ALL_BUT_ONE}", 1),
            "did not trip": (
                [run(replace(fail, value=None, reason="no trip up to 63 °C"), self.missing(release, "no trip"))],
                f"✗ fail: {COT}. {ALL_BUT_ONE}",
                1,
            ),
            "not measured": (
                [run(self.missing(trip, "too few samples"), release)],
                f"○ not measured: {COT}. {ALL_BUT_ONE}",
                3,
            ),
            "unclear trip": ([run(unclear, release)], f"○ not measured: {COT}. {ALL_BUT_ONE}", 3),
            "functional": (
                [run(quick)],
                f"(✓) conditional pass{TESTED}: {COT}. {ALL_BUT_ONE}. Functional check only: {COT}",
                3,
            ),
            "not judged": (
                [run(replace(trip, conformity=None))],
                f"not judged (no limit declared): {COT}. {ALL_BUT_ONE}",
                3,
            ),
            "broken off by the person": ([run(trip, end=pressed)], f"{one}. Ended early: the operator pressed STOP", 4),
            "broken off by a limit": (
                [run(self.missing(trip, "the run ended early"), end=hot)],
                f"○ not measured: {COT}. {ALL_BUT_ONE}. Ended early: ceiling: 67.1 °C",
                4,
            ),
            "the record breaks off": (
                [run(trip, end=None)],
                f"{one}. Ended early: the record is incomplete (no end entry)",
                4,
            ),
            "only the bench, passing": (
                [self.bench("pass")],
                f"no statement: none tested of {OF}. The bench's own meters: pass",
                3,
            ),
            "only the bench, failing": (
                [self.bench("fail")],
                f"no statement: none tested of {OF}. The bench's own meters: fail",
                1,
            ),
            "lid dented": ([run(trip, notes=(dent,))], f"{one}. Inspection: bad: {dent.name}: lid dented", 0),
            "nothing but looked at": (
                [run(notes=(dent, self.seen("alarm", "yes", "doubtful")))],
                f"no statement: none tested of {OF}. Inspection: bad: {dent.name}: lid dented. Not as expected: alarm",
                0,
            ),
            "steps skipped": ([run(trip, end=replace(end, undone=2))], f"{one}. 2 planned steps skipped", 3),
            "a rehearsal": ([run(trip, simulated=True)], f"{one}. {SIM}", 0),
            "evidence changed": (
                [run(trip, broken=("samples.csv: changed",))],
                "no statement: EVIDENCE CHANGED since it was recorded. On the record as it is now, pass: "
                f"{COT}. {ALL_BUT_ONE}",
                3,
            ),
            "a capacity too small": (
                [run(trip), run(replace(capacity, conformity="fail"))],
                f"✗ fail: capacity; pass: {COT}. {ALL_BUT_ONE}",
                0,
            ),
            "a session with mixed results": (
                [
                    run(trip, replace(trip, sensor="T2", conformity="fail")),
                    *(replace(run(each), procedure=self._of(each.protection)) for each in (*voltages, lost)),
                    self.bench("not measured"),
                ],
                f"✗ fail: charge over-temperature at T2; not measured: discharge over-temperature at T1; pass: 4 protections. "
                f"Not tested: 6 of {OF}. The bench's own meters: not measured",
                1,
            ),
            "a session that stood still": (
                [run(trip), run(self.missing(trip, "the run ended early"), end=End(True, True, "lost the supply"))],
                f"○ not measured: {COT}. {ALL_BUT_ONE}. Ended early: One ramp: lost the supply",
                0,
            ),
        }

    def _of(self, protection):
        return self.made.procedure.model_copy(update={"protection": protection})


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory):
    run = short_rehearsal(tmp_path_factory.mktemp("headlines"))
    return Outcomes(run.result.evaluation).table()


def test_there_are_twenty_and_each_says_what_holds_and_ends_with_its_status(outcomes):
    assert len(outcomes) == 20
    found = {name: (headline(runs).line, runs[0].exit_status) for name, (runs, _, _) in outcomes.items()}
    assert found == {name: (line, status) for name, (_, line, status) in outcomes.items()}


def test_what_nobody_confirmed_off_stands_in_the_headline(tmp_path):
    """Seen: a charger left on by a closed terminal, and a certificate without a word of it."""
    made = Outcomes(short_rehearsal(tmp_path).result.evaluation)
    end = replace(made.made.story.end, early=True, safe=False, reason="a closed terminal")
    said = headline([made.run(made.trip, end=end)]).line
    assert said.endswith("Ended early: a closed terminal. Not confirmed off at the end"), said


def test_plain_lines_and_screen_say_the_same(outcomes, capsys):
    shown = []

    async def look():
        app = App()
        async with app.run_test(size=(140, 45)):
            for runs, _, _ in outcomes.values():
                screen = FindingsScreen("A RUN", runs[0].findings, "runs/x", None, headline(runs).line)
                await app.push_screen(screen)
                shown.append(str(screen.query_one("#headline", Static).content))
                await app.pop_screen()

    asyncio.run(look())
    assert shown == [line for _, line, _ in outcomes.values()]
    for runs, _, _ in outcomes.values():
        print_headline(runs)
    assert capsys.readouterr().out.splitlines() == [f"overall: {line}" for line in shown]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_the_pdf_says_the_same(outcomes, tmp_path):
    """The headline as each certificate has it, all of them in one PDF with a certificate's styles."""
    pages = [render(runs, f"number-{at}", "2026-11-26") for at, (runs, _, _) in enumerate(outcomes.values())]
    heads = [re.search(r'<div class="verdict.*?</div>', page, re.S).group() for page in pages]
    styles = pages[0][: pages[0].index("<body>")]
    assert write_pdf(f"{styles}<body>{'<hr>'.join(heads)}</body></html>", tmp_path / "all.pdf") == ""
    done = subprocess.run(["pdftotext", str(tmp_path / "all.pdf"), "-"], capture_output=True, text=True, check=True)

    def bare(text):  # a line of a PDF breaks where it is full, and the hyphen there is not read back
        return "".join(text.replace("-", "").split())

    assert [line for _, line, _ in outcomes.values() if bare(line) not in bare(done.stdout)] == []
