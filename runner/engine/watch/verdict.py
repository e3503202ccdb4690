"""What the watcher says."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Verdict:
    """A word and the evidence for it. ``since`` is the time of the first sample that showed it, in s."""

    word: str
    why: str
    since: float
