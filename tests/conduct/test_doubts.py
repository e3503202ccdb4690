"""What is unusual on a sheet is said early, agreed to by a person with a reason, and stands in the record."""

import re

import pytest

from runner.cli import main
from runner.errors import SheetError
from runner.notation.source import read
from runner.sheets.answers import Answers
from runner.sheets.doubts import doubts
from runner.sheets.pack import parse_pack
from runner.workspace.job import DEMO_PACK, UserFile
from tests.builders import PACK, SHORT_PROCEDURE, a_file, short_rehearsal

# (what is unusual, what is replaced, by what, where, part of the message)
UNUSUAL = [
    ("a trip of 75 °C", "trip: 55 degC", "trip: 75 degC", 15, "usual: 30 to 70 °C"),
    ("3.8 V a cell", "29.2 V", "30.4 V", 7, "3.8 V per cell; usual for LFP: 3.5 to 3.65 V"),
    ("five times the capacity an hour", "maximum_charge_current: 20 A", "maximum_charge_current: 200 A", 10, "is 5 C; more than 2 C is unusual"),
    ("no power of ten", "maximum_charge_current: 20 A", "maximum_charge_current: 40 kA", 10, "is 1000 C; more than 2 C is unusual"),
    ("a delay of two minutes", "delay: 1 s", "delay: 2 min", 18, "more than 60 s"),
    ("a tolerance of 15 K", "tolerance: 2 K", "tolerance: 15 K", 16, "very wide"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "line", "part"), [each[1:] for each in UNUSUAL], ids=[each[0] for each in UNUSUAL]
)
def test_what_is_unusual_is_said_with_its_place_and_is_not_wrong(old, new, line, part):
    text = PACK.replace(old, new, 1)
    (found,) = doubts(parse_pack(text, "p"), read(text, "p"))
    assert part in found.what
    assert found.line == line


def test_the_usual_sheets_are_doubted_nowhere():

    for text in (PACK, DEMO_PACK.read_text(encoding="utf-8")):
        assert doubts(parse_pack(text, "p"), read(text, "p")) == []


# one ramp of a sensor whose lag nobody declares is a quick look: a tolerance that it can pass
ODD = UserFile(
    "pack.yaml",
    PACK.replace("maximum_charge_current: 20 A", "maximum_charge_current: 200 A").replace(
        "tolerance: 2 K", "tolerance: 4 K"
    ),
)


def test_check_says_it_and_takes_the_sheet(tmp_path, capsys):
    path = a_file(tmp_path / "pack.yaml", ODD.text)
    assert main(["check", str(path)]) == 0
    assert f"doubtful: {path}:10:25: maximum charge current is 5 C" in capsys.readouterr().out


def test_an_unattended_rehearsal_agrees_and_says_so(tmp_path):
    run = short_rehearsal(tmp_path, pack=ODD)
    assert run.result.evaluation.exit_status == 0
    (said,) = [say for _, say in run.result.evaluation.story.remarks if "Unusual values on the pack sheet" in say]
    assert "accepted by simulated operator: accepted automatically (unattended rehearsal)" in said


def test_a_person_is_asked_again_until_there_is_a_reason(tmp_path):
    asked = []
    answers = Answers(
        kind="answers", by="Ada", answers=("go on", "agree", "agree; read from the label"), then="go on", wait="1 s"
    )
    run = short_rehearsal(
        tmp_path, pack=ODD, answers=answers, tell=lambda order, t: asked.append(getattr(order, "say", ""))
    )
    assert any(say.startswith("A reason is needed.") for say in asked)
    assert any("accepted by Ada: read from the label" in say for _, say in run.result.evaluation.story.remarks)
    assert run.result.evaluation.exit_status == 0


def test_scripted_answers_without_a_reason_are_wrong_before_anything_begins(tmp_path, capsys):
    script = a_file(tmp_path / "answers.yaml", "kind: answers\nthen: go on\n")
    pack = a_file(tmp_path / "pack.yaml", ODD.text)
    short = a_file(tmp_path / "short.yaml", SHORT_PROCEDURE)
    arguments = [
        "rehearse",
        str(short),
        "--pack",
        str(pack),
        "--answers",
        str(script),
        "--scenario",
        "sound",
        "--seed",
        "1",
        "--speed",
        "max",
        "--out",
        str(tmp_path / "runs"),
    ]
    assert main(arguments) == 2
    assert "add agree: with the reason if the values are right, else leave_out:" in capsys.readouterr().err
    assert not (tmp_path / "runs").exists()
    a_file(script, "kind: answers\nthen: go on\nagree: read from the label\n")
    assert main(arguments) == 0


def test_a_wrong_sheet_is_wrong_and_not_doubtful():
    with pytest.raises(SheetError):
        parse_pack(PACK.replace("29.2 V", "39.2 V"), "p")


def test_in_a_session_it_is_agreed_to_once_and_stands_in_the_record_of_every_run(tmp_path, capsys):
    pack = a_file(tmp_path / "pack.yaml", ODD.text)
    short, again = (
        a_file(tmp_path / f"{name}.yaml", SHORT_PROCEDURE.replace("name: short", f"name: {name}"))
        for name in ("short", "again")
    )
    script = a_file(tmp_path / "answers.yaml", "kind: answers\nby: Ada\nthen: go on\nagree: read from the label\n")
    files = [
        "rehearse",
        "--scenario",
        "sound",
        "--seed",
        "1",
        str(short),
        str(again),
        "--pack",
        str(pack),
        "--answers",
        str(script),
    ]
    assert main([*files, "--speed", "max", "--out", str(tmp_path / "runs")]) == 0
    (session,) = (tmp_path / "runs").iterdir()
    journals = [path.read_text() for path in sorted(session.glob("*/events.jsonl"))]
    assert [re.search(r'"question": ?"doubts"', journal) is not None for journal in journals] == [True, False]
    assert all("accepted by Ada: read from the label" in journal for journal in journals)


def test_another_doubt_is_asked_about_again():
    from runner.workspace.session import Session

    content = {"pack": "p", "bench": "b", "sensors": [], "state_of_charge": None, "left_out": [], "entries": []}
    session = Session(DEMO_PACK, content | {"agreed": {"one": "Ada: because"}})
    assert session.agreement(["one"]) == "Ada: because"
    assert session.agreement(["one", "two"]) == ""
    assert Session(DEMO_PACK, content).agreement(["one"]) == "", "a session from before"
