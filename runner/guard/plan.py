"""What the guard is told when it starts, and how that travels: one line of JSON."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from typing import Any

from runner.bench.off import Asked, OffWords
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring

PATIENCE = 2.0  # s of real time by which a beat or an announced deadline may be late


@dataclass(frozen=True)
class Target:
    """One instrument to be switched off: how it is reached, the ready-made words, and what it has to hear before it listens."""

    role: str
    wiring: Wiring
    words: OffWords
    start: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plan:
    """``runner`` is its process id, ``pulse`` and ``terminal`` are inherited file descriptors (terminal -1: there is none)."""

    runner: int
    targets: tuple[Target, ...]
    pulse: int
    terminal: int = -1
    patience: float = PATIENCE

    def line(self) -> str:
        """As one line."""
        return json.dumps(dataclasses.asdict(self))

    @classmethod
    def of(cls, line: str) -> Plan:
        """Back from a line."""
        content = json.loads(line)
        targets = tuple(
            Target(each["role"], Wiring.of(each["wiring"]), _words(each["words"]), tuple(each["start"]))
            for each in content.pop("targets")
        )
        return cls(targets=targets, **content)


def _words(content: dict[str, Any]) -> OffWords:
    asked = {name: _asked(content[name]) for name in ("state", "current")}
    return OffWords(**{**content, **asked, "each": tuple(content["each"])})


def _asked(content: dict[str, Any] | None) -> Asked | None:
    return None if content is None else Asked(**{**content, "reading": Reading(**content["reading"])})
