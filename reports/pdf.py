"""HTML to PDF. A missing system library costs the PDF, never the certificate: the HTML is written all the same."""

from __future__ import annotations

import contextlib
import io
import logging
import warnings
from pathlib import Path

MISSING = (
    "the PDF needs the Pango library: install libpango-1.0-0 and libpangoft2-1.0-0 (Debian's names), "
    "then make it with `tripwitness certificate`"
)


def write_pdf(html: str, path: Path) -> str:
    """Write the PDF; returns "" or why there is none. The page may use nothing but what is inside it."""
    logging.getLogger("weasyprint").addHandler(logging.NullHandler())
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        try:
            from weasyprint import HTML
            from weasyprint.urls import URLFetcher
        except (ImportError, OSError):
            return MISSING
        fetcher = URLFetcher(allowed_protocols={"data"})
        document = HTML(string=html, url_fetcher=fetcher).write_pdf(pdf_variant="pdf/a-3u")
    path.write_bytes(document)
    return ""
