"""SSH signatures over files, Ed25519, as ``ssh-keygen -Y sign`` makes them and ``ssh-keygen -Y verify`` checks them.

The format is OpenSSH's PROTOCOL.sshsig: what is signed is "SSHSIG", the namespace, an empty field, the hash's name and the
hash of the message; the public key travels in the signature. Keys are those of RFC 8709.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import struct
import textwrap
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

MAGIC, VERSION = b"SSHSIG", 1
NAMESPACE, KIND = "file", "ssh-ed25519"
HASHES = {"sha512": hashlib.sha512, "sha256": hashlib.sha256}
BEGIN, END = "-----BEGIN SSH SIGNATURE-----", "-----END SSH SIGNATURE-----"


@dataclass(frozen=True)
class Signer:
    """Who made a signature: the public key as 32 bytes."""

    raw: bytes

    @property
    def blob(self) -> bytes:
        """The public key as it stands in files and signatures."""
        return _string(KIND.encode()) + _string(self.raw)

    @property
    def line(self) -> str:
        """Kind and key as a line of an ``allowed_signers`` or ``.pub`` file has them."""
        return f"{KIND} {base64.b64encode(self.blob).decode()}"

    @property
    def fingerprint(self) -> str:
        """SHA256:… as ``ssh-keygen -l`` shows it."""
        return "SHA256:" + base64.b64encode(hashlib.sha256(self.blob).digest()).decode().rstrip("=")


def signer_of(key: Ed25519PrivateKey) -> Signer:
    """The public half of a key."""
    return Signer(key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw))


def signer_in(line: str) -> Signer:
    """The key in "ssh-ed25519 AAAA… comment". Raises ValueError."""
    fields = line.split()
    if len(fields) < 2 or fields[0] != KIND:
        raise ValueError(f"is no {KIND} key")
    return _signer(_decoded(fields[1]))


def sign(message: bytes, key: Ed25519PrivateKey) -> str:
    """A signature over a message, as text."""
    digest = hashlib.sha512(message).digest()
    made = _string(KIND.encode()) + _string(key.sign(_signed(NAMESPACE, "sha512", digest)))
    fields = (signer_of(key).blob, NAMESPACE.encode(), b"", b"sha512", made)
    blob = MAGIC + struct.pack(">I", VERSION) + b"".join(map(_string, fields))
    return _armoured(blob)


def checked(message: bytes, signature: str) -> Signer:
    """Who signed this message. Raises ValueError: no signature, another format, or made over something else."""
    lines = [line.strip() for line in signature.strip().splitlines()]
    if len(lines) < 3 or lines[0] != BEGIN or lines[-1] != END:
        raise ValueError("is no SSH signature")
    blob = _decoded("".join(lines[1:-1]))
    if blob[: len(MAGIC)] != MAGIC or blob[len(MAGIC) : len(MAGIC) + 4] != struct.pack(">I", VERSION):
        raise ValueError("is no SSH signature of this version")
    key, namespace, _, hash_name, made = _strings(blob[len(MAGIC) + 4 :], 5)
    name = hash_name.decode("ascii", "replace")
    if namespace != NAMESPACE.encode() or name not in HASHES:
        raise ValueError(f"is a signature for another use ({namespace.decode('ascii', 'replace')}, {name})")
    kind, raw = _strings(made, 2)
    if signature != _armoured(blob):
        raise ValueError("is not written as an SSH signature is: it was changed")
    signer = _signer(key)
    if kind != KIND.encode():
        raise ValueError(f"is no {KIND} signature")
    try:
        digest = HASHES[name](message).digest()
        Ed25519PublicKey.from_public_bytes(signer.raw).verify(raw, _signed(NAMESPACE, name, digest))
    except InvalidSignature:
        raise ValueError("does not fit the file: one of them was changed") from None
    return signer


def _armoured(blob: bytes) -> str:
    body = "\n".join(textwrap.wrap(base64.b64encode(blob).decode(), 70))
    return f"{BEGIN}\n{body}\n{END}\n"


def _signed(namespace: str, name: str, digest: bytes) -> bytes:
    return MAGIC + b"".join(map(_string, (namespace.encode(), b"", name.encode(), digest)))


def _signer(blob: bytes) -> Signer:
    kind, raw = _strings(blob, 2)
    if kind != KIND.encode() or len(raw) != 32:
        raise ValueError(f"is no {KIND} key")
    return Signer(raw)


def _string(content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + content


def _strings(blob: bytes, count: int) -> list[bytes]:
    found = []
    for _ in range(count):
        if len(blob) < 4 or len(blob) - 4 < (size := struct.unpack(">I", blob[:4])[0]):
            raise ValueError("is cut off")
        found.append(blob[4 : 4 + size])
        blob = blob[4 + size :]
    if blob:
        raise ValueError("has something behind its end")
    return found


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        raise ValueError("is not base64") from None
