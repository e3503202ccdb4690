"""One table of keys: action, keys, id, what the footer and the help say. A foot switch types Enter."""

from __future__ import annotations

from textual.binding import Binding

from runner.conduct.answer_parsing import CURRENT_KEY

KEYS: tuple[Binding, ...] = (
    Binding(
        "enter,space,g",
        "go_on",
        "Continue",
        id="go-on",
        key_display="Enter",
        tooltip="confirm a hold point",
        priority=True,
    ),
    Binding(
        "enter,space,g",
        "mark",
        "Mark",
        id="mark",
        key_display="Enter",
        tooltip="mark the moment",
        priority=True,
    ),
    Binding(
        CURRENT_KEY,
        "mark_current",
        "Current gone or back",
        id="mark-current",
        key_display=CURRENT_KEY,
        tooltip="mark the moment of the current (Enter marks the degrees)",
        priority=True,
    ),
    Binding(
        "m",
        "missed",
        "Missed",
        id="missed",
        tooltip="the next degree was missed; the one after it comes next",
        priority=True,
    ),
    Binding(
        "x",
        "stop_by_letter",
        "STOP",
        id="stop",
        key_display="x",
        tooltip="end the run: supply and load off",
        priority=True,
    ),
    Binding(
        "escape",
        "stop",
        "STOP",
        id="stop-always",
        key_display="Esc",
        tooltip="end the run, also while typing",
        priority=True,
        show=False,
    ),
    Binding(
        "escape",
        "stop_while_typing",
        "STOP",
        id="stop-while-typing",
        key_display="Esc",
        tooltip="end the run, also while typing",
        priority=True,
    ),
    Binding(
        "q",
        "leave_by_letter",
        "Leave",
        id="leave",
        key_display="q",
        tooltip="leave (a running test is stopped first)",
        priority=True,
    ),
    Binding(
        "ctrl+q,ctrl+c",
        "leave",
        "Leave",
        id="leave-always",
        tooltip="leave, also while typing",
        priority=True,
        show=False,
    ),
)

# what a letter does elsewhere is a letter where something is typed
NOT_WHILE_TYPING = frozenset({"go_on", "mark", "missed", "mark_current", "stop_by_letter", "leave_by_letter"})
STOPS = frozenset({"stop", "stop_by_letter", "stop_while_typing"})
