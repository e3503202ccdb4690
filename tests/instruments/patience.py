"""Links of the tests on a machine that may stand still for a second or two: answers are waited for, only silence is timed.

What has to come at a certain moment comes when the link does something, not after a time.
"""

import contextlib

import pytest

from runner.bench.framing import Framing
from runner.errors import LinkError

ANSWERED = 10.0  # s, where an answer comes
SILENT = 0.2  # s, where none comes
QUIET = 0.3  # s


class Patient(Framing):
    """The same framing; whoever waits for a line to fall silent is given ANSWERED s more."""

    @property
    def settling(self):
        return super().settling + ANSWERED


@contextlib.contextmanager
def silence(link, match="no reply within"):
    """What is asked meanwhile gets no answer, and that is said after SILENT s."""
    link.timeout = SILENT
    with pytest.raises(LinkError, match=match):
        yield
    link.timeout = ANSWERED
    link.hurry()


class Watched:
    """A transport that calls ``before(what, content)`` before each ``write`` and ``read`` of its connection."""

    blocks = True

    def __init__(self, inner, before):
        self._inner, self._before = inner, before
        self.open, self.close = inner.open, inner.close

    @property
    def sees_unread(self):
        return self._inner.sees_unread

    def write(self, message):
        self._before("write", message)
        self._inner.write(message)

    def read(self, limit, seconds):
        self._before("read", b"")
        return self._inner.read(limit, seconds)


def watched(connect, before):
    """``connect``, its transports watched: ``before(opening, what, content)``, the first opening is 1."""
    openings = [0]

    def make():
        openings[0] += 1
        number = openings[0]
        return Watched(connect(), lambda what, content: before(number, what, content))

    return make
