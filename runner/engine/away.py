"""Whether sensors may still be away from their places, and what to say about it when the run ends.

Rule 1: a sensor is away from the first of its steps on, if it is heated, cooled or replaced by the decade box.
Rule 2: it is back when the hold point after the steps of all sensors has been confirmed. Nothing else puts it back.
"""

from __future__ import annotations

from collections.abc import Sequence

from runner.engine.program import Planned
from runner.engine.texts.ends import BACK_ON, PLUG_IN

MOVES = ("heat", "cool", "substitute")


class SensorsAway:
    """``say`` is what a person has to do with the sensors if the run ends now, empty when they are in their places."""

    def __init__(self, steps: Sequence[Planned]) -> None:
        moved = [step for step in steps if step.sensor and step.kind in MOVES]
        self._words = {step.group: PLUG_IN if step.kind == "substitute" else BACK_ON for step in moved}
        self._last = max((step.index for step in moved), default=-1)
        self.say = ""

    def begun(self, step: Planned) -> None:
        """A step begins."""
        if step.sensor:
            self.say = self._words.get(step.group, self.say)

    def confirmed(self, step: Planned) -> None:
        """A person has confirmed a hold point."""
        if step.index > self._last:
            self.say = ""
