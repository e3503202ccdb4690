"""A run that is refused has not begun: nothing is said of it but why, and what to do."""

import io

from runner.cli import main
from runner.errors import BenchError, Busy
from runner.plain import Printer
from tests.builders import SHORT_PROCEDURE, a_file

RUN = ["--unattended", "--plain", "--sensor", "T1"]


def test_a_second_runner_is_refused_before_it_says_that_it_begins(tmp_path, monkeypatch, capsys):
    short = str(a_file(tmp_path / "short.yaml", SHORT_PROCEDURE))
    for refusal in (Busy.held("supply at TCPIP::a", "pid 1, tripwitness run"), BenchError("supply does not answer")):

        def refused(*_, refusal=refusal, **__):
            raise refusal

        monkeypatch.setattr("runner.launcher.execute", refused)
        assert main(["rehearse", short, *RUN]) != 0
        said = capsys.readouterr()
        assert said.out == ""
        assert refusal.what in said.err


def test_the_title_and_when_it_began_stand_before_the_first_line():
    out = io.StringIO()
    printer = Printer((), (), out, lambda: "2026-06-01T10:00:00.000Z")
    printer.begin("Title")
    assert out.getvalue() == ""
    printer.timed(0.0, "first")
    printer.timed(1.0, "second")
    lines = out.getvalue().splitlines()
    assert [line.split(" UTC")[0] for line in lines[:2]] == ["Title", "Begun 2026-06-01 10:00:00"]
    assert [line.rsplit(" ", 1)[1] for line in lines[2:]] == ["first", "second"]
