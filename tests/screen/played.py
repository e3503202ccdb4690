"""Screens under a pilot: their text, waiting for a condition, and goldens.

A golden is the text of a screen as it is meant to be. ``GOLDENS=write python -m pytest tests/screen`` writes them anew; look
at the difference before it is committed.
"""

import asyncio
import os
import time
from pathlib import Path

SIZES = [(80, 24), (140, 45)]
GOLDENS = Path(__file__).parent / "goldens"


def played(coroutine):
    return asyncio.run(coroutine)


def text(app):
    """The screen as a person reads it."""
    return "\n".join(
        "".join(segment.text for segment in strip).rstrip() for strip in app.screen._compositor.render_strips()
    )


async def until(pilot, condition, what, seconds=30.0):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline, f"timed out waiting for {what}\n{text(pilot.app)}"
        await pilot.pause(0.02)


async def shows(pilot, words, seconds=30.0):
    await until(pilot, lambda: words in text(pilot.app), words, seconds)


async def matches_golden(pilot, name, size, seconds=10.0):
    """Wait until the screen is what the golden says: the last of its parts may be drawn a moment later."""
    path = GOLDENS / f"{name}-{size[0]}x{size[1]}.txt"
    if os.environ.get("GOLDENS") == "write":
        await still(pilot)
        path.write_text(text(pilot.app) + "\n", encoding="utf-8")
    golden, deadline = path.read_text(encoding="utf-8"), time.monotonic() + seconds
    while (shown := text(pilot.app) + "\n") != golden:
        assert time.monotonic() < deadline, (
            f"{path.name} differs; if it is meant: GOLDENS=write python -m pytest tests/screen\n{shown}"
        )
        await pilot.pause(0.02)


async def still(pilot, looks=20):
    """Wait until so many looks at the screen in a row show the same."""
    before, same = "", 0
    while same < looks:
        now = text(pilot.app)
        before, same = now, same + 1 if now == before else 0
        await pilot.pause(0.05)
