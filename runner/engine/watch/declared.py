"""How a pack's path opens, as far as its sheet says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class DeclaredPath:
    """``residual`` is the current, in A, that still flows while a path is open: no more than that is an open path, more is none.

    ``retry_every``: how often, in s, an open path tries by itself whether it may close; 0 if nobody says that it does.
    ``derates``: the paths on which the pack asks for less before it trips.
    """

    residual: float = 0.0
    retry_every: float = 0.0
    derates: tuple[str, ...] = ()

    @property
    def longest_try(self) -> float:
        """How long a try may last, in s: less than half of the time from one to the next."""
        return self.retry_every / 2

    @classmethod
    def kept(cls, content: Mapping[str, Any]) -> DeclaredPath:
        """As a run's resolved.json has it; runs from before it was asked for have nothing."""
        derates = tuple(content.get("derates", ()))
        return cls(float(content.get("residual", 0.0)), float(content.get("retry_every", 0.0)), derates)


SILENT = DeclaredPath()
