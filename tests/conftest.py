"""Of all tests: what is signed in them is signed with a key of their own."""

import os

import pytest

WORKERS = 4  # of .ci/check
# the longest files, each begun first by one of the workers: what is left at the end is short
LONGEST = (
    "conduct/test_session.py",
    "conduct/test_every_procedure.py",
    "cli/test_two_processes.py",
    "faults/test_kills.py",
    "cli/test_instruments.py",
    "conduct/test_by_hand.py",
    "conduct/test_resume.py",
    "conduct/test_packs.py",
)


def pytest_collection_modifyitems(items):
    """A worker begins with its share of the list, in order, and steals from the others when it is done."""
    if not os.environ.get("LONG_JOBS"):
        for item in items:
            if item.get_closest_marker("long"):
                item.add_marker(pytest.mark.skip("one of the long ones: they run with LONG_JOBS=1"))
    long = {name: [item for item in items if item.path.as_posix().endswith(f"tests/{name}")] for name in LONGEST}
    taken = {id(item) for found in long.values() for item in found}
    rest = [item for item in items if id(item) not in taken]
    ordered = []
    for worker in range(WORKERS):
        for name in LONGEST[worker::WORKERS]:
            ordered += long[name]
        ordered += rest[worker * len(rest) // WORKERS : (worker + 1) * len(rest) // WORKERS]
    items[:] = ordered


@pytest.fixture(scope="session", autouse=True)
def keys_of_the_tests(tmp_path_factory):
    os.environ["TRIPWITNESS_KEYS"] = str(tmp_path_factory.mktemp("keys"))
    os.environ["TRIPWITNESS_STATION"] = "bench-of-the-tests"
