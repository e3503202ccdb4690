"""Where the machine stood still a test is tried again; where it did not, a failure is one."""

import contextlib
import os
import signal
import subprocess
import sys
import time

import pytest

from tests import stalls

CODE = """
import sys, time
from tests.stalls import Stalls
with Stalls() as stalls:
    print("ready", flush=True)
    sys.stdin.readline()
    time.sleep(0.1)
print(stalls.longest)
"""


def test_a_process_that_was_halted_knows_for_how_long():
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen([sys.executable, "-c", CODE], **pipes) as process:
        process.stdout.readline()
        time.sleep(0.1)
        os.kill(process.pid, signal.SIGSTOP)
        time.sleep(0.6)
        os.kill(process.pid, signal.SIGCONT)
        said, _ = process.communicate("on\n")
    assert float(said) > 0.5


@pytest.mark.parametrize(("longest", "tries"), [(1.0, stalls.TIMES), (0.2, 1)])
def test_a_failure_is_tried_again_only_after_a_stall(tmp_path, monkeypatch, longest, tries):
    class Stood:
        def __enter__(self):
            self.longest = longest
            return self

        def __exit__(self, *error):
            pass

    monkeypatch.setattr(stalls, "Stalls", Stood)
    folders = []

    @stalls.again_after_a_stall(contextlib.nullcontext)
    def fails(tmp_path, world):
        folders.append(tmp_path)
        raise AssertionError("always")

    with pytest.raises(AssertionError, match="always"):
        fails(tmp_path)
    assert len(set(folders)) == tries
