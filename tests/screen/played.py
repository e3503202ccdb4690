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


def matches_golden(app, name, size):
    path = GOLDENS / f"{name}-{size[0]}x{size[1]}.txt"
    shown = text(app) + "\n"
    if os.environ.get("GOLDENS") == "write":
        path.write_text(shown, encoding="utf-8")
    assert shown == path.read_text(encoding="utf-8"), f"{path.name} differs; see played.py\n{shown}"
