"""The station's key: made at its first use, readable by its owner only, named by its fingerprint.

Rule 1: a key that cannot be used never makes a run wait: the run is not sealed, and says why.
Rule 2: a key that is replaced is kept: what it signed can be checked for ever.

Folder: TRIPWITNESS_KEYS, else tripwitness in XDG_CONFIG_HOME, else in ~/.config. TRIPWITNESS_KEY names an existing OpenSSH key
in place of the station's own; with a passphrase, or named by its .pub file, it signs if an SSH agent has it.
TRIPWITNESS_STATION is the name of the station.
"""

from __future__ import annotations

import contextlib
import os
import platform
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, load_ssh_private_key

from runner.errors import TripwitnessError
from runner.seal.agent import AgentRefuses, sign_by_agent
from runner.seal.sshsig import PRIVATE, Signer, sign, signer_of, signer_of_file

OWN = "station_ed25519"
KEPT = ".before-"  # in the name of a key that was replaced


class KeyUnusable(TripwitnessError):
    """The station's key cannot be read or made. What it should have signed is not sealed."""


@dataclass(frozen=True)
class StationKey:
    """A key and whose it is. ``raw`` makes its signature over some bytes."""

    station: str
    signer: Signer
    raw: Callable[[bytes], bytes]

    def sign(self, message: bytes) -> str:
        """A signature over a message, as text. Raises KeyUnusable, within a few seconds."""
        try:
            return sign(message, self.signer, self.raw)
        except (AgentRefuses, ValueError) as error:
            raise KeyUnusable(str(error)) from error

    @property
    def allowed_signers(self) -> str:
        """The line with which ``ssh-keygen -Y verify`` knows this station."""
        return f'{self.station} namespaces="file" {self.signer.line}'


def folder() -> Path:
    """Where keys are kept."""
    if own := os.environ.get("TRIPWITNESS_KEYS"):
        return Path(own)
    config = os.environ.get("XDG_CONFIG_HOME")
    return (Path(config) if config else Path.home() / ".config") / "tripwitness"


def station() -> str:
    """The name under which this station signs: one word."""
    return "-".join((os.environ.get("TRIPWITNESS_STATION") or platform.node() or "station").split())


def station_key() -> StationKey:
    """The key to sign with; made if there is none. Raises KeyUnusable."""
    named = os.environ.get("TRIPWITNESS_KEY")
    path = Path(named) if named else folder() / OWN
    if not named and not path.exists():
        return _made(path)
    try:
        if os.name == "posix" and not named and path.stat().st_mode & 0o077:
            path.chmod(0o600)
        content = path.read_bytes()
        key = load_ssh_private_key(content, None) if content.startswith(PRIVATE.encode()) else None
    except OSError as error:
        raise KeyUnusable(f"cannot be read: {error.strerror or error}", str(path)) from error
    except TypeError:  # it has a passphrase: the agent may have it unlocked
        key = None
    except (ValueError, UnsupportedAlgorithm) as error:
        raise KeyUnusable("is no OpenSSH private key", str(path), "name another key") from error
    if key is None:
        return _held_by_an_agent(path, content)
    if not isinstance(key, Ed25519PrivateKey):
        raise KeyUnusable("is not an Ed25519 key", str(path), "make one with: ssh-keygen -t ed25519")
    return StationKey(station(), signer_of(key), key.sign)


def _held_by_an_agent(path: Path, content: bytes) -> StationKey:
    """A key that is locked here, or only named by its public half."""
    try:
        signer = signer_of_file(content)
    except ValueError as error:
        raise KeyUnusable(f"is no OpenSSH private key: it {error}", str(path), "name another key") from error
    return StationKey(station(), signer, partial(sign_by_agent, signer=signer))


def named_signer() -> Signer | None:
    """The public half of the key that TRIPWITNESS_KEY names, whether it can sign or not; None where it names none."""
    named = os.environ.get("TRIPWITNESS_KEY")
    try:
        return signer_of_file(Path(named).read_bytes()) if named else None
    except (OSError, ValueError):
        return None


def _made(path: Path) -> StationKey:
    key = Ed25519PrivateKey.generate()
    content = key.private_bytes(Encoding.PEM, PrivateFormat.OpenSSH, NoEncryption())
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        beside = path.with_name(f"{path.name}.{os.getpid()}.part")
        descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            os.fsync(file.fileno())
        try:
            os.link(beside, path)  # fails where another process was first: its key is the station's
        except FileExistsError:
            return station_key()
        finally:
            with contextlib.suppress(OSError):
                beside.unlink()
        made = StationKey(station(), signer_of(key), key.sign)
        path.with_name(f"{path.name}.pub").write_text(f"{made.signer.line} {made.station}\n")
    except OSError as error:
        raise KeyUnusable(f"cannot be made: {error.strerror or error}", str(path)) from error
    return made


def rotate() -> StationKey:
    """A new key; the old one is kept beside it, and what it signed stays known. Raises KeyUnusable."""
    old, path = station_key(), folder() / OWN
    name = old.signer.fingerprint.removeprefix("SHA256:")[:12].replace("/", "_").replace("+", "-")
    try:
        for each in (path, path.with_name(f"{OWN}.pub")):
            if each.exists():
                each.rename(each.with_name(f"{OWN}{KEPT}{name}{each.suffix if each.suffix == '.pub' else ''}"))
    except OSError as error:
        raise KeyUnusable(f"cannot be replaced: {error.strerror or error}", str(path)) from error
    return station_key()
