"""The installed command in a terminal of its own (tmux): keys go in, what stands on its screen comes out."""

import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

PROGRAM = Path(sys.executable).parent / "tripwitness"
NEEDS_TMUX = pytest.mark.skipif(
    shutil.which("tmux") is None or not PROGRAM.exists(), reason="needs tmux and the installed command"
)


class Terminal:
    """A terminal of its own, on a socket of its own."""

    def __init__(self, folder, size=(80, 24)):
        self.socket, self.keys = str(folder / "tmux"), 0
        columns, rows = size
        self._tmux("new-session", "-d", "-s", "t", "-x", str(columns), "-y", str(rows), "-c", str(folder), "sh")
        self._tmux("send-keys", "-t", "t", "-l", f"PS1='$ '; TERM=screen-256color; export TERM; {PROGRAM}")

    def begin(self, arguments=""):
        self._tmux("send-keys", "-t", "t", "-l", f" {arguments}")
        self._tmux("send-keys", "-t", "t", "Enter")

    def press(self, *keys):
        for key in keys:
            self.keys += 1
            self._tmux("send-keys", "-t", "t", key)

    @property
    def screen(self):
        return self._tmux("capture-pane", "-p", "-t", "t")

    def shows(self, words, seconds=60):
        deadline = time.monotonic() + seconds
        while words not in self.screen:
            assert time.monotonic() < deadline, f"timed out waiting for {words!r}\n{self.screen}"
            time.sleep(0.1)

    @property
    def programs(self):
        """The process ids of what runs in here."""
        shell = self._tmux("display-message", "-p", "-t", "t", "#{pane_pid}").strip()
        return [int(each) for each in Path(f"/proc/{shell}/task/{shell}/children").read_text().split()]

    def close(self):
        """The window is closed, as by a person or a broken connection."""
        subprocess.run(["tmux", "-S", self.socket, "kill-server"], check=False, capture_output=True)

    def _tmux(self, *arguments):
        command = ["tmux", "-S", self.socket, "-f", "/dev/null", *arguments]
        return subprocess.run(command, check=True, capture_output=True, text=True).stdout
