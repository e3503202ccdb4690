"""A certificate that was issued is never overwritten, also where the evidence has changed since or nothing is sealed."""

import shutil

import pytest

from runner.certifying import certificate_in, certificate_of
from runner.cli import main
from runner.errors import RecordError
from runner.seal.editions import keep_edition
from runner.seal.pdf import verify_pdf
from runner.seal.sealing import SEALS
from runner.seal.signers import known
from runner.seal.verify import verify
from tests.tampering import copied


@pytest.fixture
def a_session(sealed_as_session, tmp_path):
    return copied(sealed_as_session, tmp_path)


@pytest.mark.parametrize("how", ["certificate", "c on the findings"])
def test_the_certificate_before_a_change_stays_whole_in_an_edition(sealed, tmp_path, how, no_pdf):
    folder = copied(sealed, tmp_path)
    issued = {name: (folder / name).read_bytes() for name in ("certificate.html", "certificate.pdf")}
    seals = {name: (folder / name).read_bytes() for name in SEALS}
    content = bytearray((folder / "samples.csv").read_bytes())
    content[len(content) // 2] ^= 1
    (folder / "samples.csv").write_bytes(content)
    for number in (2, 3):
        main(["certificate", str(folder)]) if how == "certificate" else certificate_in(folder)
        kept = folder / "editions" / f"{number:04}"
        if number == 2:
            assert issued == {name: (kept / name).read_bytes() for name in issued}
            assert verify_pdf(kept / "certificate.pdf", known()).status == 0
        else:
            assert "EVIDENCE CHANGED" in (kept / "certificate.html").read_text()
    assert seals == {name: (folder / name).read_bytes() for name in SEALS}, "the seal still says what was sealed"
    said = verify(folder, known())
    assert "certificate.html: is not what was sealed; the sealed one is in editions/0002" in said.differences
    assert not any(each.startswith(("editions/0002", "editions/0003")) for each in said.differences)
    assert said.unknown == ["editions/0003: was issued after the change, it is not sealed"]
    (folder / "editions" / "0002" / "certificate.html").write_text("another")
    assert any(each.startswith("editions/0002: ") for each in verify(folder, known()).unknown)


def test_who_puts_changed_evidence_and_its_certificate_back_has_a_whole_run(sealed, tmp_path, no_pdf):
    folder = copied(sealed, tmp_path)
    before = (folder / "samples.csv").read_bytes()
    (folder / "samples.csv").write_bytes(before + b"\n")
    certificate_of([folder])
    (folder / "samples.csv").write_bytes(before)
    for kept in (folder / "editions" / "0002").glob("certificate.*"):
        shutil.copy(kept, folder)
    assert verify(folder, known()).status == 0
    certificate_of([folder])
    assert verify(folder, known()).status == 0
    assert [path.name for path in sorted((folder / "editions").iterdir())] == ["0001", "0002", "0003"]


def test_a_session_keeps_the_certificate_before_a_change(a_session, no_pdf):
    issued = (a_session / "certificate.html").read_bytes()
    changed = next(a_session.glob("*/samples.csv"))
    before = changed.read_bytes()
    changed.write_bytes(before + b"\n")
    number = 1 + len([*(a_session / "editions").iterdir()])
    certificate_of([a_session])
    kept = a_session / "editions" / f"{number:04}"
    assert (kept / "certificate.html").read_bytes() == issued
    assert not any(each.startswith("editions") for each in verify(a_session, known()).differences)
    changed.write_bytes(before)
    for each in kept.glob("certificate.*"):
        shutil.copy(each, a_session)
    assert verify(a_session, known()).differences == []
    certificate_of([a_session])
    assert verify(a_session, known()).differences == []


def test_a_certificate_without_a_seal_is_kept_when_the_next_is_issued(sealed, tmp_path, no_pdf):
    folder = copied(sealed, tmp_path)
    shutil.rmtree(folder / "editions")
    for name in SEALS:
        (folder / name).unlink()
    issued = (folder / "certificate.html").read_bytes()
    certificate_of([folder])
    assert (folder / "editions" / "0001" / "certificate.html").read_bytes() == issued
    found = verify(folder, known())
    assert (found.differences, found.unknown) == (
        [],
        ["there is no seal: the record is protected against accident only"],
    )


@pytest.mark.parametrize("how", ["a full disk", "a kill"])
def test_an_edition_that_was_broken_off_is_no_change_and_the_next_is_whole(sealed, tmp_path, how, no_pdf, monkeypatch):
    folder = copied(sealed, tmp_path)
    there = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    copy = shutil.copy2

    def breaks_off(source, target):
        if source.name != "EVIDENCE.SHA256SUMS":
            copy(source, target)
        elif how == "a kill":
            raise KeyboardInterrupt
        else:
            raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr("runner.seal.editions.SEALS", ("seal.json", *SEALS))
        patched.setattr("shutil.copy2", breaks_off)
        with pytest.raises((RecordError, KeyboardInterrupt)):
            keep_edition(folder, ["findings.json"], "evaluated again")
    left = (folder / "editions" / "0002.part").is_dir()
    assert left == (how == "a kill")
    assert all(path.read_bytes() == content for path, content in there.items())
    assert verify(folder, known()).status == 0
    assert verify(folder, known()).differences == []
    certificate_of([folder])
    assert verify(folder, known()).differences == []
    assert [path.name for path in sorted((folder / "editions").iterdir())] == ["0001", "0002"]


def test_an_edition_that_somebody_adds_is_a_difference_whatever_it_says(sealed, tmp_path):
    folder = copied(sealed, tmp_path)
    added = folder / "editions" / "0002"
    added.mkdir()
    (added / "edition.json").write_text('{"schema": 1, "without_seal": true}')
    (added / "certificate.html").write_text("no certificate")
    (folder / "editions" / "loose.txt").write_text("x")
    named = verify(folder, known()).differences
    expected = ("editions/0002/certificate.html", "editions/0002/edition.json", "editions/loose.txt")
    assert [each.partition(":")[0] for each in sorted(named)] == [*expected]
