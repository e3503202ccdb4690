"""What the guard does: everything off on connections of its own, read back, written down, and said."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import signal
import sys
import threading
import time
from pathlib import Path
from typing import Any

from runner.bench.line import STOPS_SENDING, in_a_network
from runner.bench.link import Link
from runner.bench.off import MOMENT, SURE, Proof, attempt, switch_off_by_hand
from runner.bench.sessions.session import Session
from runner.guard.plan import Plan, Target
from runner.guard.terminal import give_back

RECORD = "guard.jsonl"
TOLD_AFTER = 4.0  # s after which a person is told what has not confirmed
PAUSES = (0.02, 0.05, 0.1, 0.2, 0.4, 0.7, 1.0)  # s between attempts; the last one again and again
GIVE_UP = 300.0  # s
LOOK_AGAIN = 0.5  # s after which it is seen that the runner has gone
END_WAIT = 1.0  # s that an ended runner is given to let go of its connections
HEAVY = ("numpy", "zeroconf", "psutil", "pandas")  # what the VISA library would load if it found it
FOR = {"serial": ("ASRL", "MODBUS"), "usb": ("USB",)}  # what it loads for some kinds of address only


class Act:
    """Everything the guard knows. ``told`` adds to it while the runner lives, ``make_safe`` uses it."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.folder = ""
        self.by_hand: list[str] = []  # what a person must still do, in sentences of the runner
        self._links: dict[str, Link] = {}
        self._off: dict[str, bool] = {}
        self._proofs = {each.role: Proof() for each in plan.targets}
        self._passed: set[str] = set()  # those for which nobody was called, though their current had not been read yet
        self._called: set[str] = set()  # those that a person was told to switch off
        self._to_say: list[str] = []  # what is known since, until it has been said
        self._kept_back: list[str] = []  # what is said when the runner has gone
        self._changed = threading.Condition()
        self._spoken = False
        self._writing = threading.Lock()
        self._first = ""
        self._leaving = False

    def prepare(self) -> None:
        """Load the transport and make the links, so that acting begins with the first byte."""
        addresses = " ".join(each.wiring.address.upper() for each in self.plan.targets)
        unneeded = [name for name, words in FOR.items() if not any(word in addresses for word in words)]
        for name in (*HEAVY, *unneeded):
            sys.modules.setdefault(name, None)  # type: ignore[arg-type]
        sessions: dict[str, Session] = {}
        for each in self.plan.targets:
            wiring = each.wiring
            with contextlib.suppress(Exception):  # acting will say what is wrong
                wiring.load()
            self._links[each.role] = Link(
                wiring.transport,
                wiring.address,
                each.role,
                timeout=wiring.timeout,
                framing=wiring.framing,
                start=each.start,
                session=sessions.setdefault(wiring.key, Session()),
            )

    def told(self, message: dict[str, Any]) -> None:
        """Something from the runner: its folder, or what a person would have to do now."""
        self.folder = str(message.get("folder", self.folder))
        self.by_hand = list(message.get("by hand", self.by_hand))

    def end_runner(self) -> None:
        """End a runner that hangs, and wait until its connections are closed."""
        with contextlib.suppress(OSError):
            os.kill(self.plan.runner, signal.SIGKILL)
        self._wait_until_gone()

    def runner_leaves(self) -> None:
        """The runner's end of the pipe is closed: it is ending, but for a moment it may still be there.

        A process closes its files before it is gone, and a bench that answers fast is off in between: without this,
        what a person must do would be kept back from a terminal that nobody else uses any more.
        """
        self._leaving = True

    def _wait_until_gone(self) -> None:
        until = time.monotonic() + END_WAIT
        while not self.runner_gone and time.monotonic() < until:
            time.sleep(0.005)

    def make_safe(self, why: str) -> None:
        """Everything off. Comes back when all has read back as off, or after GIVE_UP."""
        began = time.monotonic()
        self._first = self._line(
            {"what": "acting", "why": why}
        )  # goes to disk before all others, and after the first bytes of off
        for each in self.plan.targets:
            threading.Thread(target=self._insist, args=(each, began), name=each.role, daemon=True).start()
        self._wait_for_all(began + TOLD_AFTER)
        if self._leaving:
            self._wait_until_gone()
        with self._changed:
            self._passed = {role for role in self._unsure if self._only_unread(role)}
            self._called = set(self._unsure) - self._passed
        self._say(why)
        if not self._wait_for_all(began + GIVE_UP) and self._called:
            self._print("Everything is off now.")
        self._write({"what": "done", "not confirmed": self._unsure, "after_s": round(time.monotonic() - began, 3)})

    @property
    def runner_gone(self) -> bool:
        """While it lives the terminal is its own, and it says the same."""
        return os.getppid() != self.plan.runner

    @property
    def _unsure(self) -> list[str]:
        """What has not read back as off or, where nothing can be asked, has not been told."""
        return [each.role for each in self.plan.targets if not self._off.get(each.role)]

    def _only_unread(self, role: str) -> bool:
        """Whether it reads back off, and nothing is missing but its current: nobody is called for that alone."""
        proof = self._proofs[role]
        return proof.off and proof.unread

    def _insist(self, target: Target, began: float) -> None:
        number = unread = 0
        proof = self._proofs[target.role]
        while time.monotonic() - began < GIVE_UP:
            confirmed = attempt(self._links[target.role], target.words, proof)
            number += 1
            unread += proof.unread
            confirmed = confirmed and (not proof.unread or unread >= SURE)
            if not confirmed:
                self._call_for(target)
            left = began + STOPS_SENDING + MOMENT - time.monotonic()
            if confirmed and left > 0 and in_a_network(target.wiring.address):
                time.sleep(left)  # what the runner said last may still be on its way; then once more
                continue
            if confirmed:
                after = round(time.monotonic() - began, 4)
                with (
                    self._changed
                ):  # before it is written down: a disk that hangs must not keep a person from being told
                    self._off[target.role] = True
                    self._changed.notify_all()
                    shares = [each.role for each in self.plan.targets if each.wiring.key == target.wiring.key]
                self._write({"what": "off", "instrument": target.role, "attempt": number, "after_s": after})
                if all(self._off.get(role) for role in shares):
                    self._links[target.role].close()
                return
            time.sleep(PAUSES[min(number, len(PAUSES)) - 1])

    def _call_for(self, target: Target) -> None:
        """A person is called for one that was passed as soon as it does not read back off any more, or its current flows."""
        role = target.role
        with self._changed:
            if role not in self._passed or self._only_unread(role):
                return
            self._passed.discard(role)
            self._called.add(role)
            self._to_say.append(switch_off_by_hand([role], {role: self._proofs[role].doubt(target.words)}))
            self._changed.notify_all()  # it is said by another thread: a terminal that is held must not keep off from going out

    def _wait_for_all(self, until: float) -> list[str]:
        """Wait until all has read back as off, or ``until`` then; say meanwhile what is to be said. What is left."""
        while True:
            with self._changed:
                left = until - time.monotonic()
                if self._unsure and left > 0 and not self._to_say:
                    self._changed.wait(min(left, LOOK_AGAIN))
                lines, self._to_say = self._to_say, []
                unsure = self._unsure
            if lines:
                self._write({"what": "said", "lines": lines})
            self._print(*lines)
            if not lines and (not unsure or left <= 0):
                return unsure

    # ---- saying and writing ----------------------------------------------------------------------------------

    def _say(self, why: str) -> None:
        done = [each for each in self.plan.targets if each.role not in self._called]
        unread = [
            each.role
            for each in done
            if each.role in self._passed or (each.words.reports and self._proofs[each.role].unread)
        ]
        read_back = [each.role for each in done if each.words.reports and each.role not in unread]
        only_told = [each.role for each in done if not each.words.reports]
        lines = [f"TRIPWITNESS GUARD: {why}."]
        if read_back:
            lines.append(f"{_listed(read_back)} switched off and read back.")
        if only_told:
            lines.append(f"{_listed(only_told)} told to switch off and cannot be asked: look whether it is off.")
        for role in unread:
            lines.append(f"{role} reads back off; its current could not be read: look whether it is off.")
        called = [each for each in self.plan.targets if each.role in self._called]
        if called:
            doubts = {each.role: self._proofs[each.role].doubt(each.words) for each in called}
            lines.append(switch_off_by_hand([each.role for each in called], doubts))
        lines += self.by_hand
        if self.folder and self.runner_gone:
            lines.append(f"When the bench is safe, continue with: tripwitness resume {self.folder}")
        self._print(*lines)
        self._write({"what": "said", "lines": lines})

    def _print(self, *lines: str) -> None:
        """Say it, or keep it until the runner has gone."""
        self._kept_back += lines
        if not self._kept_back or not self.runner_gone:
            return
        lines, self._kept_back = tuple(self._kept_back), []
        terminal = self.plan.terminal
        if not self._spoken:
            give_back(terminal)
            self._spoken = True
        for line in lines:
            text = f"{line}\r\n".encode(errors="backslashreplace")
            for fd in (2, terminal):  # both, where the lines of errors go to a file
                if fd >= 0 and not (fd == 2 and terminal >= 0 and os.isatty(2)):
                    with contextlib.suppress(OSError):
                        os.write(fd, text)

    def _write(self, entry: dict[str, Any]) -> None:
        if not self.folder:
            return
        with self._writing, contextlib.suppress(Exception):  # a full disk or a folder gone: the bench comes first
            text, self._first = self._first + self._line(entry), ""
            fd = os.open(Path(self.folder) / RECORD, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
            try:
                os.write(fd, text.encode(errors="backslashreplace"))
                os.fsync(fd)
            finally:
                os.close(fd)

    @staticmethod
    def _line(entry: dict[str, Any]) -> str:
        stamp = datetime.datetime.now(datetime.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        return json.dumps({"utc": stamp, **entry}, ensure_ascii=False) + "\n"


def _listed(roles: list[str]) -> str:
    return f"{', '.join(roles[:-1])}{' and ' if roles[1:] else ''}{roles[-1]}"
