"""What all who speak to one address share: the open line, who may speak, and what is known of the last fault."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from runner.bench.framing import Conversation
from runner.bench.line import Line


@dataclass
class Session:
    """One connection. ``lock`` is held by whoever speaks; two threads on one connection swap replies silently.

    ``reached``: it was open at least once, so that something may have been sent. ``said``: what is said once after each
    opening, with the reply.
    """

    line: Line | None = None
    talk: Conversation | None = None
    said: dict[tuple[str, ...], str] = field(default_factory=dict)
    openings: int = 0
    reached: bool = False
    closed: float = -1e30  # on the machine's monotonic clock: when the last line to the outside was closed
    shut_until: float = -1e30  # on the bench's clock: no opening is tried before
    last_fault: str = ""
    old_errors: list[str] = field(default_factory=list)
    lock: threading.RLock = field(default_factory=threading.RLock)
