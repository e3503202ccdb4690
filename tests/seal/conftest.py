"""A sealed run and a sealed session with their certificates, made once and only looked at or copied."""

import pytest

from runner.seal.station_key import station_key
from tests.made_once import made_once
from tests.tampering import sealed_run, sealed_session


def _made(factory, name, make):
    folder, inside = made_once(factory, f"{name}-{station_key().signer.raw.hex()[:8]}", lambda to: make(to).name)
    return folder / inside


@pytest.fixture(scope="session")
def sealed(tmp_path_factory):
    """A run with its certificate, issued twice."""
    return _made(tmp_path_factory, "sealed", sealed_run)


@pytest.fixture(scope="session")
def sealed_as_session(tmp_path_factory):
    """A session of two runs with its certificate, issued twice."""
    return _made(tmp_path_factory, "session", sealed_session)


@pytest.fixture
def no_pdf(monkeypatch):
    """Certificates as HTML only, which is quick."""
    monkeypatch.setattr("reports.certificate.write_pdf", lambda *_: "not asked for")
