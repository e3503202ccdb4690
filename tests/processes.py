"""The program in processes of its own against a simulated bench that lives in the test's: what really happened is at hand."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from runner.conduct.clock import ScaledClock
from runner.rehearsal.bench_file import HEATED_BY, bench_text
from runner.rehearsal.simulated_bench import build_world
from runner.twin.server import Servers
from runner.workspace.job import DEMO_PACK, read_file
from tests.builders import SHORT_PROCEDURE, a_file

PROGRAM = [sys.executable, "-m", "runner"]
ANSWERS = "kind: answers\nby: Test Person\nanswers: []\nthen: go on\nwait: 1 s\n"
CATCH_UP_EVERY = 0.2  # s


def until(condition: Callable[[], Any], seconds: float, what: str) -> Any:
    """What the condition gives once it gives something."""
    deadline = time.monotonic() + seconds
    while not (found := condition()):
        assert time.monotonic() < deadline, f"timed out waiting for {what}"
        time.sleep(0.02)
    return found


class LiveBench:
    """A simulated bench on sockets, its time running by itself. Use as a context manager."""

    def __init__(
        self, folder: Path, speed: float, seed: int = 1, scenario: str = "sound", *, actuator: bool = True
    ) -> None:
        self.speed, self.folder = speed, folder
        self._started: list[subprocess.Popen[str]] = []
        self._began = time.monotonic()
        clock = ScaledClock(speed)
        self.world = build_world(read_file(DEMO_PACK), scenario, seed, clock.now)
        self.servers = Servers(self.world)
        self.bench = a_file(
            folder / "bench.yaml", bench_text(self.servers, speed, left_out=() if actuator else HEATED_BY)
        )
        self.short = a_file(folder / "short.yaml", SHORT_PROCEDURE)
        self.answers = a_file(folder / "answers.yaml", ANSWERS)
        self._over = threading.Event()
        self._runner = threading.Thread(target=self._run, daemon=True)
        self._runner.start()

    @property
    def anything_on(self) -> bool:
        return bool(self.world.supply_on or self.world.load_on)

    @property
    def last_off(self) -> float:
        """When something was switched off last, on this machine's monotonic clock, by the bench's own stamp."""
        with self.world.lock:
            off = [float(str(each["t"])) for each in self.world.switched if not each["on"]]
        return self._began + off[-1] / self.speed

    def arguments(self, procedure: str | None = None) -> list[str]:
        """Of a run of the short procedure, or another one, on this bench."""
        names = ["--pack", str(DEMO_PACK), "--bench", str(self.bench), "--plain", "--answers", str(self.answers)]
        return ["run", procedure or str(self.short), *names, "--sensor", "T1", "--out", str(self.folder / "runs")]

    def start(self, *arguments: str) -> subprocess.Popen[str]:
        """The program, its output in pipes."""
        pipes = dict.fromkeys(("stdin", "stdout", "stderr"), subprocess.PIPE)
        self._started.append(subprocess.Popen([*PROGRAM, *arguments], text=True, **pipes))
        return self._started[-1]

    def _run(self) -> None:
        while not self._over.wait(CATCH_UP_EVERY):
            with self.world.lock:  # what piled up while nobody asked would hold up the first answer
                self.world.catch_up()

    def __enter__(self) -> LiveBench:
        return self

    def __exit__(self, *_: object) -> None:
        for process in self._started:
            if process.returncode is None:
                process.kill()
                process.communicate()
        self._over.set()
        self._runner.join()
        self.servers.close()
