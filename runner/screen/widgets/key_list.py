"""The keys of a screen, each in a line: only ours, only those that do something now, below what stands on top."""

from __future__ import annotations

from textual.binding import Binding
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from runner.screen.texts import everywhere as texts

OURS = "runner."
COLOURS = ("F3", texts.COLOURS)
KEY_WIDTH = 16


class KeyList(Static):
    """Shown by F1 and hidden by it; the run goes on behind."""

    DEFAULT_CSS = "KeyList { dock: top; height: auto; padding: 0 1; background: $panel; }"

    def __init__(self, screen: Screen[object], *, stops: bool) -> None:
        """``stops``: F8 ends a run that goes on now."""
        lines = [f"{key:<{KEY_WIDTH}}{what}" for key, what in [*own_keys(screen), COLOURS]]
        super().__init__(Content("\n".join([texts.keys_head(stops=stops), *lines])), id="key-list")


def own_keys(screen: Screen[object]) -> list[tuple[str, str]]:
    """(key, what it does) of the screen and of the part that has the keys, without those that do nothing now."""
    found: dict[str, str] = {}
    for node in (screen.focused, screen):
        for kind in type(node).__mro__:
            if not kind.__module__.startswith(OURS):
                continue
            for each in kind.__dict__.get("BINDINGS", ()):
                if isinstance(each, Binding) and _does_something(node, each):
                    key = each.key_display or ", ".join(part.replace("ctrl+", "Ctrl-") for part in each.key.split(","))
                    found.setdefault(key, each.tooltip or each.description)
    return list(found.items())


def _does_something(node: object, binding: Binding) -> bool:
    check = getattr(node, "check_action", None)
    return check is None or check(binding.action, ()) is not False
