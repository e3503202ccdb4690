"""The main job through the whole program."""

import io
import json
import sys

from runner.cli import main


def test_a_sound_pack_passes_the_rehearsal_and_gets_a_certificate(tmp_path, capsys):
    status = main(["rehearse", "--unattended", "--plain", "--sensor", "T1", "--out", str(tmp_path)])
    out = capsys.readouterr().out
    (folder,) = tmp_path.iterdir()
    assert status == 0, out
    findings = json.loads((folder / "findings.json").read_text())
    assert findings["conformity"] == "pass"
    assert (folder / "certificate.html").stat().st_size > 10_000


def test_a_key_of_another_encoding_is_no_end_of_the_input(monkeypatch, capsys):
    """An é of ISO 8859-1 (E9) in a terminal of UTF-8 is no character there (RFC 3629), and every reader would have ended with it."""
    typed = io.TextIOWrapper(io.BytesIO(b"\xe9\nx\n"), encoding="utf-8", errors="strict")
    monkeypatch.setattr(sys, "stdin", typed)
    assert main(["schema", "pack"]) == 0
    assert sys.stdin.readline() == "\ufffd\n"
    assert sys.stdin.readline() == "x\n"
