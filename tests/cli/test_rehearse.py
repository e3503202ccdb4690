"""The main job through the whole program."""

import json

from runner.cli import main


def test_a_sound_pack_passes_the_rehearsal_and_gets_a_certificate(tmp_path, capsys):
    status = main(["rehearse", "--unattended", "--plain", "--sensor", "T1", "--out", str(tmp_path)])
    out = capsys.readouterr().out
    (folder,) = tmp_path.iterdir()
    assert status == 0, out
    findings = json.loads((folder / "findings.json").read_text())
    assert findings["conformity"] == "pass"
    assert (folder / "certificate.html").stat().st_size > 10_000
