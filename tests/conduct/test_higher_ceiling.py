"""A charger that gives more than a procedure's ceiling of the current: a person judges it, and nobody does in their place."""

import json

import pytest

from reports.headline import headline
from runner.cli import main
from runner.engine.opening import CAUTIONS, DOUBTS, Opening
from runner.errors import SheetError
from runner.evaluation.evaluate import evaluate
from runner.events import Answered
from runner.orders import Ask, Remark
from runner.record.folder import RunFolder
from runner.vocabulary import Answer, Exit
from runner.workspace.job import DEMO_PACK, UserFile, find_procedure, load, read_file
from runner.workspace.session import DONE, LEFT_OUT
from tests.builders import a_file

BENCH = (DEMO_PACK.parent / "by-hand-bench.yaml").read_text(encoding="utf-8")
STRONG = BENCH.replace("    current: 5 A\n", "    current: 10 A\n", 1)


def program(bench):
    return load(find_procedure("charge-over-temperature"), read_file(DEMO_PACK), UserFile("bench.yaml", bench)).program


def test_a_charger_whose_voltage_the_pack_has_by_itself_is_not_switched_on():
    """A typing slip such as 2.92 V, or the charger of a smaller pack: current would flow out of this one."""
    for volts in ("2.92 V", "25.6 V"):
        with pytest.raises(SheetError, match=r"the pack has 25\.6 V by itself"):
            program(BENCH.replace("voltage: 29.2 V", f"voltage: {volts}"))


def test_a_person_is_asked_with_both_values_and_enter_alone_is_no():
    planned = program(STRONG)
    assert planned.ceilings.current == 12.0
    opening = Opening(planned, guarded=True, agreed="")
    (asked,), may_begin = opening.answered(Answered(0.0, CAUTIONS, Answer.GO_ON, "A. Tester"))
    assert isinstance(asked, Ask)
    assert not may_begin
    assert "ends at 6 A, the charger gives 10 A: with that it would end only at 12 A" in asked.say
    (again,), may_begin = opening.answered(Answered(1.0, DOUBTS, Answer.GO_ON, "A. Tester"))
    assert again.say.startswith("A reason is needed.")
    assert not may_begin
    said, may_begin = opening.answered(Answered(2.0, DOUBTS, Answer.AGREE, "A. Tester", "sheet allows 20 A"))
    assert may_begin
    assert isinstance(said[0], Remark)
    assert said[0].say.startswith("Higher limit of the current, accepted by A. Tester: sheet allows 20 A (")


@pytest.mark.parametrize("name", ["arrival", "inspection"])
def test_a_procedure_in_which_the_charger_stays_off_asks_nothing_about_it(name):
    planned = load(find_procedure(name), read_file(DEMO_PACK), UserFile("bench.yaml", STRONG)).program
    assert planned.to_judge == ()


def test_what_a_person_does_not_accept_is_left_out_and_the_session_goes_on(tmp_path):
    bench = a_file(tmp_path / "bench.yaml", STRONG)
    script = a_file(tmp_path / "answers.yaml", "kind: answers\nby: Ada\nthen: go on\nleave_out: not on the sheet\n")
    names, out = ["charge-over-temperature", "inspection"], tmp_path / "runs"
    how = ["--speed", "max", "--sensor", "T1", "--as-given", "--plain", "--bench", str(bench), "--answers", str(script)]
    assert main(["rehearse", *names, *how, "--out", str(out)]) == Exit.NOT_ALL_JUDGED
    (session,) = out.iterdir()
    entries = json.loads((session / "session.json").read_text())["entries"]
    assert [(each["procedure"], each["state"]) for each in entries] == [(names[0], LEFT_OUT), (names[1], DONE)]
    page = (session / "certificate.html").read_text()
    assert "not accepted by Ada: not on the sheet (the procedure charge-over-temperature ends at" in page
    assert "ended early" not in page
    (alone,) = session.glob("*charge-over-temperature")
    evaluation = evaluate(RunFolder.existing(alone))
    assert (evaluation.exit_status, evaluation.findings, evaluation.early) == (Exit.NOT_ALL_JUDGED, (), "")
    assert "SwitchOn" not in (alone / "events.jsonl").read_text()
    assert "Left out: not accepted by Ada: not on the sheet" in headline([evaluation]).line


def test_a_session_of_which_everything_is_left_out_has_no_certificate_and_says_so(tmp_path, capsys):
    bench = a_file(tmp_path / "bench.yaml", STRONG)
    script = a_file(tmp_path / "answers.yaml", "kind: answers\nthen: go on\nleave_out: not on the sheet\n")
    how = ["--speed", "max", "--plain", "--bench", str(bench), "--answers", str(script), "--out", str(tmp_path / "r")]
    names = ["charge-over-temperature", "charge-under-temperature"]
    assert main(["rehearse", *names, "--as-given", *how]) == Exit.NOT_ALL_JUDGED
    assert "Nothing was tested: every procedure was left out" in capsys.readouterr().out


def test_a_charger_within_the_ceiling_is_not_asked_about():
    assert program(BENCH).to_judge == ()
    assert program(BENCH).ceilings.current == 6.0


@pytest.mark.parametrize(("answers", "left_out"), [("", True), ("agree: the sheet allows 20 A\n", False)])
def test_nobody_there_leaves_it_out_with_the_reason(tmp_path, capsys, answers, left_out):
    bench = a_file(tmp_path / "bench.yaml", STRONG)
    script = a_file(tmp_path / "answers.yaml", f"kind: answers\nthen: go on\n{answers}")
    by = ["--answers", str(script)] if answers else ["--unattended"]
    main(["rehearse", "charge-over-temperature", "full-charge", "--plan", "--plain", "--bench", str(bench), *by])
    said = capsys.readouterr().out
    line = next(each for each in said.splitlines() if "charge-over-temperature" in each)
    assert ("ends at 6 A, the charger gives 10 A" in line) == left_out
    assert ("a person has to agree to that" in line) == left_out
    assert "full-charge" in said


def test_a_plan_says_what_will_be_asked(tmp_path, capsys):
    bench = a_file(tmp_path / "bench.yaml", STRONG)
    chosen = ["charge-over-temperature", "inspection", "--as-given", "--bench", str(bench)]
    assert main(["rehearse", *chosen, "--plan", "--out", str(tmp_path / "runs")]) == Exit.PASS
    first, said, second = [line.strip() for line in capsys.readouterr().out.splitlines() if line.startswith("  ")]
    assert first.startswith("1 charge-over-temperature")
    assert said.startswith("you will be asked to agree: the procedure charge-over-temperature ends at 6 A")
    assert second.startswith("2 inspection"), "the charger stays off in it"
