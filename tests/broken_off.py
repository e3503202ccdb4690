"""Plays a run that is killed: what is on disk at an instant is all that is left, and somebody switches the bench off."""

from __future__ import annotations

import shutil
import threading
from dataclasses import dataclass
from pathlib import Path

from runner.conduct.clock import VirtualClock
from runner.conduct.execute import Result, execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.resume import broken_off
from runner.conduct.site import Site
from runner.record.folder import RunFolder
from runner.rehearsal.scripted import UNATTENDED, ScriptedOperator
from runner.rehearsal.simulated_bench import Rehearsal
from runner.twin.world import World
from runner.workspace.job import DEMO_PACK, Job, UserFile, read_file


class Killed(BaseException):
    """Nobody catches this but the test."""


class KillingClock(VirtualClock):
    """A clock that takes a picture of the run's folder at an instant, and then ends the process, as far as it can."""

    def __init__(self, instant: float) -> None:
        super().__init__()
        self.instant, self.original, self.picture = instant, Path(), Path()
        self.killed = False
        self._runner = threading.get_ident()  # the instruments, in threads of their own, live on

    def sleep(self, seconds: float) -> None:
        mine = threading.get_ident() == self._runner
        if mine and not self.killed and self.now() >= self.instant and self.original.name:
            self.killed = True
            shutil.copytree(self.original, self.picture)
            raise Killed
        super().sleep(seconds)


@dataclass
class Broken:
    """A run that was killed: the folder as it was on disk, the bench that is still there, and the clock."""

    folder: RunFolder
    rehearsal: Rehearsal
    clock: KillingClock
    job: Job

    @property
    def world(self) -> World:
        return self.rehearsal.world


def broken_run(
    out: Path,
    procedure: UserFile,
    instant: float,
    scenario: str = "sound",
    seed: int = 1,
    *,
    state_of_charge: float | None = None,
    sensors: tuple[str, ...] = ("T1",),
) -> Broken:
    """Run until ``instant`` (s) and be killed there. The caller closes ``rehearsal`` by going on."""
    clock = KillingClock(instant)
    rehearsal = Rehearsal(read_file(DEMO_PACK), scenario, seed, clock, sockets=False)
    world = rehearsal.world
    if state_of_charge is not None:
        moved = state_of_charge - world.truth.pack.soc
        world.pack.cell_socs = [soc + moved for soc in world.pack.cell_socs]
    job = rehearsal.job(procedure, sensors)
    clock.picture = out / "picture"

    def began(folder: RunFolder) -> None:
        clock.original = folder.path

    try:
        operator = ScriptedOperator(UNATTENDED, eyes=rehearsal.eyes)
        execute(job, operator, Site(clock, rehearsal.connect, simulated=True), out / "run", StopFlag(), began=began)
    except Killed:
        pass
    else:
        rehearsal.servers.close()
        raise AssertionError(f"the run was over before {instant} s")
    with world.lock:
        world.catch_up()
        world.switch_supply(False)
        world.switch_load(False)
        world.hands.told("still", "", 0.0)
    return Broken(RunFolder.existing(clock.picture), rehearsal, clock, job)


def gone_on(broken: Broken, after: float = 1800.0) -> Result:
    """Go on with it after a break of ``after`` seconds, to the end."""
    clock, rehearsal = broken.clock, broken.rehearsal
    with rehearsal:
        clock.sleep(after)
        with rehearsal.world.lock:
            rehearsal.world.catch_up()  # hours of a simulated pack take longer than a reply may
        job, resumption = broken_off(broken.folder, rehearsal.bench)
        operator = ScriptedOperator(UNATTENDED, eyes=rehearsal.eyes)
        return execute(
            job,
            operator,
            Site(clock, rehearsal.connect, simulated=True),
            broken.folder.path.parent,
            StopFlag(),
            folder=broken.folder,
            resumption=resumption,
        )
