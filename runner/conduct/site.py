"""Where runs are carried out, and what stands behind the runner there."""

from __future__ import annotations

from dataclasses import dataclass

from runner.bench.assembly import Connect
from runner.conduct.interfaces import Clock
from runner.workspace.locks import Locks


@dataclass(frozen=True)
class Site:
    """Where runs are carried out: the clock, how instruments are reached, and what stands behind the runner there.

    ``connect`` makes transports in place of PyVISA's. ``locks`` are those of the command that runs, None where nobody else
    can reach the bench. ``guarded``: the bench outlives this process, so a guard is started. ``simulated``: the command
    itself made the bench.
    """

    clock: Clock
    connect: Connect | None = None
    locks: Locks | None = None
    guarded: bool = False
    simulated: bool = False
