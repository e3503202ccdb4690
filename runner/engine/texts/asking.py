"""What a person is asked before the first step and at hold points, and what the record says of the answers."""

from __future__ import annotations

from collections.abc import Sequence

from runner.notation.quantity import shown
from runner.vocabulary import Answer

REASON_NEEDED = "A reason is needed. "


def not_accepted(by: str, note: str, what: str) -> str:
    """That a person leaves the procedure out for ``what``, with the reason they gave, if any."""
    reason = f": {note}" if note else ""
    return f"not accepted by {by}{reason} ({what})"


# ---- before the first step -------------------------------------------------------------------------------------------

READ_THEM = "Read the cautions. Continue only if you can follow every one."
UNGUARDED = (
    "On this system nothing switches the bench off if the program is killed or the computer hangs. "
    "Continue only if every switch stays within your reach."
)
COMPARE_CELLS = (
    "Only the pack voltage is monitored, not each cell. Check every cell voltage first: continue only if they are within 20 mV "
    "of each other."
)
ACCEPTED = "unusual values accepted"


def cautions(*, guarded: bool, cells: bool) -> str:
    """The first question of a run; ``cells``: its test takes them to their ends, and no step compares them."""
    return f"{f'{COMPARE_CELLS} ' if cells else ''}{'' if guarded else f'{UNGUARDED} '}{READ_THEM}"


def after_a_break(seconds: float, say: str) -> str:
    """The cautions once more, when a run goes on after so long (s)."""
    return f"The run continues after a break of {seconds / 60:.0f} min. Check the pack and every connection. {say}"


def set_by_hand(say: str) -> str:
    """The question at which a person sets limits that no command sets."""
    return f"{say} Then confirm."


def was_set_by_hand(say: str) -> str:
    """The same in the record."""
    return f"by hand: {say}"


def unusual_or_raised(doubts: Sequence[str], raised: str, *, again: bool) -> str:
    """The question about unusual values of the pack sheet and a higher ceiling; ``again``: it was answered without a reason."""
    unusual = f"Unusual values on the pack sheet: {'; '.join(doubts)}. Check the data sheet. " if doubts else ""
    higher = f"{raised[:1].upper()}{raised[1:]}. Check that the pack may have this current here. " if raised else ""
    return (
        f"{REASON_NEEDED if again else ''}{unusual}{higher}"
        f"If {'that is' if raised else 'the values are'} right, type agree, a semicolon and the reason. "
        f"If not, type {Answer.LEAVE_OUT}: nothing is switched on, and this procedure is not tested."
    )


def unusual_accepted(agreed: str, doubts: Sequence[str]) -> str:
    """Who agreed to unusual values and why, for the record."""
    return f"Unusual values on the pack sheet, accepted by {agreed} ({'; '.join(doubts)})"


def raised_accepted(agreed: str, raised: str) -> str:
    """The same of a ceiling that is higher than the procedure's."""
    return f"Higher limit of the current, accepted by {agreed} ({raised})"


# ---- readings --------------------------------------------------------------------------------------------------------

DOUBTFUL = "doubtful"


def outside(value: float, dimension: str, lowest: float | None, highest: float | None) -> str:
    """That a reading is outside what a procedure expects."""
    low, high = ("…" if each is None else shown(each, dimension) for each in (lowest, highest))
    return f"{shown(value, dimension)} is outside the expected range {low} to {high}"


def no_cell_has(volts: float) -> str:
    """That a number (V) is no voltage of a cell, and what it may be."""
    return f"No cell can have {volts:.4g} V. What a display shows in mV is typed with its unit: 3300 mV."


def read_again(doubt: str, say: str, reference: float | None, no_cell: str) -> str:
    """The same question once more, after a reading that does not fit; ``reference``: what its thermometer shows beside it (°C)."""
    beside = (
        ""
        if reference is None
        else f" The reference shows {shown(reference, 'temperature')}. Check the sensor and its plug."
    )
    return f"{doubt}.{beside}{f' {no_cell}' if no_cell else ''} Read again and type what you see. {say}"


def twice(doubt: str) -> str:
    """That a reading which does not fit was given a second time."""
    return f"{doubt}; confirmed by a second reading"


def no_reading_from(instruments: Sequence[str]) -> str:
    """That instruments which should give a reading do not."""
    return f"No reading from {', '.join(instruments)}"


def read_by(instrument: str, *, corrected: bool) -> str:
    """By which instrument a reading was taken; with a space before."""
    return f" (read by {instrument}{', less its error by the certificate' if corrected else ''})"


def beside_reference(said: str, reference: float, dimension: str) -> str:
    """A reading with what the reference showed then."""
    return f"{said} (reference {shown(reference, dimension)})"


def too_low_to_charge(volts: float, lowest: float) -> str:
    """Why the run ends on a lowest cell (V) that must not be charged."""
    low, limit = shown(volts, "voltage"), shown(lowest, "voltage")
    return f"the lowest cell is at {low}, below {limit}: this pack must not be charged; ask a qualified person"


def confirmed(record: str) -> str:
    """The name in the record of an answer that was shown again."""
    return f"{record}: confirmed"


# ---- comparing cells -------------------------------------------------------------------------------------------------

CELLS_NOT_SEEN = "Nobody has seen the cell voltages"
SPREAD_NOT_SEEN = "not seen"
BY_METERS = "read by the meters at the cells"


def typed_by(name: str) -> str:
    """Who has typed the voltages of the cells."""
    return f"typed by {name}"


def type_the(reading: str) -> str:
    """The question for the highest or the lowest cell."""
    return f"Type the {reading}."


def spread(high: float, low: float) -> str:
    """How far apart the cells are (V)."""
    return f"{_millivolts(high - low)} (highest {high:.3f} V, lowest {low:.3f} V)"


def too_far_apart(found: str, within: float) -> str:
    """That the cells are further apart than a procedure allows (V)."""
    return f"The cells are {found} apart. At most {_millivolts(within)} is allowed here"


def go_on_with(doubt: str, *, again: bool, may_leave_out: bool) -> str:
    """The question whether to go on in spite of the cells; ``again``: it was answered without a reason."""
    say = (
        f"{REASON_NEEDED if again else ''}{doubt}. A cell may be charged or discharged too far before the pack notices. "
        "Balance the pack first: stop the run, or read again. To go on in spite of it, type agree, a semicolon and the reason."
    )
    if not may_leave_out:
        return say
    return f"{say} If not, type {Answer.LEAVE_OUT}: nothing is switched on, and this procedure is not tested."


def a_cell_too_low(volts: float, lowest: float) -> str:
    """The question where a cell (V) must not be charged: there is nothing to agree to."""
    return (
        f"A cell is at {volts:.3f} V, below {lowest:.4g} V. Do not charge this pack. Stop the run and "
        "ask a qualified person. If a value was read or typed wrongly, read again."
    )


def no_cell_read_again(volts: float) -> str:
    """The question where a number (V) is no voltage of a cell."""
    return f"{no_cell_has(volts)} Read again."


def cells_accepted(by: str, reason: str) -> str:
    """Who agreed to go on in spite of the cells, and why."""
    return f"accepted by {by}: {reason}"


def cells_not_accepted(by: str, note: str, found: str) -> str:
    """That a person leaves the procedure out for its cells; ``found``: their spread, if it was seen."""
    return not_accepted(by, note, f"spread of the cells {found or SPREAD_NOT_SEEN}")


def _millivolts(volts: float) -> str:
    return f"{1000 * volts:.4g} mV"


# ---- one more ramp ---------------------------------------------------------------------------------------------------

CALCULATING = "Calculating whether one more ramp would help."
ONE_MORE = "one more"
CONTINUED_WITHOUT = "the operator continued without it"

# ---- two explanations of a current -----------------------------------------------------------------------------------

EXPLANATION = "explanation of the current"
LOOKING = "The output is off for a minute. The pack's voltage shows which explanation is right."


def which_of_two(why: str, one: str, other: str, rest: float | None) -> str:
    """The question which of two explanations is right; ``rest``: s for which the program may switch off to find out, if it can."""
    say = (
        f"{why[:1].upper()}{why[1:]}. Two explanations: {one}, or {other}. Look at the pack's own display or alarm, "
        "and choose. Meanwhile heat and cool nothing."
    )
    return say if rest is None else f"{say} Or let the program look: output off for {rest:.0f} s, then on again."
