"""The steps a procedure is written in. STEP_KINDS is the one table of them: a new step is a class and a line here,
a model in sheets/steps.py, a title in engine/texts/titles.py, and the tests that then fail until manual and schema follow.
"""

from __future__ import annotations

from runner.engine.program import Planned
from runner.engine.steps.base import Step, Surroundings
from runner.engine.steps.by_hand import DrainByHand, RecoverByHand
from runner.engine.steps.charger import ChargeByHand, WakeByHand
from runner.engine.steps.charging import Charge, Off, Rest
from runner.engine.steps.clamp import CoolByClamp, HeatByClamp, SteadyDrainByHand, SubstituteByClamp
from runner.engine.steps.drain import Drain, Recover, Wake
from runner.engine.steps.hold import CompareCells, Confirm, Inspect, Offer, Read
from runner.engine.steps.ramp import Cool, Heat
from runner.engine.steps.stage import Stage, Substitute, Try
from runner.engine.steps.waiting import Wait
from runner.vocabulary import Role, Until

STEP_KINDS: dict[str, type[Step]] = {
    "confirm": Confirm,
    "read": Read,
    "cells": CompareCells,
    "inspect": Inspect,
    "charge": Charge,
    "drain": Drain,
    "stage": Stage,
    "recover": Recover,
    "wake": Wake,
    "try": Try,
    "substitute": Substitute,
    "heat": Heat,
    "cool": Cool,
    "rest": Rest,
    "wait": Wait,
    "off": Off,
    "offer": Offer,
}

BY_HAND: dict[
    tuple[str, str], type[Step]
] = {  # (kind, role): what takes its place where a person does that role's part
    ("drain", "load"): DrainByHand,
    ("recover", "meter"): RecoverByHand,
    ("charge", "charger"): ChargeByHand,
    ("wake", "charger"): WakeByHand,
}
BY_CLAMP: dict[str, type[Step]] = {  # what takes its place where a person has switched on what flows
    "heat": HeatByClamp,
    "cool": CoolByClamp,
    "substitute": SubstituteByClamp,
}


def make_step(planned: Planned, around: Surroundings) -> Step:
    """The machine of a step, at this bench."""
    if planned.kind in BY_CLAMP and around.known.by_hand_on:
        return BY_CLAMP[planned.kind](planned, around)
    if planned.kind == "drain" and Role.LOAD in around.program.by_hand and planned.word("until") != Until.STOPPED:
        return SteadyDrainByHand(planned, around)
    for role in around.program.by_hand:
        if (planned.kind, role) in BY_HAND:
            return BY_HAND[planned.kind, role](planned, around)
    return STEP_KINDS[planned.kind](planned, around)


__all__ = ["BY_CLAMP", "BY_HAND", "STEP_KINDS", "Step", "make_step"]
