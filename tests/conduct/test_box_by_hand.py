"""The simulated person at a decade box: the key follows the last knob as the evaluation takes it to, 0 to 2 reactions later."""

import contextlib
from types import SimpleNamespace

import numpy as np

from runner.orders import Ask
from runner.rehearsal.simulated_operator import SimulatedEyes
from runner.vocabulary import Wants

REACTION = (0.3, 0.15)  # s: the default of a bench file
PEOPLE, TURNS = 400, 8


def keys_after_the_knob(seed: int) -> list[float]:
    """s from each setting of the box to its key, for one person."""
    set_at: list[float] = []
    now = 0.0
    world = SimpleNamespace(truth=SimpleNamespace(seed=seed), lock=contextlib.nullcontext(), catch_up=lambda: None)
    world.substitute = lambda sensor, ohms: set_at.append(now)
    eyes = SimulatedEyes(world, REACTION)
    ask = Ask("level", "set the box", wants=Wants.MARK, setting=1000.0)
    found: list[float] = []
    for _ in range(TURNS):
        while (key := eyes.moment(ask, now)) is None:
            now += 0.05
        found.append(key - set_at[-1])
        now += 10.0
    return found


def test_the_key_follows_the_knob_by_a_reaction_on_average_and_each_person_keeps_a_habit():
    table = np.array([keys_after_the_knob(seed) for seed in range(PEOPLE)])
    mean, habits = float(table.mean()), table.mean(axis=1)
    # uniform from 0 to 2 reactions between people (mean one reaction, standard deviation reaction/sqrt(3)), as the evaluation has it
    assert abs(mean - REACTION[0]) < 4 * REACTION[0] / 3**0.5 / PEOPLE**0.5
    assert 0.8 < float(habits.std()) / (REACTION[0] / 3**0.5) < 1.3
    assert 0.9 < float(table.std(axis=1, ddof=1).mean()) / REACTION[1] < 1.1
