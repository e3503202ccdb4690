"""A certificate's PDF carries the evidence it was made from, and a signature over itself that needs nothing beside it.

The signature stands behind the document as comment lines (ISO 32000-1, 7.2.4), followed by the document's own ``startxref``
once more, so that readers find everything as before. It covers every byte before its first line.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from runner.errors import RecordError
from runner.record.folder import CERTIFICATE_PDF, SESSION
from runner.seal.committed import has_sum
from runner.seal.sealing import EVIDENCE, SEAL, SIG, evidence_in
from runner.seal.sshsig import Signer, checked
from runner.seal.station_key import StationKey
from runner.seal.verified import Verified
from runner.seal.verify import evidence_against_its_sums

if TYPE_CHECKING:
    from pypdf import PdfReader

MARK = b"% seal of the bytes before this line, an SSH signature: "
LINE = b"% "
END = b"%%EOF"
SIGNED = "sealed with a signature behind the document"  # a keyword of a document that is going to be signed


def carried(folder: Path) -> dict[str, bytes]:
    """What travels inside a certificate of this folder, by name: the sealed evidence of a run, or of every run of a session.

    Nothing of a folder that is not sealed. Raises OSError.
    """
    if (folder / SESSION).is_file():
        runs = [path.parent for path in sorted(folder.glob(f"*/{EVIDENCE}"))]
        of_runs = {f"{run.name}/{name}": content for run in runs for name, content in carried(run).items()}
        return {SESSION: (folder / SESSION).read_bytes(), **of_runs} if of_runs else {}
    if not (folder / EVIDENCE).is_file():
        return {}
    names = [*evidence_in(folder), EVIDENCE, EVIDENCE + SIG, SEAL]
    return {name: (folder / name).read_bytes() for name in names}


def signed(document: bytes, key: StationKey) -> bytes:
    """The document with a signature over it behind it."""
    lines = key.sign(document).strip().encode().splitlines()
    _, _, cross_references = document.rpartition(b"startxref")
    offset = cross_references.split()[0]
    comment = MARK + str(len(document)).encode() + b"\n" + b"".join(LINE + line + b"\n" for line in lines)
    return document + (b"" if document.endswith(b"\n") else b"\n") + comment + b"startxref\n" + offset + b"\n%%EOF\n"


def verify_pdf(path: Path, known: Mapping[Signer, str]) -> Verified:
    """A certificate by itself: its signature, and the evidence in it. Raises RecordError if it is no PDF."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise RecordError(f"cannot be read: {error.strerror or error}", str(path)) from error
    found = Verified(path.name)
    if not content.startswith(b"%PDF-"):
        if MARK not in content:
            raise RecordError("is no PDF", str(path), "give a run folder, a session or a certificate's PDF")
        found.differences.append(f"{path.name}: does not begin as a PDF does")
        return found
    if not content.rstrip().endswith(END):
        found.differences.append(f"{path.name}: the file is cut short: a PDF ends with {END.decode()}")
        return found
    _signature(content, found, known)
    try:
        evidence = _attached(content)
    except Exception as error:  # a broken PDF breaks its reader in many ways
        found.differences.append(f"{path.name}: its attachments cannot be read ({type(error).__name__})")
        return found
    if not evidence:
        found.unknown.append("no evidence is attached")
        return found
    with tempfile.TemporaryDirectory() as folder:
        for name, piece in evidence.items():
            try:
                where = (Path(folder) / name).resolve()
                if not where.is_relative_to(Path(folder).resolve()):
                    found.differences.append(f"attachment {name!r}: leads out of the certificate")
                    continue
                where.parent.mkdir(parents=True, exist_ok=True)
                where.write_bytes(piece)
            except (OSError, ValueError):
                found.differences.append(f"attachment {name!r}: its name is none of a file")
        runs = [Path(folder)] if EVIDENCE in evidence else sorted(p.parent for p in Path(folder).glob(f"*/{EVIDENCE}"))
        for run in runs:
            evidence_against_its_sums(run, found, known, "" if run == Path(folder) else f"{run.name}/")
    return found


def against_the_pdf(folder: Path, found: Verified, known: Mapping[Signer, str]) -> None:
    """Of a folder without a seal: what its certificate carries says what the evidence was, whoever took the seal away."""
    path = folder / CERTIFICATE_PDF
    try:
        if (folder / EVIDENCE).is_file() or not path.is_file() or verify_pdf(path, known).differences:
            return
        carried_in_it = _attached(path.read_bytes())
    except (RecordError, OSError):
        found.unknown.append(f"{CERTIFICATE_PDF}: cannot be read: what it carries cannot be compared")
        return
    for name, piece in sorted(carried_in_it.items()):
        if name in (EVIDENCE, EVIDENCE + SIG, SEAL):
            found.unknown.append(f"{name}: is carried by {CERTIFICATE_PDF} and gone from the folder")
        elif not has_sum(folder / name, hashlib.sha256(piece).hexdigest()):
            found.differences.append(f"{name}: is not what {CERTIFICATE_PDF} carries")


def _signature(content: bytes, found: Verified, known: Mapping[Signer, str]) -> None:
    before, mark, behind = content.rpartition(MARK)
    if not mark:
        if _to_be_signed(content):
            found.differences.append("the PDF's own signature: is missing")
        else:
            found.unknown.append("the PDF has no signature of its own")
        return
    lines = behind.split(b"\n")
    tail = lines.index(b"startxref") if b"startxref" in lines else len(lines)
    size = int(lines[0]) if lines[0].isdigit() else -1
    signature = b"".join(line.removeprefix(LINE) + b"\n" for line in lines[1:tail]).decode("ascii", "replace")
    try:
        if size not in (len(before), len(before) - 1) or signed_tail(content, size) != lines[tail:]:
            raise ValueError("does not fit the file: one of them was changed")
        signer = checked(before[:size], signature)
    except ValueError as error:
        found.differences.append(f"the PDF's own signature: {error}")
        return
    if signer in known:
        found.said.append(f"the PDF: signed by {known[signer]}, {signer.fingerprint}")
    else:
        found.unknown.append(f"the PDF: signed with a key that is not known here, {signer.fingerprint}")


def _reader(content: bytes) -> PdfReader:
    import io
    import logging

    from pypdf import PdfReader

    logging.getLogger("pypdf").setLevel(logging.CRITICAL)  # what is broken is said here, once and in plain words
    return PdfReader(io.BytesIO(content))


def _to_be_signed(content: bytes) -> bool:
    try:
        said = _reader(content).metadata
    except Exception:  # a broken PDF breaks its reader in many ways
        return False
    return said is not None and SIGNED in str(said.get("/Keywords", ""))


def signed_tail(content: bytes, size: int) -> list[bytes]:
    """The lines that have to stand behind the signature of a document of ``size`` bytes."""
    offset = content[:size].rpartition(b"startxref")[2].split()
    return [b"startxref", offset[0] if offset else b"", b"%%EOF", b""]


def _attached(content: bytes) -> dict[str, bytes]:
    return {name: pieces[-1] for name, pieces in _reader(content).attachments.items()}
