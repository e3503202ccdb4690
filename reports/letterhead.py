"""A laboratory's own paper: its logo, colours, footer, form of dates, numbers, and templates in place of ours.

TRIPWITNESS_LETTERHEAD names its folder, else it is ``letterhead`` beside the keys of the station. Its ``letterhead.yaml`` may have

    paper: Letter            # or A4
    colour: "#204060"        # of the heading
    footer: Quay Row 3 · +00 000
    logo: logo.svg           # or a PNG, in the same folder
    dates: "%d %B %Y"        # of receipt and issue, as strftime has it; times stay ISO 8601 with UTC
    number: {prefix: TB-, year: yes, digits: 4}
    templates: own           # a folder with certificate.html.jinja; it extends or replaces ours

Rule 1: what is wrong with it is an error with file, line and column before anything is written.
Rule 2: templates run in Jinja's sandbox, escaped, and reach no file outside of their folder and no network.
"""

from __future__ import annotations

import base64
import contextlib
import datetime
import json
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from markupsafe import Markup

from runner.errors import Problem, RecordError, SheetError
from runner.notation.source import Source, read
from runner.record.folder import CERTIFICATE_NUMBER, write_whole
from runner.seal.station_key import folder as station_folder

FILE, COUNTER = "letterhead.yaml", "certificate-numbers.json"
PAPERS = ("A4", "Letter")
KEYS = ("paper", "colour", "footer", "logo", "dates", "number", "templates")
NUMBER_KEYS = ("prefix", "year", "digits")
IMAGES = {b"\x89PNG\r\n\x1a\n": "image/png"}
LARGEST_LOGO = 2_000_000  # bytes


@dataclass(frozen=True)
class NumberScheme:
    """How a laboratory numbers its certificates: prefix, year, a counter of so many digits."""

    prefix: str = ""
    year: bool = True
    digits: int = 4


@dataclass(frozen=True)
class Letterhead:
    """What a certificate looks like. ``logo`` is a data URI or empty; ``templates`` a folder or None."""

    paper: str = "A4"
    colour: str = "#111"
    footer: str = ""
    logo: str = ""
    dates: str = "%Y-%m-%d"
    scheme: NumberScheme | None = None
    templates: Path | None = None

    def date(self, iso: str) -> str:
        """A date (ISO 8601) in the laboratory's form."""
        return datetime.date.fromisoformat(iso[:10]).strftime(self.dates)

    @property
    def image(self) -> Markup:
        """The logo as an element of the page: an image that is data, so nothing in it can run."""
        return Markup('<img class="logo" alt="logo" src="{}">').format(self.logo) if self.logo else Markup("")


def letterhead() -> Letterhead:
    """The one of this station. Raises SheetError with all that is wrong, RecordError if its folder was named and is not there."""
    named = os.environ.get("TRIPWITNESS_LETTERHEAD")
    folder = Path(named) if named else station_folder() / "letterhead"
    path = folder / FILE
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        if not named and isinstance(error, FileNotFoundError | NotADirectoryError):
            return Letterhead()
        raise RecordError("cannot be read", str(path), "correct TRIPWITNESS_LETTERHEAD") from error
    source = read(text, str(path))
    found = _Reader(source, folder)
    made = found.letterhead()
    if source.problems:
        raise SheetError(source.problems)
    return made


class _Reader:
    def __init__(self, source: Source, folder: Path) -> None:
        self.source, self.folder = source, folder
        self.values = source.values if isinstance(source.values, dict) else {}
        if source.values is not None and not isinstance(source.values, dict):
            source.problems.append(Problem(source.file, 1, 1, "is no mapping", "write keys and values"))

    def letterhead(self) -> Letterhead:
        for key in self.values:
            if key not in KEYS:
                self._wrong((key,), f"{key} is no key of a letterhead", f"choose from {', '.join(KEYS)}")
        plain = Letterhead()
        return Letterhead(
            self._one_of("paper", PAPERS, plain.paper),
            self._text("colour", plain.colour, r"#[0-9a-fA-F]{3}([0-9a-fA-F]{3})?", "write it as #204060"),
            self._text("footer", plain.footer),
            self._logo(),
            self._text("dates", plain.dates, r"[^\n]*%[A-Za-z-][^\n]*", 'write it as "%d %B %Y"'),
            self._scheme(),
            self._templates(),
        )

    def _text(self, key: str, otherwise: str, form: str = r"[^\n]*", remedy: str = "write one line") -> str:
        value = self.values.get(key, otherwise)
        if not isinstance(value, str) or not re.fullmatch(form, value):
            self._wrong((key,), f"{value!r} is not understood", remedy)
            return otherwise
        return value

    def _one_of(self, key: str, choices: tuple[str, ...], otherwise: str) -> str:
        value = self.values.get(key, otherwise)
        if value not in choices:
            self._wrong((key,), f"{value!r} is not understood", f"choose one of {', '.join(choices)}")
            return otherwise
        return str(value)

    def _inside(self, key: str) -> Path | None:
        """A path below the folder."""
        name = self._text(key, "")
        if not name:
            return None
        path = (self.folder / name).resolve()
        if not path.is_relative_to(self.folder.resolve()) or not path.exists():
            self._wrong((key,), f"{name!r} is not in {self.folder.name}", "put it there")
            return None
        return path

    def _logo(self) -> str:
        path = self._inside("logo")
        if path is None:
            return ""
        content = path.read_bytes()
        kind = next((kind for begin, kind in IMAGES.items() if content.startswith(begin)), "")
        if not kind and re.match(rb"\s*(<\?xml[^>]*>\s*)?(<!--.*?-->\s*)?<svg\b", content, re.DOTALL):
            kind = "image/svg+xml"
        if not kind or len(content) > LARGEST_LOGO:
            self._wrong(("logo",), f"{path.name} is no SVG or PNG of at most 2 MB", "give another file")
            return ""
        return f"data:{kind};base64,{base64.b64encode(content).decode()}"

    def _templates(self) -> Path | None:
        path = self._inside("templates")
        if path is not None and not path.is_dir():
            self._wrong(("templates",), f"{path.name} is no folder", "name a folder")
            return None
        return path

    def _scheme(self) -> NumberScheme | None:
        value = self.values.get("number")
        if value is None:
            return None
        if not isinstance(value, dict):
            self._wrong(("number",), f"{value!r} is not understood", "write {prefix: TB-, year: yes, digits: 4}")
            return None
        for key in value:
            if key not in NUMBER_KEYS:
                self._wrong(("number", key), f"{key} is no key of a number", f"choose from {', '.join(NUMBER_KEYS)}")
        prefix, year, digits = value.get("prefix", ""), value.get("year", True), value.get("digits", 4)
        if not isinstance(prefix, str) or not re.fullmatch(r"[\w .\-]{0,20}", prefix):
            self._wrong(("number", "prefix"), f"{prefix!r} is not understood", "letters, digits, hyphens: at most 20")
        elif not isinstance(year, bool) and year not in ("yes", "no"):
            self._wrong(("number", "year"), f"{year!r} is not understood", "write yes or no")
        elif not isinstance(digits, int) or not 1 <= digits <= 9:
            self._wrong(("number", "digits"), f"{digits!r} is not understood", "write a number from 1 to 9")
        else:
            return NumberScheme(prefix, year in (True, "yes"), digits)
        return None

    def _wrong(self, path: tuple[str | int, ...], what: str, remedy: str) -> None:
        self.source.problems.append(self.source.problem(path, what, remedy))


def number_of(folder: Path, paper: Letterhead, issued: str) -> str:
    """The number of a folder's certificate: given once and kept in the folder. Raises RecordError.

    By the laboratory's scheme where it has one, whatever the folder is called; else what the folder is called now.
    """
    kept = folder / CERTIFICATE_NUMBER
    if kept.is_file():
        try:
            return str(json.loads(kept.read_text(encoding="utf-8"))["number"])
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise RecordError("is not the number of a certificate", str(kept), "take it from a backup") from error
    number = folder.name if paper.scheme is None else _next(paper.scheme, issued[:4])
    write_whole(kept, (json.dumps({"number": number}) + "\n").encode())
    return number


def _next(scheme: NumberScheme, year: str) -> str:
    """The next number of the station's counter, which goes on through crashes and other processes."""
    with _counter() as counters:
        key = f"{scheme.prefix}{f'{year}-' if scheme.year else ''}"
        counters[key] = counters.get(key, 0) + 1
        return f"{key}{counters[key]:0{scheme.digits}}"


@contextlib.contextmanager
def _counter() -> Iterator[dict[str, int]]:
    path = station_folder() / COUNTER
    try:
        import fcntl
    except ImportError:  # no such locks here: two programs that issue in one moment may meet
        fcntl = None  # type: ignore[assignment]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.with_suffix(".lock").open("w") as lock:
            if fcntl is not None:
                fcntl.flock(lock, fcntl.LOCK_EX)
            counters: dict[str, int] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
            yield counters
            write_whole(path, (json.dumps(counters, indent=1) + "\n").encode())
    except (OSError, ValueError) as error:
        raise RecordError("is not the counter of certificates", str(path), "take it from a backup") from error
