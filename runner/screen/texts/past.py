"""Past runs: the list, two beside each other, one finding over time, and the record of one run."""

from __future__ import annotations

SEARCHED = "pack, serial number, procedure, statement or date"
COLUMNS = ("", "statement", "when (UTC)", "no.", "procedure", "pack")
READING = "reading …"
SIMULATED = " (sim)"  # after the statement of a run
NOT_LOOKED_AT = "…"  # in place of the mark of a run whose evidence has not been looked at yet
CHANGED = "EVIDENCE CHANGED"  # in place of the statement of a run
CHECKING = "checking that the evidence is as it was recorded …"
SELECT_TWO = "Select two runs with Space first (two packs, or two dates of one pack)."
SELECT_ONE = "Move the cursor to a run with findings first."
NO_FINDINGS = "No findings yet. The record shows what was read."
NO_WAY_ON = "This run has not ended. It cannot be resumed."


def titles(folder: str) -> tuple[str, ...]:
    """The title in several wordings, the fullest first."""
    return f"PAST RUNS in {folder}", "PAST RUNS"


def how_many(runs: int, *, simulated: bool) -> str:
    """How many runs there are, and what the keys do; ``simulated``: some of them were."""
    said = f"{_runs(runs)}. Enter: open. Space: select."
    return f"{said}{SIMULATED}: simulated." if simulated else said


def run_titles(pack: str, serial: str, procedure: str, day: str, statement: str) -> tuple[str, ...]:
    """The title of a past run's findings in several wordings, the fullest first."""
    said = statement.upper()
    return (
        f"{pack} no. {serial} · {procedure} · {day} · {said}",
        f"no. {serial} · {procedure} · {said}",
        f"{serial} · {said}",
    )


def in_progress(folder: str) -> str:
    """That another program has a run, and how to watch it; ``folder`` as it is typed."""
    return f"This run is in progress. To watch it: tripwitness follow {folder}"


def not_ended(command: str) -> str:
    """That a run broke off, and the ``command`` that resumes it; without one it cannot be resumed."""
    return f"This run has not ended. It can be resumed: {command}" if command else NO_WAY_ON


def ended_early(command: str) -> str:
    """That a run ended before its last step, and the ``command`` that resumes it; nothing where it cannot be resumed."""
    return f"This run ended early. It can be resumed: {command}" if command else ""


def looking(done: int, runs: int) -> str:
    """How far the evidence of the runs has been looked at."""
    return f" Evidence of {done} of {runs} checked …"


# ---- two runs beside each other --------------------------------------------------------------------------------------

SIDE_BY_SIDE = "SIDE BY SIDE"
FINDING, DIFFERENCE = "finding", "difference"
DIFFERENCE_RULE = (
    "≠: they differ, by more than the uncertainty √(U₁² + U₂²) at 95 %. =: no such difference was found. Both results are "
    "treated as independent. With the same probe on both dates the true uncertainty is smaller."
)

NOT_COMPARED = "Evidence has changed: whether the runs differ is not said."


def changed_run(serial: str, day: str, said: str) -> str:
    """Which of the runs has changed, and what is said of it."""
    return f"no. {serial}, {day}: {said}"


def column(serial: str, day: str, procedure: str = "") -> str:
    """The head of a run's column; the ``procedure`` where it tells the two apart."""
    return ", ".join(filter(None, (f"no. {serial}", day, procedure)))


# ---- one finding over time -------------------------------------------------------------------------------------------

OVER_TIME = "OVER TIME"
NOWHERE = "Not measured in any of these runs."
LIMITS = "limits"


def trend_titles(name: str, protection: str, serial: str, runs: int) -> tuple[str, ...]:
    """The title in several wordings, the fullest first."""
    last = f"no. {serial} · {_runs(runs)}"
    return f"OVER TIME · {name} ({protection}) · {last}", f"OVER TIME · {name} · {last}", f"{name} · {last}"


def _runs(runs: int) -> str:
    return f"{runs} run{'' if runs == 1 else 's'}"


# ---- the record of one run -------------------------------------------------------------------------------------------


def reading_record(name: str) -> tuple[str, ...]:
    """The title while the record is read, the fullest first."""
    return f"RECORD of {name} · reading …", "RECORD · reading …"


def record_titles(name: str, lines: int) -> tuple[str, ...]:
    """The title of a record of so many lines, the fullest first."""
    count, selected = f"{lines} lines", "the plot shows the time of the selected line"
    return f"RECORD of {name} · {count} · {selected}", f"RECORD of {name} · {count}", f"RECORD · {count} · {selected}"


def unreadable(why: str) -> str:
    """That the record cannot be read."""
    return f"THE RECORD cannot be read: {why}"
