"""What the watcher says."""

from __future__ import annotations

from dataclasses import dataclass

from runner.vocabulary import Explanation


@dataclass(frozen=True)
class Verdict:
    """A word and the evidence for it. ``since`` is the time of the first sample that showed it, in s.

    ``between`` are the two explanations that it cannot tell apart, where a person may.
    """

    word: str
    why: str
    since: float
    between: tuple[Explanation, ...] = ()
