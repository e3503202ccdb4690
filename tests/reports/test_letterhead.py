"""A laboratory's own paper: what it may say, what is wrong with it, and what its templates cannot do."""

import json

import pytest

from reports.certificate import render
from reports.letterhead import letterhead, number_of
from runner.certifying import make_certificate
from runner.errors import RecordError, SheetError
from runner.evaluation.evaluate import evaluate
from runner.seal.signers import known
from runner.seal.verify import verify
from tests.builders import a_file, short_rehearsal

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>'


@pytest.fixture
def paper(tmp_path, monkeypatch):
    folder = tmp_path / "paper"
    (folder / "own").mkdir(parents=True)
    (folder / "logo.svg").write_text(SVG)
    monkeypatch.setenv("TRIPWITNESS_LETTERHEAD", str(folder))
    monkeypatch.setenv("TRIPWITNESS_KEYS", str(tmp_path / "keys"))

    def write(text):
        return a_file(folder / "letterhead.yaml", text)

    return write


def test_a_number_is_given_once_by_the_laboratorys_scheme(paper, tmp_path):
    paper(
        "paper: Letter\nnumber: {prefix: TB-, year: yes, digits: 3}\nlogo: logo.svg\ndates: '%d.%m.%Y'\nfooter: Quay Row\n"
    )
    first = short_rehearsal(tmp_path / "one").result
    second = short_rehearsal(tmp_path / "two").result
    for result, number in ((first, "001"), (second, "002"), (first, "001")):
        make_certificate([evaluate(result.folder)], result.folder.path)
        page = (result.folder.path / "certificate.html").read_text()
        year = page.split("TB-")[1][:4]
        assert f"TB-{year}-{number}</b>" in page
        assert "size: Letter" in page
        assert "data:image/svg+xml;base64," in page
        assert verify(result.folder.path, known()).status == 0
    assert "edition 2; it replaces edition 1" in (first.folder.path / "certificate.html").read_text()
    kept = first.folder.path / "certificate-number.json"
    kept.write_text(json.dumps({"number": "TB-2026-999"}))
    assert any("certificate-number.json" in each for each in verify(first.folder.path, known()).differences)


def test_everything_that_is_wrong_is_said_at_once_with_its_place(paper):
    paper("paper: A3\ncolor: red\nlogo: ../../etc/passwd\ndates: today\nnumber: {prefix: 'a/b', digit: 4}\n")
    with pytest.raises(SheetError) as raised:
        letterhead()
    said = str(raised.value)
    for line, what in ((1, "'A3'"), (2, "color is no key"), (3, "is not in"), (4, "'today'"), (5, "digit is no key")):
        assert f"letterhead.yaml:{line}:" in said
        assert what in said


def test_without_a_scheme_the_number_is_the_folders_name(paper, tmp_path):
    paper("paper: A4\n")
    assert number_of(tmp_path, letterhead(), "2026-11-26") == tmp_path.name


@pytest.mark.parametrize(
    "template",
    [
        "{{ ''.__class__.__mro__[1].__subclasses__() }}",
        "{% include '../../keys/station_ed25519' %}",
        "{{ pack.__init__.__globals__ }}",
        "{{ nothing_of_that_name }}",
        "{% if %}",
    ],
)
def test_a_template_that_reaches_out_is_refused_with_its_place(paper, tmp_path, template):
    path = paper("templates: own\n")
    (path.parent / "own" / "certificate.html.jinja").write_text(template)
    with pytest.raises(RecordError, match="the template cannot be used"):
        render([short_rehearsal(tmp_path).result.evaluation], "n", "2026-11-26", paper=letterhead())


def test_a_template_of_ones_own_may_build_on_ours(paper, tmp_path):
    path = paper("templates: own\n")
    own = "{% include 'ours/certificate.html.jinja' %}<p>{{ pack.serial }} <b>and ours</b> {{ '<i>' }}</p>"
    (path.parent / "own" / "certificate.html.jinja").write_text(own)
    html = render([short_rehearsal(tmp_path).result.evaluation], "n", "2026-11-26", paper=letterhead())
    assert "<b>and ours</b> &lt;i&gt;" in html
    assert "End of certificate n." in html
