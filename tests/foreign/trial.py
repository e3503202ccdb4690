"""One record of a foreign world, as every such world hands it over: what was read, what was done, what is declared, what is true.

A world is a module with ``departures() -> tuple[str, ...]`` (PLAIN first, EVERYTHING last) and ``trial(seed, departure) -> Trial``.
The same seed and departure give the same record.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

PLAIN, EVERYTHING = "plain", "everything together"


@dataclass(frozen=True)
class Step:
    """What the operator did to provoke the pack, and what the pack then did. Times in s on the run's clock.

    ``kind`` is "heat", "cool", "box", "drain" or "rest"; ``rate`` in K/s as asked for, with its sign; ``ramp_began`` when the ramp
    itself began; ``crossed`` when what the pack measures truly passed its limit, ``acted`` when the pack opened or closed its path, None if it did not; ``opens`` which of the two;
    ``levels`` are what a decade box was set to, in °C, and when the person's key said so.
    """

    kind: str
    began: float
    acted: float | None
    opens: bool
    rate: float = 0.0
    ramp_began: float | None = None
    cycle: int = 0
    levels: tuple[tuple[float, float], ...] = ()
    ended: float | None = None
    crossed: float | None = None


@dataclass(frozen=True)
class Trial:
    """``channels``: (times, values) by the names in runner.events; ``truth`` by the name of the finding, in SI or °C.

    ``along`` is +1 or −1 by finding: the direction in which what was measured moved, so that a lag shows as a positive error.
    ``declared`` is what sheet and bench file say (see the world); ``drawn`` is everything that was drawn, for whoever looks for
    the reason of an error; ``modes`` and ``outputs`` belong to the readings of the fast channel.
    """

    world: str
    departure: str
    seed: int
    channels: Mapping[str, tuple[np.ndarray, np.ndarray]]
    steps: tuple[Step, ...]
    declared: Mapping[str, Any]
    truth: Mapping[str, float]
    drawn: Any
    interval: float
    on_at: float
    level: float
    modes: np.ndarray
    extra: Mapping[str, Any] = field(default_factory=dict)
    along: Mapping[str, float] = field(default_factory=dict)


Change = Callable[[Any, Any], None]  # (dice, what is drawn): one departure, written into what is drawn


def changed(rng, drawn, groups: Mapping[str, Mapping[str, Change]], departure: str, weights: Mapping[str, float]):
    """What is drawn, with one departure or with all: of each group one, or none of them.

    Departures of one group exclude each other. ``weights`` is the chance of a group to depart at all in "everything together";
    one half where it is not named.
    """
    if departure == EVERYTHING:
        for name, group in groups.items():
            if rng.random() < weights.get(name, 0.5):
                rng.choice(list(group.values()))(rng, drawn)
    elif departure != PLAIN:
        one = next(group[departure] for group in groups.values() if departure in group)
        one(rng, drawn)
    return drawn


def names(groups: Mapping[str, Mapping[str, Change]]) -> tuple[str, ...]:
    """The departures of a world, plain first and all together last."""
    return (PLAIN, *(name for group in groups.values() for name in group), EVERYTHING)
