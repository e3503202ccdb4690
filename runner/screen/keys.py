"""One table of keys: action, keys, id, what the footer and the help say. A foot switch types Enter.

Enter goes on and F8 stops, on every screen; Esc and q ask before they leave, and only y leaves then. No other screen binds F8.
"""

from __future__ import annotations

from textual.binding import Binding

from runner.vocabulary import CURRENT_KEY

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
        "enter,space,g",
        "is_off",
        "Done",
        id="is-off",
        key_display="Enter",
        tooltip="what had to be switched off by hand is off",
        priority=True,
    ),
    Binding(
        "enter,space,g",
        "open_findings",
        "Findings",
        id="open-findings",
        key_display="Enter",
        tooltip="the findings and the certificate of the run that has ended",
        priority=True,
    ),
    Binding(
        "enter,space,g,escape,q",
        "stay",
        "Stay",
        id="stay",
        key_display="Enter",
        tooltip="stay in the run that it was asked about",
        priority=True,
    ),
    Binding(
        "y",
        "leave_now",
        "Leave now",
        id="leave-now",
        tooltip="leave the run that it was asked about; a running test is stopped first",
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
        "f8", "stop", "STOP", id="stop", key_display="F8", tooltip="end the run: supply and load off", priority=True
    ),
    Binding(
        "x",
        "stop_by_letter",
        "STOP",
        id="stop-by-letter",
        key_display="x",
        tooltip="the same, where no letter can be typed; in a field: x, then Enter",
        priority=True,
        show=False,
    ),
    Binding(
        "escape",
        "leave",
        "Leave",
        id="leave",
        key_display="Esc",
        tooltip="leave (asked first; a running test is stopped)",
        priority=True,
    ),
    Binding(
        "escape,q",
        "next_procedure",
        "Next procedure",
        id="next-procedure",
        key_display="Esc",
        tooltip="go on with the session: this run has ended",
        priority=True,
    ),
    Binding(
        "q",
        "leave_by_letter",
        "Leave",
        id="leave-by-letter",
        key_display="q",
        tooltip="the same",
        priority=True,
        show=False,
    ),
    Binding(
        "ctrl+q,ctrl+c",
        "leave_always",
        "Leave",
        id="leave-always",
        tooltip="the same, also while typing",
        priority=True,
        show=False,
    ),
)

# what a letter does elsewhere is a letter where something is typed
NOT_WHILE_TYPING = frozenset({"go_on", "mark", "missed", "mark_current", "stop_by_letter", "leave_by_letter"})
ENTER = frozenset({"go_on", "mark", "is_off", "open_findings", "stay"})  # one of them at a time
STOPS = frozenset({"stop", "stop_by_letter"})
