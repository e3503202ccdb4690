"""The PDF's structure, read by a library that had no part in making it (pikepdf, on qpdf); the picture of a result in its limits."""

import re
from dataclasses import replace

import pikepdf
import pytest

from reports.intervals import interval_svg
from runner.certifying import certificate_in, make_certificate
from tests.builders import short_rehearsal


@pytest.fixture(scope="module")
def pdf(tmp_path_factory):
    result = short_rehearsal(tmp_path_factory.mktemp("structure")).result
    make_certificate([result.evaluation], result.folder.path)
    path = result.folder.path / "certificate.pdf"
    if not path.exists():
        pytest.skip("no Pango here")
    with pikepdf.open(path) as opened:
        yield opened, result.folder


def test_it_is_pdf_a_3a_tagged_and_has_title_and_language(pdf):
    """ISO 19005-3:2012, 6.6.4 (part 3, level A), 6.7 (logical structure), from memory."""
    opened, folder = pdf
    with opened.open_metadata() as metadata:
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
        assert folder.number in metadata["dc:title"]
    root = opened.Root
    assert bool(root.MarkInfo.Marked)
    assert str(root.Lang) == "en"
    assert root.StructTreeRoot is not None
    assert "/JavaScript" not in opened.Root.get("/Names", {})


def test_asked_for_again_with_nothing_changed_it_is_the_one_that_was_issued(pdf):
    _, folder = pdf
    there = {path: path.read_bytes() for path in folder.path.rglob("*") if path.is_file()}
    assert certificate_in(folder.path) == str(folder.path / "certificate.html")
    assert {path: path.read_bytes() for path in folder.path.rglob("*") if path.is_file()} == there


def test_the_evidence_is_in_it_byte_by_byte(pdf):
    opened, folder = pdf
    for name in ("events.jsonl", "samples.csv", "findings.json", "inputs/pack.yaml", "EVIDENCE.SHA256SUMS"):
        assert opened.attachments[name].get_file().read_bytes() == (folder.path / name).read_bytes()
    for each in opened.attachments.values():
        assert each.obj.AFRelationship == "/Source", "ISO 19005-3:2012, 6.8: an associated file says what it is"


def test_fonts_are_in_it_and_pictures_and_attachments_say_what_they_are(pdf):
    """ISO 19005-3:2012, 6.2.11.4 (embedded fonts), 6.2.3 (output intent), 6.3 (actions), 6.8 (embedded files), from memory.

    ISO 32000-1:2008, 14.9.3: a picture has words in its place.
    """
    opened, _ = pdf
    assert not opened.is_encrypted
    assert [str(each.S) for each in opened.Root.OutputIntents] == ["/GTS_PDFA1"]
    kinds = {"/Font": 0, "/Filespec": 0, "/Figure": 0}
    for each in opened.objects:
        if not isinstance(each, pikepdf.Dictionary):
            continue
        assert each.get("/S") not in ("/JavaScript", "/Launch", "/SubmitForm", "/URI")
        if each.get("/Subtype") == "/Type0":
            kinds["/Font"] += 1
            described = each.DescendantFonts[0].FontDescriptor
            assert {"/FontFile", "/FontFile2", "/FontFile3"} & {*described.keys()}
            assert "/ToUnicode" in each
        elif each.get("/Type") == "/Filespec":
            kinds["/Filespec"] += 1
            assert "/AFRelationship" in each
            assert str(each.UF) == str(each.F)
            assert "/Subtype" in each.EF.F
            assert "/ModDate" in each.EF.F.Params
        elif each.get("/S") == "/Figure":
            kinds["/Figure"] += 1
            assert str(each.Alt)
    assert all(kinds.values()), kinds
    assert {str(each.F) for each in opened.Root.AF} == {*opened.attachments}


@pytest.mark.parametrize(("value", "inside"), [(55.0, True), (58.5, False), (51.0, False)])
def test_a_result_is_drawn_where_it_is_between_its_limits(tmp_path, value, inside):
    finding = replace(short_rehearsal(tmp_path).finding("trip"), value=value, expanded_uncertainty=0.4)
    picture = str(interval_svg(finding))
    lines = [float(x) for x in re.findall(r'<line x1="([0-9.]+)" y1="0"', picture)]
    mark = float(re.findall(r"M([0-9.]+) 6L", picture)[0]) + 2.6
    assert len(lines) == 2
    assert (lines[0] < mark < lines[1]) == inside


def test_what_has_no_limit_or_no_value_is_not_drawn(tmp_path):
    finding = short_rehearsal(tmp_path).finding("trip")
    assert interval_svg(None) == ""
    assert interval_svg(replace(finding, value=None)) == ""
    assert interval_svg(replace(finding, lower=None, upper=None)) == ""
