"""The steps a procedure is written in. STEP_KINDS is the one table of them: a new step is a class and a line here,
a model in sheets/procedure.py, and the tests that then fail until manual and schema follow.
"""

from __future__ import annotations

from runner.engine.steps.base import Step
from runner.engine.steps.flow import Wait
from runner.engine.steps.hold import Confirm
from runner.engine.steps.power import Charge, Off, Rest
from runner.engine.steps.provoke import Cool, Heat

STEP_KINDS: dict[str, type[Step]] = {
    "confirm": Confirm,
    "charge": Charge,
    "heat": Heat,
    "cool": Cool,
    "rest": Rest,
    "wait": Wait,
    "off": Off,
}

__all__ = ["STEP_KINDS", "Step"]
