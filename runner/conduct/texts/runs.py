"""What is said of a run as a whole: where it cannot begin, who ended it, how it goes on, and of its folder."""

from __future__ import annotations

# ---- it does not begin, or not like this -----------------------------------------------------------------------------

NOT_OPENED = "the screen could not be opened, so the run did not begin"
NOTHING_SIMULATED = (
    "simulated: true, but no instrument of this bench says that it is simulated: the run would be a real one",
    "remove simulated:, or rehearse with this file: tripwitness rehearse --bench",
)

_KINDS = {True: "a simulated bench", False: "a real bench"}


def other_bench(*, begun: bool, now: bool) -> tuple[str, str]:
    """That a run was begun on a bench of the other kind; ``begun``, ``now``: simulated or not."""
    return (
        f"the run was begun on {_KINDS[begun]} and this is {_KINDS[now]}",
        "go on with the bench it was begun on, or start a new run",
    )


# ---- who or what ended it --------------------------------------------------------------------------------------------

BY_SIGNAL = {  # any other signal is named as the system names it
    "SIGINT": "Ctrl-C (SIGINT)",
    "SIGTERM": "the computer (another program ended the run, SIGTERM)",
    "SIGHUP": "a closed terminal (SIGHUP)",
    "SIGTSTP": "Ctrl-Z (SIGTSTP)",
    "SIGQUIT": "the keys that end a program (SIGQUIT)",
}
INTERRUPTED = "the program was interrupted"
NOBODY_ANSWERED = "nobody answered"
NOT_ALL_OFF = "the runner could not switch everything off"


def at_line(function: str, line: int | None) -> str:
    """Where in the program an unforeseen fault came from; with a space before."""
    return f" ({function}, line {line})"


def does_not_end(seconds: float) -> str:
    """That a run did not end in time (s), and what to do."""
    return f"the run did not end within {seconds:g} s: SWITCH SUPPLY AND LOAD OFF BY HAND"


# ---- it goes on in its folder ----------------------------------------------------------------------------------------

GOES_ON = "the run goes on"
NOT_SEALED = "the program was killed before the seal was whole"
NO_END = "the record is incomplete (no end entry)"
NOT_STARTED = ("the run had not started", "start a new one")
REHEARSED = ("this was a rehearsal on a simulated bench and cannot be resumed", "start it again")
COMPLETE = ("the run is complete, so there is nothing to resume", "start a new run")


def changed(what: str) -> tuple[str, str]:
    """That a folder is not as it was recorded."""
    return f"has changed since it was recorded: {what}", "take it from a backup"


# ---- it is followed --------------------------------------------------------------------------------------------------

BEGINS = "The run is about to begin."
NONE_STARTED = ("no run of this session has started yet", "wait, then try again")


def ended(reason: str) -> str:
    """That the run has ended, and why."""
    return f"The run has ended: {reason}"


def unreadable(why: str) -> tuple[str, str]:
    """That a file of the record cannot be read."""
    return f"cannot be read ({why})", "look whether it is still there"


def no_samples(why: str) -> tuple[str, str]:
    """That a file is no sample table."""
    return f"is not a sample table ({why})", "take the folder from a backup"


# ---- what one more ramp would bring ----------------------------------------------------------------------------------


def not_calculated(why: str) -> str:
    """That it is not known whether one more ramp would help."""
    return f"could not calculate whether one more ramp would help: {why}"


def one_more_helps(finding: str, sensor: str, share: float) -> str:
    """Which finding one more ramp would help, and by which share of its uncertainty."""
    smaller = f"{100 * share:.0f} % smaller"
    return f"The {finding} of {sensor} is close to a limit; one more ramp would make its uncertainty about {smaller}"


def goes_on_with(folder: str) -> str:
    """The command that goes on with what is in a folder, whose name is as it is typed."""
    return f"tripwitness resume {folder}"
