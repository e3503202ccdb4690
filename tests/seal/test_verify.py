"""Whatever is changed in a sealed folder is found and named; the lists and signatures are those that anybody can check.

The tools are the system's own: sha256sum (coreutils) and ssh-keygen (OpenSSH), which share nothing with this program.
Hundreds of places: tests/benchmarks/tampered.py.
"""

import os
import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from runner.certifying import certificate_of
from runner.cli import main
from runner.errors import RecordError
from runner.evaluation.evaluate import evaluate
from runner.record.folder import RunFolder
from runner.seal.pdf import verify_pdf
from runner.seal.sealing import EVIDENCE, SIG, SUMS
from runner.seal.signers import known
from runner.seal.station_key import station_key
from runner.seal.verify import verify
from tests.builders import short_rehearsal
from tests.tampering import PDFS, RUN, SESSIONS, Copy, a_sample, chain_again, copied

PLACES = 20  # random places of each class


def test_an_untouched_folder_is_whole_and_stays_so_when_it_is_looked_at(sealed):
    for _ in range(2):
        found = verify(sealed, known())
        assert (found.status, found.differences, found.unknown) == (0, [], [])
    evaluate(RunFolder(sealed))
    assert verify(sealed, known()).status == 0


@pytest.mark.parametrize(("classes", "of"), [(RUN, "sealed"), (SESSIONS, "sealed_as_session"), (PDFS, "sealed")])
def test_every_class_of_change_is_found_and_named(request, tmp_path, classes, of):
    copy, keys = Copy(request.getfixturevalue(of), tmp_path), known()
    for name, change in classes.items():
        for place in range(PLACES if classes is not PDFS else PLACES // 4):  # a PDF takes ten times as long to read
            expected = change(copy, random.Random(f"{name} {place}"))
            try:
                found = verify_pdf(copy.path / "certificate.pdf", keys) if classes is PDFS else verify(copy.path, keys)
                named = any(expected in each for each in found.differences)
            except RecordError as error:  # so little is left that it is no PDF
                named = expected in str(error)
            assert named or not copy.changed, (name, place, expected, found.lines())
            copy.restore()
    assert verify(copy.path, keys).status == 0, "untouched again"


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="no sha256sum here")
def test_sha256sum_agrees(sealed):
    for name in (EVIDENCE, SUMS):
        subprocess.run(["sha256sum", "--check", "--strict", "--quiet", name], cwd=sealed, check=True)


@pytest.mark.skipif(not shutil.which("ssh-keygen"), reason="no ssh-keygen here")
@pytest.mark.parametrize("name", [EVIDENCE, SUMS])
def test_ssh_keygen_agrees_and_finds_a_changed_list(sealed, tmp_path, name):
    key = station_key()
    (tmp_path / "signers").write_text(f"{key.allowed_signers}\n")
    command = ["ssh-keygen", "-Y", "verify", "-f", str(tmp_path / "signers"), "-I", key.station, "-n", "file"]
    command += ["-s", str(sealed / (name + SIG))]
    content = (sealed / name).read_bytes()
    assert subprocess.run(command, input=content, capture_output=True, check=False).returncode == 0
    assert subprocess.run(command, input=content[:-1] + b"x\n", capture_output=True, check=False).returncode != 0


@pytest.mark.skipif(not all(map(shutil.which, ("pdfdetach", "ssh-keygen"))), reason="no pdfdetach, or no ssh-keygen")
def test_a_pdf_is_checked_without_this_program_by_the_commands_of_the_readme(sealed, tmp_path):
    readme = (Path(__file__).parent.parent.parent / "README.md").read_text(encoding="utf-8")
    (block,) = re.findall(r"<!-- evidence in a PDF -->\n```console\n(.*?)```", readme, re.DOTALL)
    shutil.copy(sealed / "certificate.pdf", tmp_path)
    key = station_key()
    (tmp_path / "signers").write_text(f"{key.allowed_signers}\n")
    script = block.replace("$ ", "").replace(" allowed_signers", " ../signers").replace("STATION", f"'{key.station}'")
    done = subprocess.run(["sh", "-ec", script], cwd=tmp_path, capture_output=True, text=True, check=True)
    listed = [line.split("  ", 1)[1] for line in (sealed / EVIDENCE).read_text().splitlines()]
    assert all(f"{name}: OK" in done.stdout for name in listed)
    assert 'Good "file" signature' in done.stdout


@pytest.mark.skipif(not shutil.which("ssh-keygen"), reason="no ssh-keygen here")
def test_a_signature_that_ssh_keygen_made_is_one_here_too(tmp_path):
    from runner.seal.sshsig import checked, signer_in

    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", str(tmp_path / "key")], check=True)
    (tmp_path / "file").write_text("evidence\n")
    sign = ["ssh-keygen", "-q", "-Y", "sign", "-f", str(tmp_path / "key"), "-n", "file", str(tmp_path / "file")]
    subprocess.run(sign, check=True, capture_output=True)
    signer = signer_in((tmp_path / "key.pub").read_text())
    assert checked(b"evidence\n", (tmp_path / "file.sig").read_text()) == signer
    with pytest.raises(ValueError, match="does not fit"):
        checked(b"evidence.\n", (tmp_path / "file.sig").read_text())


def test_a_key_that_nobody_knows_is_no_difference_and_no_proof(sealed):
    found = verify(sealed, {})
    assert found.status == 3
    assert all("not known here" in each for each in found.unknown)


def test_the_pdf_by_itself_is_enough(sealed):
    found = verify_pdf(sealed / "certificate.pdf", known())
    assert (found.status, found.differences, found.unknown) == (0, [], [])


def test_a_change_is_printed_on_what_is_made_of_it_and_nothing_is_sealed_over_it(sealed, tmp_path, capsys, no_pdf):
    copy = Copy(sealed, tmp_path)
    a_sample(copy, random.Random(3))
    folder = copy.path
    before = {name: (folder / name).read_bytes() for name in ("findings.json", EVIDENCE, SUMS)}
    assert main(["evaluate", str(folder)]) in (0, 1, 3)
    assert "EVIDENCE CHANGED since it was recorded: samples.csv" in capsys.readouterr().out
    certificate_of([folder])
    assert "not sealed: samples.csv" in capsys.readouterr().out
    assert "EVIDENCE CHANGED" in (folder / "certificate.html").read_text()
    assert before == {name: (folder / name).read_bytes() for name in before}
    assert main(["verify", str(folder)]) == 1


def test_an_old_folder_without_a_seal_says_how_far_it_is_whole(tmp_path, capsys):
    folder = short_rehearsal(tmp_path).result.folder.path
    for path in (*folder.glob("*SHA256SUMS*"), folder / "seal.json"):
        path.unlink()
    assert main(["verify", str(folder)]) == 3
    said = capsys.readouterr().out
    assert "there is no seal" in said
    assert "whole up to line" in said


def test_a_key_that_cannot_be_used_leaves_the_run_not_sealed(tmp_path, monkeypatch):
    (tmp_path / "key").write_text("no key")
    monkeypatch.setenv("TRIPWITNESS_KEY", str(tmp_path / "key"))
    result = short_rehearsal(tmp_path / "out").result
    assert "is no OpenSSH private key" in result.not_sealed
    assert not (result.folder.path / EVIDENCE).exists()
    assert result.evaluation.findings


def test_a_key_that_is_replaced_stays_known(sealed, tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TRIPWITNESS_KEYS", str(tmp_path / "keys"))
    folder = short_rehearsal(tmp_path / "out").result.folder.path
    assert (tmp_path / "keys" / "station_ed25519").stat().st_mode & 0o077 == 0
    assert main(["key", "--replace"]) == 0
    assert verify(folder, known()).status == 0
    assert main(["key", "--export"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("bench-of-the-tests namespaces=")


def test_a_guard_that_goes_on_after_the_seal_makes_no_difference_and_is_said(sealed, sealed_as_session, tmp_path):
    session = copied(sealed_as_session, tmp_path)
    without = next(session.glob("*/events.jsonl")).parent
    for folder, said in ((copied(sealed, tmp_path), "has grown since it was sealed"), (without, "was written after")):
        with (folder / "guard.jsonl").open("a") as file:
            file.write('{"what": "acting"}\n')
        found = verify(folder, known())
        assert (found.status, found.differences) == (3, [])
        assert any(each.startswith(f"guard.jsonl: {said}") for each in found.unknown)


def test_who_takes_the_seal_away_and_leaves_the_certificate_is_found(sealed, tmp_path, capsys):
    copy = Copy(sealed, tmp_path)
    chain_again(copy, random.Random(6))
    folder = copy.path
    for path in (*folder.glob("*SHA256SUMS*"), folder / "seal.json"):
        path.unlink()
    shutil.rmtree(folder / "editions")
    assert main(["verify", str(folder)]) == 1
    assert "events.jsonl: is not what certificate.pdf carries" in capsys.readouterr().out


def test_evidence_that_is_elsewhere_or_no_file_is_none(sealed, tmp_path):
    for number, make in enumerate((lambda path: path.symlink_to(sealed / "samples.csv"), os.mkfifo)):
        folder = copied(sealed, tmp_path / str(number))
        (folder / "samples.csv").unlink()
        make(folder / "samples.csv")
        assert verify(folder, known()).differences == ["samples.csv: is a link or no file, not the evidence itself"]


def test_a_journal_that_is_a_folder_or_too_deep_is_a_difference(sealed, tmp_path):
    folder = copied(sealed, tmp_path / "deep")
    with (folder / "events.jsonl").open("a") as file:
        file.write("[" * 200_000 + "\n")
    assert verify(folder, known()).status == 1
    folder = copied(sealed, tmp_path / "folder")
    (folder / "events.jsonl").unlink()
    (folder / "events.jsonl").mkdir()
    assert verify(folder, known()).status == 1
