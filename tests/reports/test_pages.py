"""What a program can see of the pages of certificates, on both papers: full enough, nothing outside, too small or over something else.

More kinds, with pictures: tests/benchmarks/pages.py.
"""

import shutil
from dataclasses import replace

import pytest

from tests.builders import short_rehearsal
from tests.pages import LABELS, LONG, written, wrong_with


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="no pdftotext here")
def test_pages_of_long_names_hold_what_is_printed_on_them(tmp_path):
    evaluation = short_rehearsal(tmp_path).result.evaluation
    pack = evaluation.pack.model_copy(update={"name": LONG, "serial": LONG, "customer_address": LONG * 3})

    for pdf in written("long-names", [replace(evaluation, pack=pack)], [], tmp_path, ("Letter",), LABELS[:1]):
        assert wrong_with(pdf) == [], pdf.name
