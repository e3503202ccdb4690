"""What is to be done in at most MOST characters, for the large letters; and the line that says what is switched on.

Each has several wordings, the fullest first; the first that fits is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from runner.screen.now.to_do import SwitchState, ToDo, Verb
from runner.screen.texts import large as texts
from runner.screen.widgets.big_text import KNOWN, columns
from runner.vocabulary import Role

MOST, WIDEST = 20, 80  # characters, and columns of a narrow terminal

_WORDS: dict[Verb, Callable[[ToDo], Sequence[str]]] = {
    Verb.HEAT: lambda do: texts.at(texts.HEAT, do.what, do.value),
    Verb.COOL: lambda do: texts.at(texts.COOL, do.what, do.value),
    Verb.HEAT_FAST: lambda do: texts.fast(texts.HEAT, do.what),
    Verb.COOL_FAST: lambda do: texts.fast(texts.COOL, do.what),
    Verb.HOLD: lambda do: texts.at(texts.HOLD, do.what, do.value),
    Verb.TAKE_AWAY: lambda do: texts.TAKE_AWAY,
    Verb.MACHINE_HEATS: lambda do: texts.actuator(texts.ACTUATOR_HEATS, do.what),
    Verb.MACHINE_COOLS: lambda do: texts.actuator(texts.ACTUATOR_COOLS, do.what),
    Verb.READ_CAUTIONS: lambda do: texts.READ_CAUTIONS,
    Verb.CHECK: lambda do: texts.CHECK,
    Verb.READ: lambda do: texts.read(do.what),
    Verb.CHOOSE: lambda do: texts.CHOOSE,
    Verb.MARK: lambda do: texts.mark(do.what),
    Verb.SET_BOX: lambda do: texts.box(do.value),
    Verb.SWITCH_ON: lambda do: texts.switch(do.what, texts.ON),
    Verb.SWITCH_OFF: lambda do: texts.switch(do.what, texts.OFF),
    Verb.WAIT: lambda do: texts.WAIT,
    Verb.STOPPING: lambda do: texts.STOPPING,
    Verb.LEAVE: lambda do: texts.LEAVE,
    Verb.NOT_OFF: lambda do: texts.not_off(do.what),
    Verb.OVER: lambda do: texts.OVER,
}


def in_large(do: ToDo) -> str:
    """What is to be done, in the letters that are drawn: at most MOST of them, and no wider than WIDEST."""
    worded = _WORDS[do.verb](do)
    fitting = (text for text in worded if len(text) <= MOST and KNOWN.issuperset(text) and columns(text) <= WIDEST)
    return next(fitting, worded[-1])


def switch_line(switches: Sequence[SwitchState], mode: str) -> str:
    """Every switch and how it stands; ``mode`` (CC, CV) is what the supply says of itself."""
    return " · ".join(_state(each, mode) for each in switches) or texts.NO_SWITCH


def _state(switch: SwitchState, mode: str) -> str:
    if switch.unordered:
        how = texts.UNORDERED
    elif switch.on is None:
        how = texts.NOT_CONFIRMED
    elif switch.on and switch.role == Role.SUPPLY and mode in ("CC", "CV"):
        how = texts.on_in(mode)
    else:
        how = texts.IS_ON if switch.on else texts.IS_OFF
    return texts.switch_is(switch.role, how, by_hand=switch.by_hand)
