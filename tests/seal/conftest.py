"""A sealed run with its certificate, made once and only looked at or copied."""

import pytest

from runner.certifying import make_certificate
from runner.evaluation.evaluate import evaluate
from runner.seal.station_key import station_key
from tests.builders import short_rehearsal
from tests.made_once import made_once


@pytest.fixture(scope="session")
def sealed(tmp_path_factory):
    """A run with its certificate, issued twice."""

    def make(folder):
        made = short_rehearsal(folder).result
        for _ in range(2):
            make_certificate([evaluate(made.folder)], made.folder.path)
        return

    root, _ = made_once(tmp_path_factory, f"sealed-{station_key().signer.raw.hex()[:8]}", make)
    (folder,) = root.iterdir()
    return folder


@pytest.fixture
def no_pdf(monkeypatch):
    """Certificates as HTML only, which is quick."""
    monkeypatch.setattr("reports.certificate.write_pdf", lambda *_: "not asked for")
