"""What a terminal, a system or a person sends a program that has something on: each of them presses the stop."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Iterator
from types import FunctionType

from runner.conduct.interfaces import StopFlag
from runner.conduct.texts.runs import BY_SIGNAL

_STAYS = ("SIGTSTP", "SIGQUIT")  # keys of a person who is still there
# a key, an end, a closed terminal; and those by which a terminal suspends or dumps a program that has something on
_SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGTSTP", "SIGQUIT") if hasattr(signal, name)
)


@contextlib.contextmanager
def pressing(stop: StopFlag) -> Iterator[None]:
    """Ctrl-C, SIGTERM and a closed terminal press the stop; what was set before comes back afterwards, and is told of it."""

    def pressed(number: int, _: object) -> None:
        name = signal.Signals(number).name
        if name in _STAYS:
            stop.press(BY_SIGNAL[name])
        else:
            stop.signalled(name, BY_SIGNAL.get(name, name))

    before = {number: signal.signal(number, pressed) for number in _SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
            if stop.signal == signal.Signals(number).name and isinstance(handler, FunctionType):
                handler(number, None)
