"""What is chosen on the first screen, for whoever carries it out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

WATCH, REHEARSE, RUN = "watch", "rehearse", "run"


@dataclass(frozen=True)
class Choice:
    """What is to be carried out: a rehearsal to watch or to play through, or procedures on a pack. No names: all of them."""

    what: str
    pack: Path | None = None
    bench: Path | None = None
    procedures: tuple[str, ...] = ()
    operator: str = ""  # who operates the bench in this session, where it was asked
