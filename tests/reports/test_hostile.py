"""Names and notes that would steer a terminal, close a tag, run a script or turn the writing: shown as what they are, everywhere."""

import random
import re
import sys
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from reports.certificate import render
from runner.conduct.answer_parsing import understood
from runner.errors import SheetError
from runner.notation.visible import plainly, visible
from runner.orders import Ask
from runner.sheets.pack import parse_pack
from runner.vocabulary import Wants
from tests.builders import PACK, short_rehearsal

PIECES = (
    '"><script>alert(1)</script>', "</style><img src=http://example.invalid/x>", "T$^$", "\x1b[31m", "\u202e", "\u2066", "\x00", "\x9b2J",
    "{{ 7*7 }}", "{% raw %}", "&#x3c;", "'=cmd()'", "url(#x)", "\\n", "]]>", "<!--", "\u2028", "<svg onload=x>", "%s", "$x_{1}$",
)  # fmt: skip
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069]")
ALLOWED = {
    "html",
    "head",
    "meta",
    "title",
    "style",
    "body",
    "h1",
    "h2",
    "h3",
    "p",
    "b",
    "i",
    "br",
    "div",
    "span",
    "small",
    "table",
}
ALLOWED |= {
    "thead",
    "tr",
    "th",
    "td",
    "ul",
    "li",
    "figure",
    "figcaption",
    "img",
    "svg",
    "g",
    "path",
    "rect",
    "line",
    "defs",
    "use",
    "text",
    "clippath",
}
ALLOWED |= {
    "tspan",
    "metadata",
    "rdf:rdf",
    "cc:work",
    "dc:type",
    "dc:date",
    "dc:format",
    "dc:creator",
    "cc:agent",
    "dc:title",
}


class Tags(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.seen, self.fetched = set(), []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.seen.add(tag)
        of_pictures = ("#", "data:")
        self.fetched += [
            value
            for name, value in attributes
            if name in ("src", "href", "xlink:href") and not value.startswith(of_pictures)
        ]
        self.fetched += [name for name, _ in attributes if name.startswith("on")]


@pytest.fixture(scope="module")
def evaluation(tmp_path_factory):
    return short_rehearsal(tmp_path_factory.mktemp("hostile")).result.evaluation


def name(dice):
    return "".join(dice.choice(PIECES) for _ in range(dice.randrange(1, 4)))


@pytest.mark.parametrize("number", range(12))
def test_a_certificate_shows_them_and_does_nothing_they_say(evaluation, number):
    dice = random.Random(number)
    pack = evaluation.pack.model_copy(update={"name": name(dice), "serial": name(dice), "customer": name(dice)})
    bench = evaluation.bench.model_copy(update={"laboratory": name(dice), "place": name(dice), "name": name(dice)})
    sensor = name(dice)
    findings = tuple(replace(each, sensor=sensor, reason=name(dice)) for each in evaluation.findings)
    html = render([replace(evaluation, pack=pack, bench=bench, findings=findings)], name(dice), "2026-11-26")
    tags = Tags(html)
    assert tags.seen <= ALLOWED, tags.seen - ALLOWED
    assert tags.fetched == []
    assert not CONTROL.search(html)
    ids = re.findall(r'\bid="([^"]*)"', html)
    assert len(ids) == len(set(ids))


def test_a_sheet_with_characters_that_are_not_seen_is_refused_with_its_place():
    with pytest.raises(SheetError, match=r"p:3:9: .*not seen: TI-⟨U\+202E⟩7140"):
        parse_pack(PACK.replace("serial: TI-0001", 'serial: "TI-\\u202E7140"'), "p")


def test_a_note_is_kept_as_what_it_is():
    ask = Ask("q", "Good?", "good", Wants.GO_ON)
    assert understood(ask, "; \x1b[2Jfine \u202e").note == "⟨U+001B⟩[2Jfine ⟨U+202E⟩"


def test_what_is_printed_steers_no_terminal(capsys):
    with plainly():
        sys.stdout.write("T1 \x1b]0;title\x07\u2066\n")
    assert capsys.readouterr().out == "T1 ⟨U+001B⟩]0;title⟨U+0007⟩⟨U+2066⟩\n"


def test_two_thousand_names_have_nothing_hidden_left():
    dice = random.Random(16)
    for _ in range(2000):
        text = name(dice)
        assert not CONTROL.search(visible(text))
        assert visible(visible(text)) == visible(text)
