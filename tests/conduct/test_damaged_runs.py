"""Whatever a run folder holds: it is named with the reason, counts as changed, and ends nothing. Invented damage."""

import json
import os
import shutil

import pytest

from runner.cli import main
from runner.screen.findings import about, budget_of
from runner.seal.sealing import EVIDENCE
from runner.seal.verify import verify
from runner.workspace.archive import changed_in, past_runs
from tests.builders import short_rehearsal
from tests.made_once import made_once
from tests.screen.kept_runs import three

NAME = "20240601-120000-TI-0417-charge-over-temperature"
ODD = ("x", [], {}, True, -1, 1e300, float("nan"), float("inf"), None, ["x"], "\ud800", 5)
A_LINE = b"0" * 64 + b"  a\0b\n"  # of a list of sums: its name can be no file


@pytest.fixture
def sealed(tmp_path, tmp_path_factory):
    kept, name = made_once(tmp_path_factory, "damaged", lambda to: short_rehearsal(to).result.folder.path.name)
    return shutil.copytree(kept / name, tmp_path / name)


def shown(run):
    """What the screens make of a run."""
    return [run.day, run.statement, *(line for each in run.findings for line in (*about(each), *budget_of(each)))]


def test_whatever_stands_in_findings_the_run_is_shown_or_named(tmp_path):
    path = three(tmp_path) / NAME / "findings.json"
    whole = json.loads(path.read_text())
    refused = 0
    for place in (whole, whole["pack"], whole["findings"][0], whole["findings"][0]["budget"][0]):
        for name in list(place):
            for odd in ODD:
                before, place[name] = place[name], odd
                path.write_text(json.dumps(whole))
                place[name] = before
                runs, unreadable = past_runs(tmp_path)
                assert len(runs) + len(unreadable) == 3, (name, odd)
                assert all(f"{path}: is damaged (" in each for each in unreadable), unreadable
                refused += len(unreadable)
                assert [shown(run) for run in runs]
    assert refused > 150


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda finding: finding.update(value="x"), "finding 1: value is not a number"),
        (lambda finding: finding["budget"][0].update(source=5), "finding 1: budget: source is not text"),
        (lambda finding: finding["budget"][0].pop("source"), "finding 1: its budget is no list of sources"),
        (lambda finding: finding.update(expanded_uncertainty=None), "finding 1: a value without its uncertainty"),
    ],
)
def test_a_finding_that_is_none_is_named_by_what_is_wrong_with_it(tmp_path, change, said):
    path = three(tmp_path) / NAME / "findings.json"
    content = json.loads(path.read_text())
    for row in content["findings"][0]["budget"]:
        del row["kind"]  # as in a folder of a former version
    change(content["findings"][0])
    path.write_text(json.dumps(content))
    assert past_runs(tmp_path)[1] == [f"{path}: is damaged ({said})"]


@pytest.mark.parametrize("name", ["findings.json", "inputs/resolved.json"])
def test_a_file_that_is_a_folder_is_named(tmp_path, name):
    path = three(tmp_path) / NAME / name
    path.unlink()
    path.mkdir()
    runs, (said,) = past_runs(tmp_path)
    assert len(runs) == 2
    assert said == f"{path}: cannot be read: Is a directory; take the folder from a backup"


@pytest.mark.parametrize("locked", ["findings.json", ""])
def test_what_nobody_may_read_is_named_and_counts_as_changed(tmp_path, locked, monkeypatch):
    """Root may read everything, so the system's answer is made here."""
    folder = three(tmp_path) / NAME
    denied = str(folder / locked)

    def refusing(real):
        def answer(path, *args, **kwargs):
            inside = not locked and os.fspath(path).startswith(f"{denied}/")
            if inside or (locked and os.fspath(path) == denied):
                raise PermissionError(13, "Permission denied", os.fspath(path))
            return real(path, *args, **kwargs)

        return answer

    asking = (
        () if locked else ("stat", "is_file", "exists")
    )  # whether it is there may be asked of a file that is locked
    for name in ("open", "read_text", "read_bytes", *asking):
        monkeypatch.setattr(f"pathlib.Path.{name}", refusing(getattr(type(folder), name)))
    runs, (said,) = past_runs(tmp_path)
    assert len(runs) == 2
    assert said.startswith(f"{denied}: cannot be read")
    assert "Permission denied" in said
    assert locked or changed_in(folder) == (f"{folder}: cannot be read: Permission denied",)


def _sealed_lines(seal):
    content = json.loads(seal.read_text())
    seal.write_text(json.dumps({**content, "journal_lines": float("inf")}))


def _name_of_nothing(folder):
    kept = folder / "editions" / "0001"
    kept.mkdir(parents=True)
    (kept / "edition.json").write_text('{"schema": 1}')
    (kept / EVIDENCE).write_bytes((folder / EVIDENCE).read_bytes() + A_LINE)


def _no_names(folder):
    """The last line of a journal has none behind it that would hold its hash."""
    lines = (folder / "events.jsonl").read_bytes().splitlines()
    last = json.loads(lines[-1])
    del last["order" if "order" in last else "event"]
    lines[-1] = json.dumps({**last, "event": "InputsKept", "files": [5]}).encode()
    (folder / "events.jsonl").write_bytes(b"\n".join(lines) + b"\n")


def _no_time(folder):
    lines = (folder / "events.jsonl").read_bytes().splitlines()
    last = json.dumps({**json.loads(lines[-1]), "t": 10**400}).encode()
    (folder / "events.jsonl").write_bytes(b"\n".join([*lines[:-1], last]) + b"\n")


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda folder: _sealed_lines(folder / "seal.json"), "seal.json: cannot be read"),
        (_name_of_nothing, "editions/0001/a⟨U+0000⟩b: is not what this edition sealed"),
        (_no_names, "does not say which inputs were kept"),
        (_no_time, "is not a line of the journal"),
    ],
)
def test_a_seal_or_a_journal_that_makes_no_sense_is_a_change_and_ends_nothing(sealed, capsys, damage, said):
    damage(sealed)
    assert any(said in each for each in changed_in(sealed))
    assert main(["verify", str(sealed)]) == 1
    assert said in capsys.readouterr().out


def test_a_disk_that_fails_is_a_difference_beside_what_was_found_before(sealed, monkeypatch):
    (sealed / "truth.json").write_text("{}")

    def failing(*_):
        raise OSError(5, "Input/output error", str(sealed / "editions"))

    monkeypatch.setattr("runner.seal.verify._about", failing)
    assert verify(sealed, None).differences == [
        "truth.json: is not what was sealed",
        "editions: cannot be read (Input/output error)",
    ]
