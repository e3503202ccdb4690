"""The forms of a pack sheet and a bench file."""

from __future__ import annotations

PACK_TITLE = "NEW PACK SHEET · copy the values from the data sheet"
BENCH_TITLE = "NEW BENCH FILE · enter your instruments"
FILE = "name of the file"

WHAT_KEYS_DO = "Enter: next field. PgDn: next section. F2: save. * = required."
PACK_EMPTY = "Leave empty what is not declared."
BENCH_EMPTY = "No address: a person reads or switches that instrument."

NOT_KEPT = "This draft cannot be kept: the folder cannot be written. Save with F2 before you leave."
RIGHT = "✓"
RIGHT_AS_USUAL = "✓ usual value, not from the data sheet"


def first_words(empty: str, kept: str) -> str:
    """What stands below a new form; ``empty``: what an empty field means, ``kept``: the draft that there is, if any."""
    draft = f" F6: {kept}." if kept else ""
    return f"{WHAT_KEYS_DO} {empty}{draft}"


# ---- of a field ------------------------------------------------------------------------------------------------------


def field_name(ask: str, *, needed: bool) -> str:
    """What stands before a field."""
    return f"{ask}{' *' if needed else ''}"


def example(of: str) -> str:
    """What an empty field shows; worded so that nobody takes it for an entry."""
    return f"e.g. {of}"


def usual(value: str) -> str:
    """The same where the chemistry has a usual value."""
    return f"usual: {value}  (F4)"


def of_field(label: str, said: str) -> str:
    """What is said of the field under the cursor."""
    return f"{label}: {said}"


def no_usual(label: str) -> str:
    """That there is no usual value to take."""
    return f"{label}: no usual value; chemistry and cells in series are needed, or there is none"


def usual_taken(label: str, value: str) -> str:
    """That the usual value was taken."""
    return f"{label}: {value} is usual, not from the data sheet; the file will say so"


# ---- copies and drafts -----------------------------------------------------------------------------------------------


def copied(name: str, packs: int) -> str:
    """That a pack sheet was copied, one of so many."""
    return f"copied from {name}; enter the serial number and check every value. F5: the next of {packs}"


def draft_taken(said: str, drafts: int) -> str:
    """That a draft was taken up, one of so many."""
    return f"{said}. F6: the next of {drafts}"
