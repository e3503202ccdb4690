"""Certificates of every kind on both papers, and what a program can see of their pages: how full they are, what is outside, too small
or printed over something else. Words and their boxes are those that poppler's pdftotext finds.
"""

from __future__ import annotations

import html
import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from reports.certificate import NOTHING, page, page_contents
from reports.extracts import fitted
from reports.letterhead import Letterhead
from reports.pdf import write_pdf
from runner.evaluation.evaluate import Evaluation
from runner.workspace.job import DEMO_PACK, find_procedure
from runner.workspace.session import Session
from tests.builders import SHORT_PROCEDURE, rehearsed, short_rehearsal, user_file

PAPERS = ("A4", "Letter")
LABELS = ((62.0, 29.0), (100.0, 150.0), (25.0, 12.0))
LEAST_FULL = 0.5  # of the height between the margins, of every page but the last
LEAST_PT = 4.4  # of letters: what stands in a panel of a plot is the smallest
EDGE = 10.0  # mm: nothing is printed nearer to the edge of a certificate's page
ASCENT_AND_DESCENT = 1.164  # height of poppler's box of a word in DejaVu Sans, in letters
PT = 72 / 25.4
LONG = "Extraordinarily-long-name-without-a-space-" * 2
FIVE = "\n".join(
    f'  - {{name: T{n}, place: "cell {n}", curve: {{resistance_at_25: 10 kohm, b: 3435 K}}}}' for n in range(1, 6)
)


def evaluations(place: Path, session: Path | None) -> Iterator[tuple[str, list[Evaluation], list[tuple[str, str]]]]:
    """(what it is, its runs, what was not begun) of every kind of certificate. A session is given: it takes minutes to make."""
    short = short_rehearsal(place / "short").result.evaluation
    yield (
        "one-run",
        [rehearsed(place / "one", procedure=find_procedure("charge-over-temperature")).result.evaluation],
        [],
    )
    yield "failure", [short_rehearsal(place / "late", "trips-late").result.evaluation], []
    yield "did-not-trip", [short_rehearsal(place / "none", "no-protection").result.evaluation], []
    demo = DEMO_PACK.read_text(encoding="utf-8")
    five = user_file("five.yaml", re.sub(r"(?<=sensors:\n)(  - .*\n)+", f"{FIVE}\n", demo, count=1))
    sensors = tuple(f"T{n}" for n in range(1, 6))
    made = rehearsed(place / "five", procedure=user_file("s.yaml", SHORT_PROCEDURE), pack=five, sensors=sensors)
    yield "five-sensors", [made.result.evaluation], []
    pack = short.pack.model_copy(update={"name": LONG, "serial": LONG, "customer": LONG, "customer_address": LONG * 3})
    bench = short.bench.model_copy(update={"laboratory": LONG, "place": f"{LONG} {LONG}", "name": LONG})
    found = tuple(replace(each, sensor=f"sensor {LONG}") for each in short.findings)
    yield "long-names", [replace(short, pack=pack, bench=bench, findings=found)], []
    if session is not None:
        opened = Session.of(session)
        assert opened is not None
        yield "session", opened.evaluations(), opened.not_begun()


def written(
    name: str,
    runs: list[Evaluation],
    not_begun: list[tuple[str, str]],
    to: Path,
    papers: tuple[str, ...] = PAPERS,
    labels: tuple[tuple[float, float], ...] = LABELS,
) -> list[Path]:
    """The PDFs of a certificate on each paper, its summaries and labels."""
    number, found = LONG if name == "long-names" else runs[0].folder.number, []
    for paper in map(Letterhead, papers):
        contents = page_contents(runs, number, "2026-11-26", not_begun, "0123456789abcdef" * 4, (), paper)
        for kind in ("certificate", "summary"):
            found.append(to / f"{name}-{kind}-{paper.paper}.pdf")
            assert write_pdf(page(kind, contents, paper), found[-1], NOTHING) == ""
    for width, height in labels:
        contents["label"] = fitted((width, height), contents["label_text"])
        found.append(to / f"{name}-label-{width:g}x{height:g}.pdf")
        assert write_pdf(page("label", contents, Letterhead()), found[-1], NOTHING) == ""
    return found


@dataclass(frozen=True)
class Word:
    """A word on a page and its box in pt from the upper left."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def words_of(pdf: Path) -> list[tuple[float, float, list[Word]]]:
    """(width, height in pt, words) of every page."""
    command = ["pdftotext", "-bbox", str(pdf), "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    pages = []
    for width, height, inside in re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', said, re.DOTALL):
        boxes = re.findall(
            r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', inside
        )
        words = [Word(html.unescape(text), *map(float, box)) for *box, text in boxes]
        pages.append((float(width), float(height), words))
    return pages


def wrong_with(pdf: Path) -> list[str]:
    """What is wrong with the pages of a certificate, summary or label, in words; nothing where all is well."""
    pages, found = words_of(pdf), []
    is_a_certificate = "-certificate-" in pdf.name
    if not is_a_certificate and len(pages) != 1:
        found.append(f"{len(pages)} pages, not one")
    for number, (width, height, words) in enumerate(pages, start=1):
        said = f"page {number}: "
        edge = EDGE * PT if "-label-" not in pdf.name else 0.0
        found += [f"{said}{each.text!r} is outside" for each in words if _outside(each, width, height, edge)]
        found += [f"{said}{each.text!r} is too small" for each in words if _letters(each) < LEAST_PT]
        found += [f"{said}{one.text!r} is printed over {other.text!r}" for one, other in _over_each_other(words)]
        body = [each.bottom for each in words if each.bottom < height - 16 * PT]
        full = (max(body, default=0.0) - 14 * PT) / (height - 30 * PT)
        if is_a_certificate and number < len(pages) and full < LEAST_FULL:
            found.append(f"{said}{full:.0%} full")
    return found


def _letters(word: Word) -> float:
    """The size of a word's letters in pt; a box that is taller than wide may be of one that is turned, as beside an axis."""
    high, wide = word.bottom - word.top, word.right - word.left
    return (max(high, wide) if len(word.text) <= 2 else high) / ASCENT_AND_DESCENT


def _outside(word: Word, width: float, height: float, edge: float) -> bool:
    return (
        word.left < edge
        or word.top < edge * 0.5
        or word.right > width - edge + 0.5
        or word.bottom > height - edge * 0.5
    )


def _over_each_other(words: list[Word]) -> Iterator[tuple[Word, Word]]:
    """Pairs of words whose boxes share more than a fifth of the smaller one."""
    ordered = sorted(words, key=lambda word: word.top)
    for n, one in enumerate(ordered):
        for other in ordered[n + 1 :]:
            if other.top >= one.bottom:
                break
            wide = min(one.right, other.right) - max(one.left, other.left)
            high = min(one.bottom, other.bottom) - max(one.top, other.top)
            smaller = min((each.right - each.left) * (each.bottom - each.top) for each in (one, other))
            if wide > 0 and high > 0 and wide * high > 0.2 * smaller:
                yield one, other
