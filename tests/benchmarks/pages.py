"""Pictures of certificates, summaries and labels of every kind on both papers, in colour and in grey, and what is wrong with them.

    python tests/benchmarks/pages.py --out FOLDER [--session SESSION] [--resolution 60]

Kinds: one run, a failure, a pack that did not trip, five sensors, long names, and a session if one is given (``tripwitness rehearse
--all --unattended`` makes one). What a program can see is printed (tests/pages.py); the pictures are there to be looked at. Where
a PDF/A validator named ``verapdf`` is installed, it is asked too. Exit status 1: something is wrong. Needs poppler's pdftotext
and pdftoppm.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))

COLUMNS, GAP = 4, 8


def main() -> int:
    """Make everything, print what is wrong; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", required=True)
    parser.add_argument("--session")
    parser.add_argument("--resolution", type=int, default=60)
    options = parser.parse_args()
    out, count = Path(options.out), 0
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        os.environ["TRIPWITNESS_KEYS"] = f"{place}/keys"
        from tests.pages import evaluations, words_of, written, wrong_with

        for name, runs, not_begun in evaluations(Path(place), Path(options.session) if options.session else None):
            for pdf in written(name, runs, not_begun, out):
                wrong = [*wrong_with(pdf), *_by_a_validator(pdf)]
                count += len(wrong)
                _pictures(pdf, options.resolution)
                print(f"{pdf.name:44} {len(words_of(pdf)):3} pages  {len(wrong)} wrong", flush=True)
                print("".join(f"    {each}\n" for each in wrong[:8]), end="")
    return 1 if count else 0


def _by_a_validator(pdf: Path) -> list[str]:
    if not shutil.which("verapdf"):
        return []
    done = subprocess.run(
        ["verapdf", "--flavour", "3a", "--format", "text", pdf], capture_output=True, text=True, check=False
    )
    return [] if done.stdout.startswith("PASS") else [f"verapdf: {done.stdout.strip()[:200]}"]


def _pictures(pdf: Path, resolution: int) -> None:
    """All pages on one sheet, in colour and in grey."""
    with tempfile.TemporaryDirectory() as place:
        subprocess.run(["pdftoppm", "-r", str(resolution), "-png", pdf, f"{place}/p"], check=True)
        pages = [Image.open(path).convert("RGB") for path in sorted(Path(place).glob("*.png"))]
    wide, high = max(page.width for page in pages) + GAP, max(page.height for page in pages) + GAP
    rows = -(-len(pages) // COLUMNS)
    sheet = Image.new("RGB", (wide * min(len(pages), COLUMNS), high * rows), "#888888")
    for number, page in enumerate(pages):
        sheet.paste(page, (number % COLUMNS * wide, number // COLUMNS * high))
    sheet.save(pdf.with_suffix(".png"))
    sheet.convert("L").save(pdf.with_name(f"{pdf.stem}-grey.png"))


if __name__ == "__main__":
    sys.exit(main())
