"""A terminal that a screen had taken, given back: line mode and echo on, alternate page, mouse and paste reports off."""

from __future__ import annotations

import contextlib
import os

# keyboard protocol, in-band resize, focus, paste and mouse reports, alternate page, cursor, colours
_BACK = "\x1b[<u\x1b[?2048l\x1b[?1004l\x1b[?2004l\x1b[?1015l\x1b[?1006l\x1b[?1003l\x1b[?1000l\x1b[?1049l\x1b[?25h\x1b[0m\r\n"


def give_back(fd: int) -> None:
    """Make a terminal (-1: there is none) fit for lines again, whatever state it was left in. Never raises."""
    if fd < 0:
        return
    try:
        import termios
    except ImportError:
        return
    with contextlib.suppress(termios.error, OSError):
        modes = termios.tcgetattr(fd)
        modes[0] |= termios.ICRNL | termios.IXON
        modes[1] |= termios.OPOST | termios.ONLCR
        modes[3] |= termios.ISIG | termios.ICANON | termios.ECHO | termios.ECHOE | termios.ECHOK | termios.IEXTEN
        termios.tcsetattr(fd, termios.TCSANOW, modes)
        os.write(fd, _BACK.encode())
