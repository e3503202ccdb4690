"""One runner for an instrument and for a run folder. The second is told who has it.

A lock is a file in the user's runtime folder that is held open, so it goes with its process, however that ends; the guard
shares it until everything is off. What is written in the file is only for people.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import os
import re
import socket
import tempfile
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType

from runner.errors import Busy, RecordError

OWN_TIME = 2.0  # s that another part of this process is given to let go
RESOLVE_TIME = 2.0  # s that looking up a host's name may take


class Locks:
    """Locks that were taken, until ``close`` or the end of the process. Use as a context manager."""

    def __init__(self, doing: str) -> None:
        """``doing`` is what whoever comes second is told, such as "a run of charge-over-temperature"."""
        self._doing = doing
        self._held: dict[Path, int] = {}

    def instrument(self, role: str, address: str) -> None:
        """Lock an instrument by where its address leads. Raises Busy or RecordError."""
        self._take(f"address {resolved(address)}", f"{role} at {address}")

    def instruments(self, addresses: Iterable[tuple[str, str]]) -> None:
        """Lock every (role, address). Raises Busy or RecordError; then nothing stays locked."""
        try:
            for role, address in addresses:
                self.instrument(role, address)
        except (Busy, RecordError):
            self.close()
            raise

    def folder(self, path: Path) -> None:
        """Lock a run folder or a session. Raises Busy or RecordError."""
        self._take(f"folder {path.resolve()}", str(path))

    @property
    def descriptors(self) -> tuple[int, ...]:
        """For a process that shares the locks."""
        return tuple(self._held.values())

    def close(self) -> None:
        """Let go of everything."""
        for fd in self._held.values():
            with contextlib.suppress(OSError):
                os.close(fd)
        self._held.clear()

    def __enter__(self) -> Locks:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _take(self, key: str, shown: str) -> None:
        path = _lock_of(key)
        if path in self._held:
            return  # two roles of one instrument
        try:
            fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        except OSError as error:
            raise RecordError.cannot_write(str(path), error.strerror or str(error)) from error
        until = time.monotonic() + OWN_TIME
        while not _locked(fd):
            holder = _read(path)
            if holder.startswith(f"process {os.getpid()} ") and time.monotonic() < until:
                time.sleep(0.05)  # another part of this process that is about to let go
                continue
            os.close(fd)
            raise Busy.by_guard(shown, holder) if _is_gone(holder) else Busy.held(shown, holder or "another process")
        since = datetime.datetime.now().astimezone().isoformat(" ", "seconds")
        with contextlib.suppress(OSError):  # the lock counts, not the text
            os.truncate(path, 0)
            os.write(fd, f"process {os.getpid()} ({self._doing}) since {since}\n".encode())
        self._held[path] = fd


def is_held(folder: Path) -> bool:
    """Whether a process, or the guard of one, has this run folder or session now. It is asked by taking the lock for an instant."""
    with contextlib.suppress(RecordError, OSError):
        fd = os.open(_lock_of(f"folder {folder.resolve()}"), os.O_RDWR | getattr(os, "O_CLOEXEC", 0))
        try:
            return not _locked(fd)
        finally:
            os.close(fd)
    return False


def resolved(address: str) -> str:
    """An address in its one canonical form, the host's name looked up where that is quickly done."""
    from pyvisa import errors, rname

    if port := re.fullmatch(r"(?:ASRL|MODBUS::)(/[^:]+)(?:::INSTR)?", address, re.IGNORECASE):
        return f"port {Path(port[1]).resolve()}"  # whatever is spoken there, and whichever of its names is given
    try:
        parts = rname.to_canonical_name(address).split("::")
    except (rname.InvalidResourceName, errors.Error, ValueError):
        return address.lower()
    if parts[0].upper().startswith("TCPIP") and len(parts) > 1:
        parts[1] = _looked_up(parts[1])
    return "::".join(parts).lower()


def runtime_folder() -> Path:
    """The user's folder for what lives as long as a process. Raises RecordError if there can be none."""
    base = os.environ.get("XDG_RUNTIME_DIR", "")
    user = str(os.getuid()) if hasattr(os, "getuid") else os.environ.get("USERNAME", "user")
    given = Path(base) if base else Path("/run/user") / user
    path = (
        given / "tripwitness"
        if given.is_dir() and os.access(given, os.W_OK)
        else Path(tempfile.gettempdir()) / f"tripwitness-{user}"
    )
    try:
        path.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise RecordError.cannot_write(str(path), error.strerror or str(error)) from error
    return path


def _lock_of(key: str) -> Path:
    return runtime_folder() / f"{hashlib.sha256(key.encode()).hexdigest()[:24]}.lock"


def _read(path: Path) -> str:
    try:
        return path.read_text("utf-8", "replace").strip()
    except OSError:
        return ""


def _is_gone(holder: str) -> bool:
    """Whether the process that wrote itself into a lock has ended: then its guard has the lock."""
    number = re.match(r"process (\d+) ", holder)
    if number is None or os.name != "posix":  # elsewhere there is no guard, and signal 0 is not only a question
        return False
    try:
        os.kill(int(number[1]), 0)
    except ProcessLookupError:
        return True
    except OSError:  # somebody else's
        return False
    return False


def _looked_up(host: str) -> str:
    found: list[str] = []

    def look() -> None:
        with contextlib.suppress(OSError, UnicodeError):
            found.append(socket.gethostbyname(host))

    thread = threading.Thread(target=look, name="look up", daemon=True)
    thread.start()
    thread.join(RESOLVE_TIME)
    return next(iter(found), host)


def _locked(fd: int) -> bool:
    try:
        import fcntl
    except ImportError:
        return _locked_on_windows(fd)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _locked_on_windows(fd: int) -> bool:
    import importlib

    msvcrt = importlib.import_module("msvcrt")
    try:
        os.lseek(fd, 1 << 20, os.SEEK_SET)  # far behind the text, which stays readable
        msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        os.lseek(fd, 0, os.SEEK_SET)
    except OSError:
        return False
    return True
