"""Photographs among the attachments, small enough for paper: sniffed, checked by digest, encoded anew without metadata.

Rule 1: what a file is called says nothing; its first bytes do. What is no JPEG or PNG, too large or broken is not shown.
Rule 2: only pixels go on: the picture is decoded and encoded again, so places, names and thumbnails of a camera stay behind.
Rule 3: a file that is not what the journal took down is not shown; the certificate says that the evidence has changed anyway.
"""

from __future__ import annotations

import base64
import hashlib
import io
import warnings
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup
from PIL import Image, ImageOps, UnidentifiedImageError

from runner.record.folder import ATTACHMENTS

KINDS = {b"\xff\xd8\xff": "JPEG", b"\x89PNG\r\n\x1a\n": "PNG"}
LARGEST = 20_000_000  # bytes of a file that is opened
MOST_PIXELS = 60_000_000
SHOWN = (420, 320)  # pixels of what is printed, at most
QUALITY = 70  # of JPEG: a few kilobytes a picture
BROKEN = (OSError, ValueError, SyntaxError, EOFError, UnidentifiedImageError, Image.DecompressionBombError)


@dataclass(frozen=True)
class Photo:
    """One picture: of which step, its file, the digest of the original, and the small picture as a data URI."""

    of: str
    name: str
    digest: str
    small: str

    @property
    def image(self) -> Markup:
        """The picture as an element of the page."""
        return Markup('<img alt="photograph: {}" src="{}">').format(self.of, self.small)


def photo_of(folder: Path, file: str, of: str) -> Photo | None:
    """The small picture of an attachment, "name sha256"; None of what is no picture that can be shown."""
    name, _, digest = file.rpartition(" ")
    path = folder / ATTACHMENTS / name
    try:
        if not name or "/" in name or path.is_symlink() or not path.is_file() or path.stat().st_size > LARGEST:
            return None
        content = path.read_bytes()
    except OSError:
        return None
    small = _small(content) if hashlib.sha256(content).hexdigest() == digest else b""
    if not small:
        return None
    return Photo(of, name, digest, f"data:image/jpeg;base64,{base64.b64encode(small).decode()}")


def _small(content: bytes) -> bytes:
    kind = next((kind for begin, kind in KINDS.items() if content.startswith(begin)), None)
    if kind is None:
        return b""
    out = io.BytesIO()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of odd metadata, which is left behind
            with Image.open(io.BytesIO(content), formats=[kind]) as opened:
                if opened.width * opened.height > MOST_PIXELS:
                    return b""
                opened.draft("RGB", SHOWN)
                turned = ImageOps.exif_transpose(opened)
                turned.thumbnail(SHOWN)
                flat = Image.new("RGB", turned.size, "white")
                clear = turned.convert("RGBA")
                flat.paste(clear, mask=clear.getchannel("A"))
                flat.save(out, "JPEG", quality=QUALITY)
    except BROKEN:
        return b""
    return out.getvalue()
