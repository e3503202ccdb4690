"""Names and notes that would steer a terminal, close a tag, run a script, fetch something or turn the writing; what must not come of them."""

from __future__ import annotations

import random
import re
from collections.abc import Iterable
from dataclasses import replace
from html.parser import HTMLParser

from reports.certificate import page, page_contents
from reports.extracts import fitted
from reports.letterhead import Letterhead
from runner.evaluation.evaluate import Evaluation

PIECES = (
    '"><script>alert(1)</script>', "</style><img src=http://example.invalid/x>", "T$^$", "\x1b[31m", "\u202e", "\u2066", "\x00", "\x9b2J",
    "{{ 7*7 }}", "{% raw %}", "&#x3c;", "'=cmd()'", "url(#x)", "\\n", "]]>", "<!--", "\u2028", "<svg onload=x>", "%s", "$x_{1}$",
    "\n", "\t", "\udcff", "@import url(http://example.invalid/y)", "</title>", "<base href=//example.invalid>", "javascript:x", "a b",
)  # fmt: skip
CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
ALLOWED = "html head meta title style body h1 h2 h3 p b i br div span small table thead tr th td ul li figure figcaption img svg g path"
ALLOWED += " rect line defs use text clippath tspan metadata rdf:rdf cc:work dc:type dc:date dc:format dc:creator cc:agent dc:title"
LABEL = (62.0, 29.0)


class Tags(HTMLParser):
    """What a page has: its tags, and what it would fetch or run."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.fetched: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attributes: Iterable[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        for name, value in attributes:
            of_pictures = str(value).startswith(("#", "data:"))
            self.fetched += [str(value)] if name in ("src", "href", "xlink:href") and not of_pictures else []
            self.fetched += [name] if name.startswith("on") else []


def name(dice: random.Random) -> str:
    """One hostile name."""
    return "".join(dice.choice(PIECES) for _ in range(dice.randrange(1, 4)))


def named(evaluation: Evaluation, dice: random.Random, *, plots: bool = True) -> Evaluation:
    """An evaluation in which everything that has a name has a hostile one; without its plots it is drawn much faster."""
    pack = evaluation.pack.model_copy(update={each: name(dice) for each in ("name", "serial", "customer", "maker")})
    bench = evaluation.bench.model_copy(
        update={each: name(dice) for each in ("laboratory", "place", "name", "operator")}
    )
    more = {} if plots else {"plots": ()}
    findings = tuple(replace(each, sensor=name(dice), reason=name(dice), **more) for each in evaluation.findings)
    replies = tuple(
        replace(each, record=name(dice), by=name(dice), note=name(dice)) for each in evaluation.story.replies
    )
    story = replace(evaluation.story, replies=replies, remarks=((1.0, name(dice)),))
    procedure = evaluation.procedure.model_copy(update={"title": name(dice), "cautions": (name(dice),)})
    return replace(evaluation, pack=pack, bench=bench, findings=findings, story=story, procedure=procedure)


def pages_of(evaluations: list[Evaluation], number: str) -> dict[str, str]:
    """Certificate, summary and label as HTML."""
    contents = page_contents(evaluations, number, "2026-11-26")
    contents["label"] = fitted(LABEL, contents["label_text"])
    return {each: page(each, contents, Letterhead()) for each in ("certificate", "summary", "label")}


def wrong_with(html: str) -> list[str]:
    """What a page does that names said: tags and attributes that are not ours, fetches, raw control characters, ids that meet."""
    tags = Tags(html)
    ids = re.findall(r'\bid="([^"]*)"', html)
    found = [f"tag {each}" for each in tags.seen - {*ALLOWED.split()}] + [
        f"fetches or runs {each}" for each in tags.fetched
    ]
    found += [f"raw {match.group()!r}" for match in CONTROL.finditer(html)]
    return found + (["ids meet"] if len(ids) != len(set(ids)) else [])
