"""Keys with a passphrase and keys in an agent seal without a question, or say within seconds why they do not.

The agent is OpenSSH's own; those that hang, refuse or talk nonsense are ours. A run that cannot be sealed is told so, and no
half of a seal is left.
"""

import os
import shutil
import socket
import struct
import subprocess
import threading
import time

import pytest

from runner.certifying import certificate_of
from runner.seal import agent
from runner.seal.sealing import SEALS, seal_evidence
from runner.seal.signers import known
from runner.seal.sshsig import checked, signer_in
from runner.seal.station_key import KeyUnusable, station_key
from runner.seal.verify import verify
from tests.tampering import copied

needs_ssh = pytest.mark.skipif(not shutil.which("ssh-agent"), reason="no ssh-agent here")


@pytest.fixture
def locked(tmp_path, monkeypatch):
    """A key with a passphrase, named for sealing."""
    if not shutil.which("ssh-keygen"):
        pytest.skip("no ssh-keygen here")
    path = tmp_path / "locked"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "secret", "-f", str(path)], check=True)
    monkeypatch.setenv("TRIPWITNESS_KEY", str(path))
    monkeypatch.delenv("SSH_AUTH_SOCK", raising=False)
    return path


@pytest.fixture
def real_agent(tmp_path, monkeypatch, locked):
    """OpenSSH's agent with the key unlocked in it."""
    path = tmp_path / "agent"
    process = subprocess.Popen(["ssh-agent", "-D", "-a", str(path)], stdout=subprocess.DEVNULL)
    try:
        deadline = time.monotonic() + 10
        while not path.exists():
            assert time.monotonic() < deadline
            time.sleep(0.01)
        monkeypatch.setenv("SSH_AUTH_SOCK", str(path))
        ask = tmp_path / "ask"
        ask.write_text("#!/bin/sh\necho secret\n")
        ask.chmod(0o700)
        asked = {**os.environ, "SSH_ASKPASS": str(ask), "SSH_ASKPASS_REQUIRE": "force", "DISPLAY": ":0"}
        subprocess.run(
            ["ssh-add", "-q", str(locked)], env=asked, check=True, capture_output=True, stdin=subprocess.DEVNULL
        )
        yield
    finally:
        process.terminate()
        process.wait(10)


@needs_ssh
@pytest.mark.parametrize("named", ["", ".pub"])
def test_a_key_that_an_agent_has_unlocked_seals(sealed, tmp_path, monkeypatch, real_agent, locked, named, no_pdf):
    monkeypatch.setenv("TRIPWITNESS_KEY", f"{locked}{named}")
    signer = signer_in((tmp_path / "locked.pub").read_text())
    assert checked(b"evidence\n", station_key().sign(b"evidence\n")) == signer
    folder = copied(sealed, tmp_path)
    certificate_of([folder])
    found = verify(folder, known())
    assert (found.status, found.differences) == (0, [])
    assert any(signer.fingerprint in each for each in found.said)
    subprocess.run(["ssh-add", "-q", "-D"], check=True, capture_output=True)
    with pytest.raises(KeyUnusable, match="has not the key SHA256:"):
        station_key().sign(b"evidence\n")


def unsealed(folder):
    for name in SEALS:
        (folder / name).unlink(missing_ok=True)
    shutil.rmtree(folder / "editions", ignore_errors=True)
    return folder


def test_without_an_agent_a_locked_key_leaves_the_run_not_sealed_and_says_why(sealed, tmp_path, locked, no_pdf, capsys):
    folder = unsealed(copied(sealed, tmp_path))
    why = seal_evidence(folder, "", simulated=True)
    assert "SSH_AUTH_SOCK is not set" in why
    assert not any((folder / name).exists() for name in (*SEALS, "sealing.part"))
    folder = copied(sealed, tmp_path / "other")
    certificate_of([folder])
    assert "not sealed: SSH agent: there is none" in capsys.readouterr().out
    found = verify(folder, known())
    assert (found.status, found.differences) == (3, []), "nothing has changed; what was issued is not sealed"


def hangs(connection):
    time.sleep(1.0)


def ends(connection):
    connection.recv(100)


def refuses(connection):
    connection.recv(1000)
    connection.sendall(struct.pack(">IB", 1, 5))


def talks_nonsense(connection):
    connection.recv(1000)
    connection.sendall(struct.pack(">I", 9) + bytes([agent.SIGNED]) + b"\xff" * 8)


def talks_for_ever(connection):
    connection.sendall(struct.pack(">I", 1 << 31) + b"x" * 1000)


def signs_something_else(connection):
    connection.recv(1000)
    fields = b"".join(struct.pack(">I", len(each)) + each for each in (b"ssh-ed25519", b"\0" * 64))
    body = bytes([agent.SIGNED]) + struct.pack(">I", len(fields)) + fields
    connection.sendall(struct.pack(">I", len(body)) + body)


@pytest.mark.parametrize("does", [hangs, ends, refuses, talks_nonsense, talks_for_ever, signs_something_else])
def test_an_agent_that_does_not_sign_is_not_waited_for(tmp_path, monkeypatch, locked, does):
    monkeypatch.setattr("runner.seal.agent.PATIENCE", 0.3)
    monkeypatch.setattr("runner.seal.agent.sign_by_agent.__defaults__", (0.3,))
    monkeypatch.setattr("runner.seal.agent.held.__defaults__", (0.3,))
    path = tmp_path / "agent"
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as server:
        server.bind(str(path))
        server.listen()

        def serve():
            while True:
                try:
                    connection, _ = server.accept()
                except OSError:
                    return
                with connection:
                    does(connection)

        threading.Thread(target=serve, daemon=True).start()
        monkeypatch.setenv("SSH_AUTH_SOCK", str(path))
        began = time.monotonic()
        with pytest.raises(KeyUnusable):
            station_key().sign(b"evidence\n")
        assert time.monotonic() - began < 2.5
