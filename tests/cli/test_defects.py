"""A defect of ours is a sentence, a file with the details, and exit status 70; never a page of code."""

import re
from pathlib import Path

from runner.cli import main
from runner.screen.start import StartApp
from tests.screen.played import played, shows


def test_a_defect_in_a_command_is_said_in_a_sentence(monkeypatch, capsys):
    def broken(options):
        raise ZeroDivisionError("a defect")

    monkeypatch.setattr("runner.console_output.check_file", broken)
    assert main(["check", "a.yaml"]) == 70
    (line,) = capsys.readouterr().err.strip().splitlines()
    details = Path(re.search(r"details in (\S+)", line)[1])
    assert "ZeroDivisionError: a defect" in line
    assert "broken" in details.read_text()
    details.unlink()


def test_a_defect_in_a_screen_is_said_the_same_way(tmp_path, capsys):
    async def play():
        app = StartApp(tmp_path, lambda folder: "", tmp_path)
        try:
            async with app.run_test(size=(80, 24)) as pilot:
                await shows(pilot, "Enter begins.")
                app.call_later(lambda: 1 / 0)
                await pilot.pause()
        except ZeroDivisionError:
            pass
        return app.return_code

    assert played(play()) == 1
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert " ".join(said.split()).startswith("program error in Tripwitness: ZeroDivisionError")
    Path(said.split()[-1]).unlink()
