"""Which step comes next: in their order, without those that an earlier one made pointless, and some of them once more."""

from __future__ import annotations

from collections.abc import Iterator

from runner.engine.program import Planned
from runner.engine.steps import Step
from runner.engine.steps.again import FRESH_STARTS, REPEATS, BringBack, look_first
from runner.engine.steps.base import Surroundings
from runner.engine.texts import ends
from runner.orders import Order, Remark
from runner.vocabulary import Answer

# s that a comparison of the cells holds over a break: nobody knows what was done to the pack in a longer one
COMPARED_FOR = 300.0
WITH_CURRENT = frozenset({"charge", "drain", "stage", "wake", "try", "substitute", "heat", "cool", "recover"})


class Sequence:
    """The steps of a program. ``skipped`` are those passed over, with the reason; ``cut_short``: any nobody was asked about.

    ``left_out``: a person has left the whole procedure out.
    """

    def __init__(self, steps: tuple[Planned, ...], begin: int, around: Surroundings) -> None:
        self._steps, self._next, self._around = steps, begin, around
        self._first: Planned | None = None  # what is done once more before the step to begin with
        self._skip_to: tuple[str, int] = ("", 0)
        self._why = ""
        self._repeats: dict[tuple[str, int, int], int] = {}  # how often a turn or a sensor was begun again
        self.skipped: dict[int, str] = {}
        self.cut_short = self.left_out = False

    def rested(self, seconds: float) -> None:
        """The run goes on after a break: cells that were compared before a long one are compared again before current flows."""
        before = [planned for planned in self._steps[: self._next] if planned.kind == "cells"]
        flows = any(planned.kind in WITH_CURRENT for planned in self._steps[self._next :])
        self._first = before[-1] if before and flows and seconds > COMPARED_FOR else None

    def following(self) -> Iterator[Planned]:
        """The steps from here on, without those that are skipped."""
        if self._first is not None:
            first, self._first = self._first, None
            self._look_back(self._next + 1)  # the step to begin with had begun before the break
            yield first
        while self._next < len(self._steps):
            planned = self._steps[self._next]
            self._next += 1
            if self._is_skipped(planned):
                self.skipped[planned.index] = self._why
            else:
                self._look_back(planned.index)
                yield planned

    def _look_back(self, count: int) -> None:
        """Keep for the next step whether none of the first ones was with current."""
        self._around.untouched = not any(planned.kind in WITH_CURRENT for planned in self._steps[:count])

    @property
    def undone(self) -> int:
        """How many steps were left out that were not only offered."""
        return sum(1 for index in self.skipped if not self._steps[index].offer)

    def done_again(self, step: Step) -> Step | None:
        """What comes before something is done again, if it is; what comes after is set."""
        planned, skip = step.planned, step.skip
        most = {"again": REPEATS, "sensor": FRESH_STARTS}.get(skip)
        if most is None:
            return None
        of = (skip, planned.group, planned.cycle if skip == "again" else 0)
        self._repeats[of] = self._repeats.get(of, 0) + 1
        if self._repeats[of] > most:
            return None
        if skip == "sensor":
            self._next = planned.restart
            return look_first(self._steps[planned.restart], step.why, self._around)
        turn = (planned.group, planned.cycle, planned.offer)
        first = next(
            each
            for each in self._steps
            if (each.group, each.cycle, each.offer) == turn and each.kind in ("heat", "cool")
        )
        self._next = first.index
        return BringBack(first, self._around)

    def skip(self, step: Step) -> list[Order]:
        """Pass over what a step has made pointless, and say so."""
        if step.skip in ("again", "sensor"):
            step.skip = "group"
        self._skip_to = (step.skip, step.planned.offer if step.skip == "offer" else step.planned.group)
        self._why = step.why
        if step.skip == "offer":
            return [Remark(ends.no_further_ramp(step.planned.sensor, step.why))]
        self.cut_short = True
        return [Remark(ends.skipped(step.planned.sensor if step.skip == "group" else "", step.why))]

    def ended_by(self, step: Step) -> None:
        """A step ended the run: early, or because a person left the procedure out."""
        if step.skip == Answer.LEAVE_OUT:
            self.leave_out(step.why)

    def leave_out(self, why: str) -> None:
        """Pass over every step: the procedure is left out before anything has flowed."""
        self.left_out = True
        self.skipped, self.cut_short = {planned.index: why for planned in self._steps}, True

    def _is_skipped(self, planned: Planned) -> bool:
        how, of = self._skip_to
        if how == "rest":
            return True
        if (how == "group" and of == planned.group and of) or (how == "offer" and of == planned.offer):
            return True
        self._skip_to = ("", 0)
        return False
