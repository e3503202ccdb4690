"""Hostile names through every output: certificate, summary, label, plots, PDF text, terminal, verification.

    python tests/benchmarks/hostile_names.py [--count 2000] [--seed 1]

Every twentieth has its plots drawn, every hundredth is made into PDFs, whose text is read with poppler's pdftotext if it is there.
Exit status 1: a raw control character, a tag, an attribute or a fetch came of one.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

PLOTS_EVERY, PDF_EVERY = 20, 100


def main() -> int:
    """Print what came of the names; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        os.environ["TRIPWITNESS_KEYS"] = f"{place}/keys"
        looked, wrong = _through(Path(place), options)
    print(", ".join(f"{count} {what}" for what, count in looked.items()))
    print("\n".join(f"{count:5}  {what}" for what, count in wrong.most_common(20)) or "nothing came of them")
    return 1 if wrong else 0


def _through(place: Path, options: argparse.Namespace) -> tuple[Counter[str], Counter[str]]:
    from tests.builders import short_rehearsal
    from tests.hostile import name, named, pages_of, wrong_with

    evaluation = short_rehearsal(place / "run").result.evaluation
    looked, wrong = Counter[str](), Counter[str]()
    for number in range(options.count):
        dice = random.Random(f"{options.seed} {number}")
        hostile = [named(evaluation, dice, plots=number % PLOTS_EVERY == 0) for _ in range(1 + number % 2)]
        pages = pages_of(hostile, name(dice))
        texts = {"terminal": _printed(hostile)}
        if number % PDF_EVERY == 0:
            texts |= {f"PDF of the {kind}": _text_of(html, place) for kind, html in pages.items()}
        for kind, html in pages.items():
            wrong.update(f"{kind}: {each}" for each in wrong_with(html))
        for kind, text in texts.items():
            wrong.update(f"{kind}: raw {each!r}" for each in _raw(text))
        looked.update([*pages, *texts])
    return looked, wrong


def _printed(evaluations: list) -> str:
    from runner.console_output import finding_line
    from runner.notation.visible import plainly
    from runner.seal.verified import Verified

    out = io.StringIO()
    with contextlib.redirect_stdout(out), plainly():
        for each in evaluations:
            print(*map(finding_line, each.findings), each.pack.name, sep="\n")
            lines = Verified(each.pack.name, [f"{each.pack.serial}: is missing"]).lines()
            print(*lines, sep="\n")
            assert all("\n" not in line for line in lines)
    return out.getvalue()


def _text_of(html: str, place: Path) -> str:
    from reports.pdf import write_pdf

    if write_pdf(html, place / "x.pdf") or not shutil.which("pdftotext"):
        return ""
    done = subprocess.run(["pdftotext", place / "x.pdf", "-"], capture_output=True, text=True, check=True)
    return done.stdout.replace("\f", "\n")


def _raw(text: str) -> list[str]:
    from tests.hostile import CONTROL

    return [match.group() for match in CONTROL.finditer(text)]


if __name__ == "__main__":
    sys.exit(main())
