"""What stands beside a certificate and on it in small: a summary, a label for the pack, photographs without what a camera says."""

import base64
import io
import re
import shutil
import subprocess

import pytest
from PIL import Image

from reports.extracts import LEAST_PT, SEE, Extracts, fitted
from reports.photos import photo_of
from runner.certifying import certificate_of
from runner.cli import main
from runner.errors import SheetError
from runner.record.folder import RunFolder
from runner.seal.signers import known
from runner.seal.verify import verify
from tests.builders import short_rehearsal

TEXTS = (
    "✓ pass: charge over-temperature T1 (1 of 12 protections)",
    "TIM-840 no. TI-0417",
    "certificate 20261126-TI",
    "2026-11-26",
)


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext here")
def test_a_summary_and_a_label_of_one_page_each_are_sealed_with_the_certificate(tmp_path, capsys):
    folder = short_rehearsal(tmp_path).result.folder.path
    assert main(["certificate", str(folder), "--summary", "--label", "62x29"]) == 0
    said = capsys.readouterr().out
    sizes = {"summary": "595.276 x 841.89 pts", "label": "175.748 x 82.2047 pts"}
    for name, size in sizes.items():
        path = folder / f"{name}.pdf"
        if not path.exists():
            pytest.skip("no Pango here")
        assert f"{name}: {path}" in said
        about = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
        assert re.search(r"Pages: +1\n", about)
        assert size in about
        text = subprocess.run(["pdftotext", "-raw", path, "-"], capture_output=True, text=True, check=True).stdout
        words = " ".join(text.split())
        assert "✓ pass" in words
        assert "over-temperature" in words
        assert "TI-0417" in words
        assert "rehearsal on a simulated bench" in words.lower()
    assert verify(folder, known()).status == 0
    label = (folder / "label.pdf").read_bytes()
    (folder / "label.pdf").write_bytes(b"%PDF-1.7 another\n%%EOF\n")
    assert any("label.pdf" in each for each in verify(folder, known()).differences)
    (folder / "label.pdf").write_bytes(label)
    certificate_of([folder])
    assert not (folder / "summary.pdf").exists(), "of the edition before, and kept with it"


@pytest.mark.parametrize("size", [(62, 29), (100, 150), (25, 12), (12, 12), (300, 12), (20, 80)])
def test_a_label_of_any_size_is_legible_and_never_has_a_statement_without_what_it_is_of(size):
    label = fitted(size, TEXTS)
    assert label.letters >= LEAST_PT
    assert 2.4 + label.code <= size[1] + 1e-9
    assert label.text[0] + label.text[1] > label.code
    joined = " ".join(label.lines)
    assert "pass" not in joined or TEXTS[0] in label.lines
    assert TEXTS[0] in label.lines or SEE in joined or min(size) < 20


def test_a_size_that_is_none_is_refused(capsys):
    for size in ("62", "0x29", "62x9999", "axb", "62x29x3", "-3x40"):
        with pytest.raises(SheetError, match="write width x height in mm"):
            Extracts.asked(summary=False, label=size)


def picture(kind, **more):
    out = io.BytesIO()
    Image.new("RGB", (1600, 1200), "red").save(out, kind, **more)
    return out.getvalue()


def attached(tmp_path, content, name="photo.jpg"):
    (tmp_path / name).write_bytes(content)
    (tmp_path / "run").mkdir(exist_ok=True)
    return tmp_path / "run", RunFolder(tmp_path / "run").keep_attachment(str(tmp_path / name))


def test_a_photograph_is_small_and_has_lost_what_the_camera_said(tmp_path):
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "a maker", 6  # Make; Orientation: turned by 90° (Exif 2.3, 4.6.4)
    folder, file = attached(tmp_path, picture("JPEG", exif=exif))
    photo = photo_of(folder, file, 'case "><script>')
    small = base64.b64decode(photo.small.partition(",")[2])
    with Image.open(io.BytesIO(small)) as made:
        assert (made.width, made.height) == (240, 320), "upright"
        assert not made.getexif()
    assert b"a maker" not in small
    assert len(small) < 20_000
    assert "<script>" not in photo.image


@pytest.mark.parametrize(
    "content",
    [
        b"a picture",
        b"",
        picture("GIF"),
        picture("JPEG")[:200],
        b"\xff\xd8\xff<svg onload=x>",
        b"\x89PNG\r\n\x1a\n" + b"\0" * 99,
    ],
)
def test_what_is_no_picture_by_its_bytes_or_broken_is_not_shown(tmp_path, content):
    folder, file = attached(tmp_path, content)
    assert photo_of(folder, file, "case") is None


def test_a_photograph_that_was_exchanged_is_not_shown(tmp_path):
    folder, file = attached(tmp_path, picture("PNG"))
    assert photo_of(folder, file, "case") is not None
    (folder / "attachments" / file.split()[0]).write_bytes(picture("PNG", optimize=True) + b"x")
    assert photo_of(folder, file, "case") is None
    assert photo_of(folder, "../../etc/passwd 00", "case") is None
