"""The simulated bench as a process of its own, until it is told to end."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from pathlib import Path

from runner.conduct.clock import ScaledClock
from runner.record.folder import write_whole
from runner.rehearsal.bench_file import bench_text
from runner.rehearsal.bench_size import size_for
from runner.rehearsal.simulated_bench import build_world, write_truth
from runner.sheets.pack import parse_pack
from runner.twin.server import Servers
from runner.workspace.job import DEMO_PACK, read_file

TRUTH_EVERY = 0.5  # s of wall time


def listen(
    pack: str | None,
    scenario: str,
    seed: int,
    speed: float,
    port: int,
    bench_file: str,
    truth: str | None,
    say: Callable[[str], None],
) -> int:
    """Serve until SIGINT or SIGTERM; exit status 0.

    Raises SheetError if the pack sheet is wrong and RecordError if the bench file cannot be written; then nothing listens.
    """
    clock = ScaledClock(speed)
    sheet = read_file(Path(pack) if pack else DEMO_PACK)
    world = build_world(sheet, scenario, seed, clock.now)
    size = size_for(parse_pack(sheet.text, sheet.name))
    over = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: over.set())
    with Servers(world, port) as servers:
        write_whole(Path(bench_file), bench_text(servers, speed, size=size).encode())
        for role in servers.roles:
            say(f"{role:8} {servers.address(role)}")
        say(f"bench file: {bench_file}; end with Ctrl-C")
        while not over.wait(TRUTH_EVERY):
            with world.lock:  # what piled up while nobody asked would hold up the first answer
                world.catch_up()
            if truth:
                write_truth(world, Path(truth))
        if truth:
            write_truth(world, Path(truth))
    return 0
