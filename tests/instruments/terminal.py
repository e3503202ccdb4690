"""An instrument on a pseudo terminal: what is written to its far end is heard here, byte for byte.

A pseudo terminal has no baud rate and no parity; they are set, and do nothing.
"""

import contextlib
import os
import select
import threading
import time
import tty


class Pty:
    """A pseudo terminal and its far end. With ``link``, a path that leads to it, it can be unplugged and plugged in again."""

    def __init__(self, link=None):
        self._link, self.plugged, self._slaves = link, False, []
        self._reading, self._writing = threading.Lock(), threading.Lock()
        self.plug()

    def plug(self):
        self._master, slave = os.openpty()
        self._slaves.append(
            slave
        )  # open here, so that a closed connection is no hang-up and no other terminal gets its number
        tty.setraw(self._master)
        tty.setraw(slave)
        os.set_blocking(self._master, False)  # what nobody reads is lost, as on a line
        self.path = os.ttyname(slave)
        self.plugged = True
        if self._link is not None:
            self._link.symlink_to(self.path)
            self.path = str(self._link)

    def unplug(self):
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        with self._reading, self._writing:
            if self.plugged:
                os.close(self._master)
            self.plugged = False

    def close(self):
        self.unplug()
        while self._slaves:
            os.close(self._slaves.pop())

    def read(self, seconds):
        """What has come within so many seconds."""
        with self._reading:
            if self.plugged:
                with contextlib.suppress(OSError):
                    return os.read(self._master, 4096) if select.select([self._master], [], [], seconds)[0] else b""
        time.sleep(seconds)
        return b""

    def write(self, content):
        with self._writing, contextlib.suppress(OSError):
            if self.plugged:
                os.write(self._master, content)


class OnATerminal:
    """Hears commands that end with ``hears`` and answers through ``answer(text)``: bytes, None, or a tuple with pauses in s.

    ``echo``: sends back what it hears. ``gap``: a command that comes sooner after the last reply than this is not heard.
    ``deaf()``: nothing is heard as long as it says so.
    """

    def __init__(self, answer, hears=b"\r", *, echo=False, gap=0.0, link=None):
        self.answer, self.hears, self.echo, self.gap = answer, hears, echo, gap
        self.heard, self.missed, self.deaf = [], [], lambda: False
        self._pty = Pty(link)
        self.path, self.plug, self.unplug = self._pty.path, self._pty.plug, self._pty.unplug
        self.address = f"ASRL{self.path}::INSTR"
        self._free_at, self._over = 0.0, False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def send(self, content):
        """Bytes that nobody asked for."""
        self._pty.write(content)

    def _run(self):
        came = b""
        while not self._over:
            came += self._pty.read(0.02)
            while self.hears in came:
                line, _, came = came.partition(self.hears)
                self._hear(line.decode("latin1"))

    def _hear(self, text):
        if self.deaf() or time.monotonic() < self._free_at:
            self.missed.append(text)
            return
        self.heard.append(text)
        if self.echo:
            self.send(text.encode("latin1") + self.hears)
        answer = self.answer(text)
        for part in answer if isinstance(answer, tuple) else (answer,):
            if isinstance(part, float):
                time.sleep(part)
            elif part is not None:
                self.send(part)
        self._free_at = time.monotonic() + self.gap

    def close(self):
        self._over = True
        self._thread.join(1.0)
        self._pty.close()

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()
