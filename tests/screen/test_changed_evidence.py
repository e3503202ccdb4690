"""A run whose evidence has changed is nowhere shown as sound: the screens say it in the words of the plain commands."""

import shutil
from pathlib import Path

import pytest

from reports.wording import number
from runner.certifying import certificate_in
from runner.cli import main
from runner.screen.start import StartApp
from runner.workspace.archive import changed_in
from tests.builders import short_rehearsal
from tests.made_once import made_once
from tests.screen.kept_runs import three
from tests.screen.played import played, shows, text, until

SIZE = (140, 45)
CHANGED = "EVIDENCE CHANGED since it was recorded"


@pytest.fixture
def runs(tmp_path, tmp_path_factory, monkeypatch):
    """A run as it was recorded, and an altered copy of it with another date, which its list has above."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("reports.certificate.write_pdf", lambda *_: "not asked for")
    kept, name = made_once(tmp_path_factory, "past-sound", lambda to: short_rehearsal(to).result.folder.path.name)
    Path("runs").mkdir()
    sound = Path(shutil.copytree(kept / name, Path("runs") / name))
    altered = Path(shutil.copytree(sound, Path("runs") / f"{name}-altered"))
    content = bytearray((altered / "samples.csv").read_bytes())
    content[len(content) // 2] ^= 1
    (altered / "samples.csv").write_bytes(content)
    return sound, altered


def opened(play):
    async def past():
        app = StartApp(Path("runs"), certificate_in, Path())
        async with app.run_test(size=SIZE) as pilot:
            await shows(pilot, "Enter begins.")
            await pilot.press(*["down"] * 4, "enter")
            await shows(pilot, "2 runs.")
            await play(app, pilot)

    played(past())


def lines_with(app, words):
    return [line for line in text(app).splitlines() if words in line]


def test_the_list_says_which_runs_have_changed_and_no_other(runs):
    async def play(app, pilot):
        await shows(pilot, "EVIDENCE CHANGED (sim)")
        await shows(pilot, "✓ pass (sim)")
        assert len(lines_with(app, "EVIDENCE CHANGED")) == len(lines_with(app, "✓")) == 1
        await until(pilot, lambda: "…" not in text(app), "all to be looked at")

    opened(play)


def test_no_run_has_its_mark_before_it_was_looked_at(runs, monkeypatch):
    import threading

    go_on = threading.Event()
    monkeypatch.setattr("runner.screen.past.changed_in", lambda folder: (go_on.wait(), changed_in(folder))[1])

    async def play(app, pilot):
        try:  # nothing is looked at before this has been seen, however long the machine stands still
            await shows(pilot, "… pass (sim)")
            await shows(pilot, "Evidence of 0 of 2 checked")
            assert "✓" not in text(app)
        finally:
            go_on.set()
        await shows(pilot, "✓ pass (sim)")
        await until(pilot, lambda: "Evidence of" not in text(app), "all to be looked at")

    opened(play)


def test_the_findings_and_the_certificate_say_it_as_the_commands_do(runs, capsys):
    _, altered = runs
    main(["evaluate", str(altered)])
    said = [line.strip() for line in capsys.readouterr().out.splitlines() if line.strip().startswith(CHANGED)]

    async def play(app, pilot):
        await shows(pilot, "EVIDENCE CHANGED (sim)")
        cursor = next(n for n, run in enumerate(app.screen.runs) if run.path == altered)
        await pilot.press(*["down"] * cursor, "enter")
        await shows(pilot, said[0])
        (title, *_) = text(app).splitlines()
        assert "EVIDENCE CHANGED" in title
        assert "PASS" not in title
        await pilot.press("c")
        await shows(pilot, "certificate.html")
        assert len(lines_with(app, CHANGED)) == 2, "above, and beside the certificate"
        assert CHANGED in (altered / "certificate.html").read_text(encoding="utf-8")

    opened(play)


def test_what_is_changed_while_the_list_is_open_is_found_when_the_run_is_opened(runs):
    sound, altered = runs
    shutil.rmtree(altered)

    async def past():
        app = StartApp(Path("runs"), certificate_in, Path())
        async with app.run_test(size=SIZE) as pilot:
            await shows(pilot, "Enter begins.")
            await pilot.press(*["down"] * 4, "enter")
            await shows(pilot, "✓ pass")
            (sound / "truth.json").write_text("{}")
            await pilot.press("enter")
            await shows(pilot, f"{CHANGED}: truth.json: is not what was sealed")

    played(past())


def test_side_by_side_says_it_and_concludes_nothing(runs):
    async def play(app, pilot):
        await pilot.press("space", "down", "space", "v")
        await shows(pilot, "SIDE BY SIDE")
        await shows(pilot, CHANGED)
        assert not [line for line in lines_with(app, "°C") if "=" in line or "≠" in line]
        assert "is not said" in text(app)
        assert "−0.0" not in text(app)
        await pilot.press("escape", "t")
        await shows(pilot, "OVER TIME")
        assert len(lines_with(app, "EVIDENCE CHANGED")) == 1

    opened(play)


def test_no_minus_stands_before_a_zero():
    assert [number(each, 2) for each in (-0.0, -0.004, -0.006)] == ["0.00", "0.00", "−0.01"]


def test_a_folder_that_cannot_be_looked_at_counts_as_changed(tmp_path):
    folder = next(three(tmp_path).glob("*-TI-0502-*"))
    (folder / "events.jsonl").unlink()
    (found,) = changed_in(folder)
    assert "events.jsonl" in found
