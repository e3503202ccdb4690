"""The first screen: what there is to do, each with its name and what it is."""

from __future__ import annotations

from collections.abc import Sequence

TITLE = "TRIPWITNESS · protection trip tests on battery packs"

WATCH = (
    "Rehearse: watch",
    "A whole trip test on a simulated bench with an invented pack. The simulation heats and cools the sensors. You watch "
    "each trip and release and get the findings and a certificate. Takes about a minute. No instruments; nothing gets "
    "hot.",
)
REHEARSE = (
    "Rehearse: take part",
    "The same bench, at thirty times real speed, with you as its operator: you read the cautions, confirm the "
    "hold points and type the readings. The simulation only moves the heat gun.",
)
TEST = (
    "Test a pack",
    "Choose a pack sheet, a bench file and the procedures. Check the plan, then run it on your bench. The program looks "
    "for both files in the current folder.",
)
CHECK = (
    "Check the instruments",
    "Reads the identity, the present reading, the limits and the calibration date of every instrument in a bench file. "
    "Nothing is switched on.",
)
PAST = (
    "Past runs",
    "Search past tests, view findings, compare two packs or two dates of one pack, follow one threshold over the years, "
    "make a certificate.",
)
PACK = (
    "Write a pack sheet",
    "Enter the data sheet of a pack field by field. Values are checked as you type. Saved as YAML; edit the file later if "
    "needed.",
)
BENCH = (
    "Write a bench file",
    "Enter the instruments and their addresses, or mark them as read by hand. Saved as YAML; edit the file later if "
    "needed.",
)

NO_FILES = "current folder: no pack sheet, no bench file; a rehearsal needs neither"


def entry(name: str, about: str) -> str:
    """What stands beside the list of the entry under the cursor."""
    return f"{name.upper()}\n\n{about}\n\nEnter begins."


def files_here(names: Sequence[str]) -> str:
    """The sheets in the current folder."""
    return f"current folder: {', '.join(names)}"


def saved(path: str) -> str:
    """That a form was saved as a file."""
    return f"saved: {path}"
