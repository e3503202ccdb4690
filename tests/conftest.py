"""Of all tests: what is signed in them is signed with a key of their own."""

import os

import pytest


@pytest.fixture(scope="session", autouse=True)
def keys_of_the_tests(tmp_path_factory):
    os.environ["TRIPWITNESS_KEYS"] = str(tmp_path_factory.mktemp("keys"))
    os.environ["TRIPWITNESS_STATION"] = "bench-of-the-tests"
