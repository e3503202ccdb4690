"""Keys that an SSH agent holds: asked over its socket, never waited for longer than a few seconds.

The protocol is that of draft-miller-ssh-agent (from memory): a length, a kind, and fields. A request to sign may make the agent
ask a person; who does not answer in time leaves the run not sealed.
"""

from __future__ import annotations

import os
import socket
import struct
import time

from runner.errors import TripwitnessError
from runner.seal.sshsig import Signer, fields_of, string

PATIENCE = 3.0  # s for a whole exchange
LARGEST = 1 << 18  # bytes of a reply
IDENTITIES, IDENTITIES_ANSWER, SIGN, SIGNED = 11, 12, 13, 14
HOW = "add it with: ssh-add FILE"


class AgentRefuses(TripwitnessError):
    """The agent is not there, has not this key, or did not answer in time. Nothing was signed."""


def sign_by_agent(data: bytes, signer: Signer, patience: float = PATIENCE) -> bytes:
    """The raw signature of a key over data. Raises AgentRefuses."""
    kind, reply = _asked(SIGN, string(signer.blob) + string(data) + struct.pack(">I", 0), patience)
    if kind != SIGNED:
        if signer.blob not in held(patience):
            raise AgentRefuses(f"has not the key {signer.fingerprint}", "SSH agent", HOW)
        raise AgentRefuses(f"refuses to sign with {signer.fingerprint}", "SSH agent", "unlock it, or name another key")
    try:
        (signature,) = fields_of(reply, 1)
        _, raw = fields_of(signature, 2)
    except ValueError as error:
        raise AgentRefuses(f"gives no signature: it {error}", "SSH agent", "name another key") from error
    return raw


def held(patience: float = PATIENCE) -> list[bytes]:
    """The public keys an agent has. Raises AgentRefuses."""
    kind, reply = _asked(IDENTITIES, b"", patience)
    if kind != IDENTITIES_ANSWER or len(reply) < 4:
        raise AgentRefuses("does not say which keys it has", "SSH agent", "look with: ssh-add -l")
    try:
        count = struct.unpack(">I", reply[:4])[0]
        return fields_of(reply[4:], 2 * min(count, LARGEST // 8))[::2]
    except ValueError as error:
        raise AgentRefuses(f"gives no list of keys: it {error}", "SSH agent", "look with: ssh-add -l") from error


def _asked(kind: int, body: bytes, patience: float) -> tuple[int, bytes]:
    """The kind of the reply, and its body."""
    path = os.environ.get("SSH_AUTH_SOCK")
    if not path or not hasattr(socket, "AF_UNIX"):
        raise AgentRefuses(
            "there is none (SSH_AUTH_SOCK is not set)", "SSH agent", "start one, or use a key without passphrase"
        )
    deadline = time.monotonic() + patience
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as agent:
            agent.settimeout(patience)
            agent.connect(path)
            agent.sendall(string(bytes([kind]) + body))
            size = struct.unpack(">I", _read(agent, 4, deadline))[0]
            if not 0 < size <= LARGEST:
                raise AgentRefuses(f"gives a reply of {size} bytes", "SSH agent", "look whether it is an SSH agent")
            reply = _read(agent, size, deadline)
    except TimeoutError:
        what = f"did not answer within {patience:g} s (does it wait for a confirmation?)"
        raise AgentRefuses(what, "SSH agent", "use a key that needs none") from None
    except OSError as error:
        raise AgentRefuses(
            f"cannot be reached: {error.strerror or error}", "SSH agent", "look with: ssh-add -l"
        ) from error
    return reply[0], reply[1:]


def _read(agent: socket.socket, size: int, deadline: float) -> bytes:
    found = b""
    while len(found) < size:
        left = deadline - time.monotonic()
        if left <= 0:
            raise TimeoutError
        agent.settimeout(left)
        piece = agent.recv(size - len(found))
        if not piece:
            raise AgentRefuses("ends the connection", "SSH agent", "look with: ssh-add -l")
        found += piece
    return found
