"""What is asked once and not for every run: who operates the bench."""

from __future__ import annotations

import getpass

from runner.sheets.bench import BenchFile


def operator_name(bench: BenchFile) -> str:
    """Who operates this bench: as its file says, else the user of this computer."""
    if bench.operator:
        return bench.operator
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "operator"
