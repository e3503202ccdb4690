"""A photograph attached to an answer is in the record, under its digest, and on the certificate."""

import hashlib

from runner.sheets.answers import Answers
from runner.workspace.job import find_procedure
from tests.builders import rehearsed


def test_a_file_beside_an_answer_is_kept_and_hashed_into_the_record(tmp_path):
    from reports.certificate import render

    photo = tmp_path / "dent in lid.jpg".replace(" ", "-")
    photo.write_bytes(b"a picture of a dent")
    script = ("go on", "go on", f"bad; a dent as deep as a thumb @{photo}")
    run = rehearsed(
        tmp_path / "runs",
        procedure=find_procedure("arrival"),
        sensors=(),
        answers=Answers(kind="answers", answers=script, then="go on"),
    )
    folder = run.result.folder.path
    digest = hashlib.sha256(b"a picture of a dent").hexdigest()
    (kept,) = (folder / "attachments").iterdir()
    assert kept.read_bytes() == b"a picture of a dent"
    assert digest in (folder / "events.jsonl").read_text()
    page = render([run.result.evaluation], "x", "2026-11-25")
    assert "a dent as deep as a thumb" in page
    assert kept.name in page
    assert "✗ bad" in page
