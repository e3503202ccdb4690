"""What every screen can say: the list of its keys, and that a screen has failed."""

from __future__ import annotations

COLOURS = "next colours of the screen"
DEFECT = "program error in Tripwitness"


def keys_head(*, stops: bool) -> str:
    """The first line of the list of keys; ``stops``: F8 ends a run that goes on now."""
    return f"F1 closes this list.{' F8 stops the run.' if stops else ''}"
