"""What comes before the first step: the cautions, what is unusual on the pack sheet, and what a person has to say to both.

Rule: no step begins before the cautions are answered, nor before a person has given a reason for unusual values. A person who
does not accept them leaves the procedure out: nothing was switched on, and the others of the session go on.
"""

from __future__ import annotations

from runner.engine.program import Program
from runner.events import Answered, Resumed
from runner.orders import Ask, Order, Remark
from runner.vocabulary import Answer, Wants

CAUTIONS = "cautions"  # the question of the first hold point
DOUBTS = "doubts"  # and of the one at which a person agrees to what is unusual on the pack sheet
KNOBS = "limits by hand"  # and of the one at which a person has set limits that no command sets
UNGUARDED = (
    "On this system nothing switches the bench off if the program is killed or the computer hangs. "
    "Continue only if every switch stays within your reach."
)
READ_THEM = "Read the cautions. Continue only if you can follow every one."
CELLS = (
    "Only the pack voltage is monitored, not each cell. Check every cell voltage first: continue only if they are within 20 mV "
    "of each other."
)
NEAR_THE_END = ("over_voltage", "under_voltage")  # protections whose test takes cells to their ends


def agreed_to(answer: Answered) -> str:
    """Who agrees to what is unusual with this answer, and why; empty of every other answer."""
    agrees = answer.question == DOUBTS and answer.value == Answer.AGREE and answer.note.strip()
    return f"{answer.by}: {answer.note.strip()}" if agrees else ""


class Opening:
    """The questions before the first step. ``agreed``: who agreed to what is unusual, and why; empty while nobody has.

    ``left_out``: that a person leaves the procedure out instead, and why, as a sentence; empty while nobody has.
    """

    def __init__(self, program: Program, *, guarded: bool, agreed: str) -> None:
        self._program = program
        compared = any(step.kind == "cells" for step in program.steps)
        cells = "" if compared or program.protection not in NEAR_THE_END else f"{CELLS} "
        self._cautions = f"{cells}{READ_THEM if guarded else f'{UNGUARDED} {READ_THEM}'}"
        self._resumed = False
        self.agreed, self.left_out = agreed, ""

    def begins(self) -> Ask:
        """The first hold point of a run."""
        return Ask(CAUTIONS, self._cautions)

    def resumes(self, event: Resumed) -> Ask:
        """The first hold point after a break."""
        self._resumed = True
        after = f"The run continues after a break of {event.after / 60:.0f} min. Check the pack and every connection. "
        return Ask(CAUTIONS, after + self._cautions)

    def answered(self, answer: Answered) -> tuple[list[Order], bool]:
        """What follows an answer, and whether the first step may begin now."""
        doubtful = bool(self._program.to_judge)
        in_the_record = self._resumed and bool(self.agreed)  # from before the break
        if answer.question == CAUTIONS and doubtful and not self.agreed:
            return [self._doubts("")], False
        if answer.question == DOUBTS and answer.value == Answer.LEAVE_OUT:
            self.left_out = self._not_accepted(answer)
            return [], False
        self.agreed = agreed_to(answer) or self.agreed
        if answer.question == DOUBTS and not self.agreed:
            return [self._doubts("A reason is needed. ")], False
        if answer.question not in (CAUTIONS, DOUBTS, KNOBS):
            return [], False
        if self._program.knobs and answer.question != KNOBS:
            say = " ".join(self._program.knobs)
            return [Ask(KNOBS, f"{say} Then confirm.", f"by hand: {say}")], False
        said = [f"Unusual values on the pack sheet, accepted by {self.agreed} ({'; '.join(self._program.doubts)})"]
        said = said if self._program.doubts else []
        said += (
            [f"Higher limit of the current, accepted by {self.agreed} ({self._program.raised})"]
            if self._program.raised
            else []
        )
        unread = [Remark(each) for each in self._program.unread]
        return [*(map(Remark, said) if doubtful and not in_the_record else []), *unread], True

    def _not_accepted(self, answer: Answered) -> str:
        """That a person leaves the procedure out, and why, as a sentence."""
        what = "; ".join(self._program.to_judge)
        note = f": {answer.note.strip()}" if answer.note.strip() else ""
        return f"not accepted by {answer.by}{note} ({what})"

    def _doubts(self, before: str) -> Ask:
        program = self._program
        unusual = f"Unusual values on the pack sheet: {'; '.join(program.doubts)}. Check the data sheet. "
        raised = f"{program.raised[:1].upper()}{program.raised[1:]}. Check that the pack may have this current here. "
        say = (
            f"{before}{unusual if program.doubts else ''}{raised if program.raised else ''}"
            f"If {'that is' if program.raised else 'the values are'} right, type agree, a semicolon and the reason. "
            f"If not, type {Answer.LEAVE_OUT}: nothing is switched on, and this procedure is not tested."
        )
        return Ask(DOUBTS, say, "unusual values accepted", Wants.CHOICE, choices=(Answer.AGREE, Answer.LEAVE_OUT))
