"""What comes before the first step: the cautions, what is unusual on the pack sheet, and what a person has to say to both.

Rule: no step begins before the cautions are answered, nor before a person has given a reason for unusual values. A person who
does not accept them leaves the procedure out: nothing was switched on, and the others of the session go on.
"""

from __future__ import annotations

from runner.engine.program import Program
from runner.engine.texts import asking as texts
from runner.events import Answered, Resumed
from runner.orders import Ask, Order, Remark
from runner.vocabulary import Answer, Wants

CAUTIONS = "cautions"  # the question of the first hold point
DOUBTS = "doubts"  # and of the one at which a person agrees to what is unusual on the pack sheet
KNOBS = "limits by hand"  # and of the one at which a person has set limits that no command sets
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
        cells = program.protection in NEAR_THE_END and not compared
        self._cautions = texts.cautions(guarded=guarded, cells=cells)
        self._resumed = False
        self.agreed, self.left_out = agreed, ""

    def begins(self) -> Ask:
        """The first hold point of a run."""
        return Ask(CAUTIONS, self._cautions)

    def resumes(self, event: Resumed) -> Ask:
        """The first hold point after a break."""
        self._resumed = True
        return Ask(CAUTIONS, texts.after_a_break(event.after, self._cautions))

    def answered(self, answer: Answered) -> tuple[list[Order], bool]:
        """What follows an answer, and whether the first step may begin now."""
        doubtful = bool(self._program.to_judge)
        in_the_record = self._resumed and bool(self.agreed)  # from before the break
        if answer.question == CAUTIONS and doubtful and not self.agreed:
            return [self._doubts()], False
        if answer.question == DOUBTS and answer.value == Answer.LEAVE_OUT:
            self.left_out = self._not_accepted(answer)
            return [], False
        self.agreed = agreed_to(answer) or self.agreed
        if answer.question == DOUBTS and not self.agreed:
            return [self._doubts(again=True)], False
        if answer.question not in (CAUTIONS, DOUBTS, KNOBS):
            return [], False
        if self._program.knobs and answer.question != KNOBS:
            say = " ".join(self._program.knobs)
            return [Ask(KNOBS, texts.set_by_hand(say), texts.was_set_by_hand(say))], False
        said = [texts.unusual_accepted(self.agreed, self._program.doubts)] if self._program.doubts else []
        said += [texts.raised_accepted(self.agreed, self._program.raised)] if self._program.raised else []
        unread = [Remark(each) for each in self._program.unread]
        return [*(map(Remark, said) if doubtful and not in_the_record else []), *unread], True

    def _not_accepted(self, answer: Answered) -> str:
        """That a person leaves the procedure out, and why, as a sentence."""
        return texts.not_accepted(answer.by, answer.note.strip(), "; ".join(self._program.to_judge))

    def _doubts(self, *, again: bool = False) -> Ask:
        """The question about what is unusual; ``again``: a person has agreed and not said why."""
        say = texts.unusual_or_raised(self._program.doubts, self._program.raised, again=again)
        return Ask(DOUBTS, say, texts.ACCEPTED, Wants.CHOICE, choices=(Answer.AGREE, Answer.LEAVE_OUT))
