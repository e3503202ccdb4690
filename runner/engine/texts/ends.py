"""Why a run ended, why steps were passed over or are done again, and what several kinds of steps say when they end."""

from __future__ import annotations

TIME_ELAPSED = "time elapsed"
FLOOR_REACHED = "the floor was reached"
NOT_READ = "it was not read"


def not_steady(path: str, why: str) -> str:
    """That the current of a path did not become steady, and what it did instead."""
    return f"the {path} current did not become steady: {why}"


# ---- the end of a run ------------------------------------------------------------------------------------------------

UNCONFIRMED = "the bench did not confirm that it is off"
GUARD_ENDED = "the guard process has stopped: nothing would switch the bench off if this program failed"

SUPPLY_NOT_ON = "the supply did not switch on"
LOAD_NOT_ON = "the load did not switch on"
LIMITS_NOT_TAKEN = "the supply did not take its limits"
SUPPLY_NOT_SET = "the supply did not take its set points"
LOAD_NOT_SET = "the load did not take its current"
ACTUATOR_NOT_SET = "the actuator did not take its setting"


def all_done(undone: int) -> str:
    """How a run ended that came to its end, with so many steps left out that nobody was asked about."""
    if not undone:
        return "all steps done"
    return f"{undone} {'step was' if undone == 1 else 'steps were'} skipped, see the notes"


def stopped(by: str) -> str:
    """That a person has stopped the run."""
    return f"stopped by {by}"


def stopped_when_asked(by: str) -> str:
    """That a person has stopped the run in place of an answer."""
    return f"stopped by {by} at a hold point"


def order_failed(said: str, why: str) -> str:
    """That an order was not carried out; ``said``: which, in words."""
    return f"{said}: {why}"


def another_order(name: str) -> str:
    """The same of an order that has no words of its own."""
    return f"{name} failed"


def suspended(seconds: float) -> str:
    """That the computer slept (s)."""
    return f"the computer was suspended for {seconds:.0f} s"


def fault(what: str) -> str:
    """That the program itself has failed."""
    return f"fault in the program: {what}"


def no_answer(seconds: float, path: str, really: float | None) -> str:
    """That nobody has answered for so long (s) while a path was on; ``really``: in s, where the run's time is simulated."""
    simulated = "" if really is None else f" of simulated time ({really:.0f} s)"
    return f"no answer for {seconds / 60:.0f} min{simulated} while the {path} was on"


def old_error(instrument: str, what: str) -> str:
    """That an instrument had an error in its queue from before the run; it ends nothing."""
    return f"An old error in the queue of the {instrument} was deleted: {what}"


# ---- what is told on the way out -------------------------------------------------------------------------------------


def last_reply(detail: str) -> str:
    """What an instrument said last, before the bench goes off for that."""
    return f"Last reply: {detail}"


def switching_off(reason: str) -> str:
    """Why everything is switched off now."""
    return f"Switching the bench off: {reason}"


def over(reason: str) -> str:
    """That a run has ended, and why."""
    return f"The run has ended: {reason}"


def look_at_it(remark: str) -> str:
    """That a person is to see for themselves what an instrument that is off cannot tell of it; nothing where it tells all."""
    return f"Look at the bench: {remark}." if remark else ""


BACK_ON = "Put every sensor back on its cell, in its original place, and check it."
PLUG_IN = (
    "Unplug the decade box, plug every sensor back in, and check that the pack shows a plausible temperature for each."
)


# ---- steps that are passed over, or done again -----------------------------------------------------------------------


def skipped(sensor: str, why: str) -> str:
    """That what is left is passed over; of one ``sensor`` where it is that sensor's steps."""
    of = f" for {sensor}" if sensor else ""
    return f"Skipped: all remaining steps{of}. Reason: {why}"


def no_further_ramp(sensor: str, why: str) -> str:
    """That what was offered is passed over; without a reason it was not needed."""
    return f"No further ramp: {why}" if why else f"No further ramp needed for {sensor}"


def repeated(sensor: str, why: str) -> str:
    """That a sensor's steps, or one step without a sensor, are done again."""
    return f"{sensor or 'This step'} will be repeated. Reason: {why}"


CHECKED = "pack, instruments and leads checked before the repeat"
CHECK_ALL = "Check the pack, the instruments and the leads."
RECONNECT = "Everything is off: switch nothing on. Reconnect the lead, and check the pack and the other leads."
CHECK_THE_INSTRUMENT = (
    "Everything is off: switch nothing on. Check the instrument and its limits, the pack and the leads."
)


def look_first(why: str, do: str, sensor: str) -> str:
    """The question before a sensor, or one step, begins again after a fault: what happened, and what to do."""
    return f"{why[:1].upper()}{why[1:]}. {do} Continue only if everything is in order: {sensor or 'the step'} then starts again."
