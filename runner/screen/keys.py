"""One table of keys: action, keys, id, what the footer and the help say. A foot switch types Enter."""

from __future__ import annotations

from textual.binding import Binding

KEYS: tuple[Binding, ...] = (
    Binding(
        "enter,space,g",
        "go_on",
        "Go on",
        id="go-on",
        key_display="Enter",
        tooltip="agree at a hold point",
        priority=True,
    ),
    Binding(
        "x,escape",
        "stop",
        "STOP",
        id="stop",
        key_display="x",
        tooltip="end the run: supply and load off",
        priority=True,
    ),
    Binding(
        "q,ctrl+q,ctrl+c",
        "leave",
        "Leave",
        id="leave",
        key_display="q",
        tooltip="leave; a run that goes on is stopped first",
        priority=True,
    ),
)
