"""What is long to make and only looked at is made once for all the workers of a test run."""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any


def made_once(factory: Any, name: str, make: Callable[[Path], Any]) -> tuple[Path, Any]:
    """A folder, and what ``make`` gave (as JSON has it) when it filled it. ``factory`` is pytest's ``tmp_path_factory``."""
    base = Path(factory.getbasetemp())
    if os.environ.get("PYTEST_XDIST_WORKER"):
        base = base.parent  # the workers' own folders stand beside each other in it
    folder, said = base / name, base / f"{name}.json"
    with (base / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not said.exists():
            folder.mkdir()
            said.write_text(json.dumps(make(folder)))
    return folder, json.loads(said.read_text())
