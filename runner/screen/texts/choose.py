"""Which pack, bench and procedures; the plan; what is asked once; and the check of the instruments."""

from __future__ import annotations

from collections.abc import Sequence

TEST = "TEST A PACK"
CHECK = "CHECK THE INSTRUMENTS"
PACK_SHEET, BENCH_FILE = "pack sheet", "bench file"
PROCEDURES = "procedures (Space; none selected = all)"

WHAT_KEYS_DO = "Tab: next list. Enter or F2: continue."
BENCH_FIRST = "Choose a bench file first."
PACK_FIRST = "Choose a pack sheet first."


def missing(what: Sequence[str], folder: str) -> str:
    """That a folder has no file of these kinds."""
    return f"No {' and no '.join(what)} in {folder}. Press Esc and write what is missing first."


# ---- the plan --------------------------------------------------------------------------------------------------------

PLAN = "PLAN · nothing is switched on until you have confirmed the cautions"
PLANNING = "planning the order …"


def decision_rule(rule: str) -> str:
    """The last line of the plan."""
    return f"Decision rule: {rule}"


# ---- what is asked once for a session --------------------------------------------------------------------------------

LEAVING = "What you typed is not kept if you go back. Esc: go back. Enter: stay."


def example(of: str) -> str:
    """What an empty field says."""
    return f"e.g. {of}"


def last_field_begins(about: str) -> str:
    """What the questions are for, and how the session begins."""
    return f"{about} Enter in the last field begins."


# ---- the check of the instruments ------------------------------------------------------------------------------------

ASKING = "asking every instrument …"
WHO_ASKS = "check of the instruments"  # said to another program that wants the same instruments


def check_titles(bench: str) -> tuple[str, ...]:
    """The title in several wordings, the fullest first."""
    return f"CHECK OF THE INSTRUMENTS · {bench} · nothing is switched on", "CHECK OF THE INSTRUMENTS"
