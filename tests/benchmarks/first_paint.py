"""How long until the first screen is whole, against a bare Textual application; and --help against importing argparse.

    python tests/benchmarks/first_paint.py [--times 7]

Each command is started in a pseudo-terminal of 80 × 24 and timed until the last words of its first screen have come. The
bare application has a header, a table of five rows and a footer. Printed: medians as ratios.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import pty
import re
import select
import signal
import statistics
import struct
import subprocess
import sys
import termios
import time
from pathlib import Path

PROGRAM = Path(sys.executable).parent / "tripwitness"
BARE = """
from textual.app import App
from textual.widgets import DataTable, Footer, Header
class Bare(App):
    BINDINGS = [("q", "quit", "Leave")]
    def compose(self):
        yield Header()
        yield DataTable()
        yield Footer()
    def on_mount(self):
        table = self.query_one(DataTable)
        table.add_columns("one", "two")
        for number in range(5):
            table.add_row(str(number), "row-" + str(number))
Bare().run()
"""
CODES = re.compile(rb"\x1b\[[0-9;?<>=]*[a-zA-Z]")


def until_painted(command: list[str], words: bytes) -> float:
    """Seconds from the start until the words are on the screen. Raises TimeoutError."""
    began = time.monotonic()
    process, terminal = pty.fork()
    if process == 0:
        os.environ |= {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
        os.execv(command[0], command)
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    seen = b""
    try:
        while time.monotonic() < began + 30:
            if select.select([terminal], [], [], 0.5)[0]:
                seen += os.read(terminal, 65536)
                if words in CODES.sub(b"", seen):
                    return time.monotonic() - began
    finally:
        os.kill(process, signal.SIGKILL)
        os.waitpid(process, 0)
        os.close(terminal)
    raise TimeoutError(f"{command} never showed {words!r}")


def taken(command: list[str]) -> float:
    began = time.monotonic()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return time.monotonic() - began


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=7)
    times = parser.parse_args().times
    bare, ours, plain, helped = [], [], [], []
    for _ in range(times):  # in turns, so that a busy moment meets all of them
        bare.append(until_painted([sys.executable, "-c", BARE], b"row-4"))
        ours.append(until_painted([str(PROGRAM)], b"F1"))
        plain.append(taken([sys.executable, "-c", "import argparse"]))
        helped.append(taken([str(PROGRAM), "--help"]))
    paint = statistics.median(ours) / statistics.median(bare)
    usage = statistics.median(helped) / statistics.median(plain)
    print(f"first screen: {paint:.2f} × a bare application ({statistics.median(ours):.2f} s of {times} starts)")
    print(f"--help:       {usage:.2f} × importing argparse ({statistics.median(helped):.3f} s)")
    return 0 if paint <= 3 and usage <= 2 else 1


if __name__ == "__main__":
    sys.exit(main())
