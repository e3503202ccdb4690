"""What is said to who verifies, trusts a key or gives the wrong thing: plain, with the place, once."""

import json
import os
import re
import shutil
import subprocess

import pytest

from runner.certifying import certificate_of
from runner.cli import main
from runner.record.folder import RunFolder
from runner.seal.sealing import EVIDENCE, SIG, SUMS, seal_evidence, seal_session
from runner.seal.signers import known, trust
from runner.seal.verify import verify
from tests.tampering import copied


@pytest.fixture
def a_session(sealed_as_session, tmp_path):
    return copied(sealed_as_session, tmp_path)


SIGNER = 'quay namespaces="file" ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIOMqqnkVzrm0SdG6UOoqKLsabgH5C9okWi0dh2l9GKJl'
NO_SIGNERS = [  # what is in the file, what is said
    (b"", "signers: holds no key"),
    (b"# nobody\n\n", "signers: holds no key"),
    (f"{SIGNER}\nquay\n".encode(), "signers:2:1: there is no key in this line"),
    (b"\nquay ssh-ed25519 AAAA\n", "signers:2:6: the key is cut off"),
    (b"quay ssh-rsa AAAAB3NzaC1yc2E=\n", "signers:1:6: the key is no ssh-ed25519 key"),
    (b'quay namespaces="git" ' + SIGNER.split(" ", 2)[2].encode(), "signers:1:1: the key is for git and not for files"),
    (b"# \xff\n", "signers:1:1: is not text"),
]


@pytest.mark.parametrize(("content", "said"), NO_SIGNERS)
def test_a_file_that_holds_no_keys_is_refused_with_its_line_and_nothing_is_trusted(
    tmp_path, monkeypatch, capsys, content, said
):
    monkeypatch.setenv("TRIPWITNESS_KEYS", str(tmp_path / "keys"))
    (tmp_path / "signers").write_bytes(content)
    assert main(["key", "--trust", str(tmp_path / "signers")]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert "Traceback" not in told
    assert "Errno" not in told
    assert not (tmp_path / "keys" / "known_stations").exists()


def test_a_key_is_trusted_once_and_a_file_that_is_not_there_is_said(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("TRIPWITNESS_KEYS", str(tmp_path / "keys"))
    (tmp_path / "signers").write_text(f"# ours\n{SIGNER}\n")
    for _ in range(2):
        assert trust(tmp_path / "signers")[0].startswith("quay  SHA256:")
    assert (tmp_path / "keys" / "known_stations").read_text() == f"{SIGNER}\n"
    assert list(known().values()) == ["quay"]
    assert main(["key", "--trust", str(tmp_path / "nobody")]) == 2
    assert main(["key", "--trust", str(tmp_path)]) == 2
    assert "nobody: cannot be read: No such file or directory" in capsys.readouterr().err


def test_a_pdf_that_is_cut_short_is_said_to_be(sealed, tmp_path, capsys):
    content = (sealed / "certificate.pdf").read_bytes()
    for at, said in ((0.5, "cut short"), (1 - 20 / len(content), "cut short")):
        (tmp_path / "c.pdf").write_bytes(content[: int(len(content) * at)])
        assert main(["verify", str(tmp_path / "c.pdf")]) == 1
        assert said in capsys.readouterr().out
    document = content[: content.rindex(b"% seal of the bytes")]
    (tmp_path / "c.pdf").write_bytes(document)
    assert main(["verify", str(tmp_path / "c.pdf")]) == 1
    assert "the PDF's own signature: is missing" in capsys.readouterr().out


def test_a_list_that_is_empty_is_said_to_be(sealed, tmp_path):
    folder = copied(sealed, tmp_path)
    (folder / EVIDENCE).write_text("")
    assert f"{EVIDENCE}: is empty" in verify(folder, known()).differences


def test_a_folder_of_run_folders_says_which_are_in_it(sealed, capsys):
    assert main(["verify", str(sealed.parent)]) == 2
    assert f"is no run folder, but holds some: {sealed.name}; give one" in capsys.readouterr().err


def test_a_renamed_folder_is_whole_under_another_name_and_its_certificate_keeps_its_number(sealed, tmp_path, no_pdf):
    folder = copied(sealed, tmp_path).rename(tmp_path / "other")
    found = verify(folder, known())
    assert (found.status, found.differences) == (3, [])
    assert found.unknown == [f"the folder was called {sealed.name} when it was sealed: it was renamed or copied"]
    certificate_of([folder])
    assert f'Certificate no. <b class="whole">{sealed.name}</b>, edition 3' in (folder / "certificate.html").read_text()
    assert json.loads((folder / "findings.json").read_text())["run"] == sealed.name


def test_evaluate_says_that_there_is_no_seal_or_a_broken_one(sealed, tmp_path, capsys, no_pdf):
    folder = copied(sealed, tmp_path)
    (folder / f"{SUMS}{SIG}").unlink()
    main(["evaluate", str(folder)])
    assert f"EVIDENCE CHANGED since it was recorded: {SUMS}{SIG}: is missing" in capsys.readouterr().out
    for path in (*folder.glob("*SHA256SUMS*"), folder / "seal.json"):
        path.unlink()
    shutil.rmtree(folder / "editions")
    main(["evaluate", str(folder)])
    assert "not known: there is no seal" in capsys.readouterr().out
    certificate_of([folder])
    assert "The evidence of this certificate is not sealed." in (folder / "certificate.html").read_text()


def test_a_certificate_of_changed_evidence_is_made_and_its_status_says_that_not_all_is_judged(sealed, tmp_path, no_pdf):
    folder = copied(sealed, tmp_path)
    assert main(["certificate", str(folder)]) == 0
    (folder / "findings.json").write_text("{")
    assert main(["certificate", str(folder)]) == 3


def test_a_signature_that_is_gone_is_named_once_and_its_list_still_looked_at(sealed, tmp_path):
    folder = copied(sealed, tmp_path)
    (folder / f"{EVIDENCE}{SIG}").unlink()
    (folder / "truth.json").write_text("{}")
    assert verify(folder, known()).differences == [f"{EVIDENCE}{SIG}: is missing", "truth.json: is not what was sealed"]


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="no sha256sum here")
def test_files_with_any_bytes_in_their_names_are_sealed_and_told_in_one_line(sealed, tmp_path, capsys):
    folder = copied(sealed, tmp_path)
    for path in (*folder.glob("*SHA256SUMS*"), folder / "seal.json"):
        path.unlink()
    names = (b"two\nlines", b"tab\t", b"back\\slash", b"\xff\xfe", b"\x1b[31m")
    for name in names:
        (folder / os.fsdecode(name)).write_text("x")
    assert seal_evidence(folder, "", simulated=True) == ""
    assert verify(folder, known()).status == 0
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", EVIDENCE], cwd=folder, check=True)
    for name in names:
        (folder / os.fsdecode(name)).write_text("y")
    assert main(["verify", str(folder)]) == 1
    told = capsys.readouterr().out
    assert "changed: two⟨U+000A⟩lines: is not what was sealed" in told
    assert len(told.splitlines()) == len(verify(folder, known()).lines())
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f]", told)


def test_what_was_never_sealed_has_not_changed_since_it_was_sealed(sealed, tmp_path, capsys):
    folder = copied(sealed, tmp_path)
    for path in (*folder.glob("*SHA256SUMS*"), folder / "seal.json", folder / "certificate.pdf"):
        path.unlink()
    (folder / "inputs" / "pack.yaml").write_text("kind: pack\n")
    assert main(["verify", str(folder)]) == 1
    told = capsys.readouterr().out
    assert "CHANGED since it was recorded" in told
    assert "sealed" not in told.splitlines()[0]


def test_a_run_of_a_session_that_is_issued_again_is_no_change_of_the_session(a_session, no_pdf):
    (run,) = [each.parent for each in sorted(a_session.glob("*/events.jsonl"))][:1]
    assert verify(a_session, known()).status == 0
    for _ in range(2):
        certificate_of([run])
    found = verify(a_session, known())
    assert (found.status, found.differences) == (3, [])
    assert f"{run.name}: was sealed again after the session was" in found.unknown
    RunFolder(a_session).write_json("session.json", json.loads((a_session / "session.json").read_text()) | {"x": 1})
    assert verify(a_session, known()).differences == ["session.json: is not what was sealed"]


def test_a_session_that_goes_on_keeps_what_was_sealed_of_it(a_session):
    from runner.workspace.session import Session

    session = Session.of(a_session)
    session.entries.append(type(session.entries[0])("short", "short", ""))
    session.write()
    assert seal_session(a_session) == ""
    session = Session.of(a_session)
    session.goes_on()
    session.began(2, RunFolder(a_session / session.entries[0].run))
    found = verify(a_session, known())
    assert found.differences == []
    assert seal_session(a_session) == ""
    assert verify(a_session, known()).status == 0
    (a_session / "editions" / "0002" / "session.json").write_text("{}")
    named = verify(a_session, known()).differences
    assert any(each.startswith("editions/0002/session.json: ") for each in named)


@pytest.mark.parametrize("gone", range(5))
def test_a_seal_that_was_being_written_is_none_and_no_change(sealed, tmp_path, gone, no_pdf):
    """Killed between two of the files of a seal: seal.json, the list, its signature, the outer list, its signature."""
    folder = copied(sealed, tmp_path)
    for name in ("seal.json", EVIDENCE, EVIDENCE + SIG, SUMS, SUMS + SIG)[gone:]:
        (folder / name).unlink()
    (folder / "sealing.part").touch()
    found = verify(folder, known())
    assert (found.status, found.differences) == (3, [])
    assert any("not complete" in each for each in found.unknown)
    certificate_of([folder])
    assert verify(folder, known()).status == (0 if gone > 2 else 3)


def test_who_follows_a_changed_run_and_who_evaluates_a_strangers_seal_is_told(sealed, tmp_path, capsys, monkeypatch):
    folder = copied(sealed, tmp_path)
    monkeypatch.setenv("TRIPWITNESS_KEYS", str(tmp_path / "keys"))
    main(["evaluate", str(folder)])
    assert f"not known: {EVIDENCE}: signed with a key that is not known here" in capsys.readouterr().out
    (folder / "truth.json").write_text("{}")
    main(["follow", "--plain", str(folder)])
    assert "EVIDENCE CHANGED since it was recorded: truth.json" in capsys.readouterr().err
