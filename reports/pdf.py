"""HTML to PDF. A missing system library costs the PDF, never the certificate: the HTML is written all the same."""

from __future__ import annotations

import contextlib
import io
import logging
import warnings
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType

from runner.record.folder import write_whole

NOTHING: Mapping[str, bytes] = MappingProxyType({})
MISSING = (
    "the PDF needs the Pango library: install libpango-1.0-0 and libpangoft2-1.0-0 (Debian's names), "
    "then make it with `tripwitness certificate`"
)


def write_pdf(
    html: str, path: Path, attached: Mapping[str, bytes] = NOTHING, finish: Callable[[bytes], bytes] = bytes
) -> str:
    """Write the PDF (PDF/A-3a); returns "" or why there is none. The page may use nothing but what is inside it.

    ``attached`` travels inside it, by name; ``finish`` makes the last of the document's bytes, such as a signature.
    """
    logging.getLogger("weasyprint").addHandler(logging.NullHandler())
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        try:
            from weasyprint import HTML, Attachment
            from weasyprint.urls import URLFetcher
        except (ImportError, OSError):
            return MISSING
        fetcher = URLFetcher(allowed_protocols={"data"})
        pieces = [
            Attachment(file_obj=io.BytesIO(piece), name=name, description="evidence", relationship="Source")
            for name, piece in attached.items()
        ]
        document = HTML(string=html, url_fetcher=fetcher).write_pdf(pdf_variant="pdf/a-3a", attachments=pieces)
    write_whole(path, finish(document))
    return ""
