"""Certificates are issued: evidence verified first, what was issued before kept, the new one written, attached to and sealed.

Rule 1: what has changed since it was sealed is printed on the certificate, and nothing is sealed again over it.
Rule 2: a certificate that is issued again puts the one before into editions/, whatever has changed; nothing is overwritten.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from runner.errors import RecordError
from runner.evaluation.evaluate import Evaluation, evaluate
from runner.evaluation.provenance import digest
from runner.record.folder import CERTIFICATE_HTML, CERTIFICATES, EVENTS, SESSION, RunFolder
from runner.seal.editions import keep_certificates, keep_edition, without_broken_off
from runner.seal.pdf import carried, signed
from runner.seal.sealing import EVIDENCE, SUMS, not_whole, seal_certificate, seal_evidence, seal_session
from runner.seal.station_key import KeyUnusable, station_key
from runner.seal.verify import verify
from runner.vocabulary import Exit
from runner.workspace.session import Session

if TYPE_CHECKING:
    from reports.certificate import Written
    from reports.extracts import Extracts


def certificate_of(paths: Sequence[Path], extracts: Extracts | None = None) -> Exit:
    """The certificate of runs and sessions of one pack, in its folder, or in one of its own for several; where is printed.

    Beside it what is asked for in ``extracts``. The status says only whether the evidence is as it was recorded.

    Raises RecordError or SheetError if a folder is not as it was, RecordError if they are of different packs.
    """
    evaluations: list[Evaluation] = []
    not_begun: list[tuple[str, str]] = []
    for path in paths:
        session = Session.of(path) if not (path / EVENTS).is_file() else None
        if session is not None:
            evaluations += session.evaluations()
            not_begun += session.not_begun()
        else:
            evaluations.append(evaluate(RunFolder.existing(path)))
    packs = {(each.pack.name, each.pack.serial) for each in evaluations}
    if len(packs) > 1:
        named = ", ".join(f"{name} no. {serial}" for name, serial in sorted(packs))
        raise RecordError(f"the runs are of different packs: {named}", str(paths[0]), "make one certificate for each")
    if not evaluations:
        raise RecordError("holds no run", str(paths[0]), "run a procedure first")
    print_certificate(evaluations, paths[0] if len(paths) == 1 else _joint(paths), not_begun, extracts)
    for each in evaluations:
        print("".join(f"  not known: {each.folder.number}: {what}\n" for what in each.not_known), end="")
    return Exit.NOT_ALL_JUDGED if any(each.broken for each in evaluations) else Exit.PASS


def _joint(paths: Sequence[Path]) -> Path:
    """A folder beside the runs for a certificate of several: it has a number of its own, and theirs stay as they are."""
    last = max((path.resolve() for path in paths), key=lambda path: path.name)
    folder = last.with_name(f"{last.name}-and-{len(paths) - 1}-more")
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise RecordError.cannot_make(str(folder), error.strerror or str(error)) from error
    return folder


def print_certificate(
    evaluations: Sequence[Evaluation],
    folder: Path,
    not_begun: Sequence[tuple[str, str]] = (),
    extracts: Extracts | None = None,
) -> None:
    """Make the certificate, and what is asked for beside it, and say where it is."""
    written, not_sealed = _issue(evaluations, folder, not_begun, extracts)
    print(f"\ncertificate: {written.pdf or written.html}")
    print("".join(f"{path.stem}: {path}\n" for path in written.beside), end="")
    if written.why:
        print(f"  no PDF: {written.why}")
    if not_sealed:
        print(f"  not sealed: {not_sealed}")
    what = "run folder: " if len(evaluations) == 1 else f"{len(evaluations)} runs, certificate in:"
    print(f"{what} {folder}")


def make_certificate(evaluations: Sequence[Evaluation], folder: Path) -> str:
    """Make the certificate and give its path: the HTML, which a browser opens; the PDF is beside it."""
    return str(_issue(evaluations, folder, ())[0].html)


def certificate_to_show(evaluations: Sequence[Evaluation], folder: Path) -> str:
    """The path of the certificate as it was issued; it is made, or made again, where there is none or something has changed."""
    issued = folder / CERTIFICATE_HTML
    if issued.is_file() and (folder / SUMS).is_file() and not verify(folder, None).differences:
        return str(issued)
    return make_certificate(evaluations, folder)


def _issue(
    evaluations: Sequence[Evaluation],
    folder: Path,
    not_begun: Sequence[tuple[str, str]],
    extracts: Extracts | None = None,
) -> tuple[Written, str]:
    """The certificate, and why it is not sealed where it is not."""
    from reports.certificate import write_certificate
    from reports.extracts import Extracts

    broken = list(dict.fromkeys(what for each in evaluations for what in each.broken))
    if not (folder / EVENTS).is_file() and (folder / SUMS).is_file():
        broken += [what for what in verify(folder, None).differences if what not in broken]
    not_sealed = "; ".join(broken)
    if broken:
        keep_certificates(folder, broken, "the certificate is issued again, and what was sealed has changed")
    elif without_broken_off(folder) or not (folder / SUMS).is_file():
        keep_certificates(folder, (), "the certificate is issued again; the one before was not sealed")
    else:
        not_sealed = _keep_the_one_before(folder, evaluations)
    attached = {} if broken else _attached(evaluations, folder)
    lists = b"".join(attached[name] for name in sorted(attached) if name.endswith(EVIDENCE))
    finish: Callable[[bytes], bytes] = bytes
    if attached:
        try:
            finish = partial(signed, key=station_key())
        except KeyUnusable as error:
            not_sealed = str(error)
    write = partial(
        write_certificate,
        evaluations,
        folder,
        _now(),
        not_begun,
        attached=attached,
        evidence=hashlib.sha256(lists).hexdigest() if lists else "",
        broken=broken,
        extracts=extracts or Extracts(),
    )
    try:
        written = write(finish=finish)
    except KeyUnusable as error:
        written, not_sealed = write(), str(error)
    if not not_sealed:
        not_sealed = seal_certificate(folder) if (folder / EVENTS).is_file() else seal_session(folder)
    if not_sealed and not broken:
        not_whole(folder)
    return written, not_sealed


def _keep_the_one_before(folder: Path, evaluations: Sequence[Evaluation]) -> str:
    """What is sealed with a certificate, or covered by a session's seal, goes into an edition; the evidence is sealed anew.

    "" or why it is not.
    """
    issued = [name for name in CERTIFICATES if (folder / name).is_file()]
    if not issued and not (folder.parent / SUMS).is_file():
        return ""
    was_sealed = (folder / EVIDENCE).is_file()
    keep_edition(folder, issued, "the certificate is issued again" if issued else "a certificate is issued")
    return seal_evidence(folder, digest(), simulated=evaluations[0].simulated) if was_sealed else ""


def _attached(evaluations: Sequence[Evaluation], folder: Path) -> dict[str, bytes]:
    """The evidence that travels with a certificate. Raises RecordError."""
    try:
        if (folder / SESSION).is_file() or (folder / EVENTS).is_file():
            return carried(folder)
        of_runs = [(each.folder.number, carried(each.folder.path)) for each in evaluations]
        return {f"{number}/{name}": piece for number, pieces in of_runs for name, piece in pieces.items()}
    except OSError as error:
        raise RecordError.missing(str(error.filename or folder)) from error


def certificate_in(folder: Path) -> str:
    """Make the certificate of a run folder and give its path. Raises RecordError or SheetError."""
    return certificate_to_show([evaluate(RunFolder.existing(folder))], folder)


def _now() -> str:
    return datetime.datetime.now(datetime.UTC).isoformat()
