"""The family of errors. Each says what is wrong, where, and what to do about it.

    TripwitnessError
     ├── SheetError        a file the user wrote; carries every Problem of it, each with line and column
     ├── BenchError        an instrument or its connection; `instrument` and `command` say which
     │    ├── LinkError    no trustworthy reply: `kind` is refused, timeout, closed, stale, garbage, identity or address
     │    ├── SettingError the instrument did not take a setting: error queue or read-back
     │    └── NotAReading  a reply that is no finite number in the form asked for
     ├── RecordError       a file of a run folder; `where` is the file and line
     ├── RunLost           a run ended early, and its folder cannot be read
     ├── GuardMissing      the process that makes the bench safe when the runner cannot
     ├── Busy              another process has the instrument or the run folder
     └── OperatorGone      nobody can answer any more: screen closed, input ended, script run out

Rule 1: whoever is to blame decides the class (the user's file, the bench, the record, the operator).
Rule 2: a sentence that several places raise is built by a named constructor below, so that it is one sentence.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from runner.vocabulary import Exit

LONGEST_REPLY = 200  # characters of an instrument's reply that are kept in messages and records


def printable(text: str) -> str:
    """Text from outside as it may stand in messages and records: control characters escaped, at most LONGEST_REPLY long."""
    shown = "".join(
        each if each.isprintable() else each.encode("unicode_escape").decode() for each in text[:LONGEST_REPLY]
    )
    if len(text) <= LONGEST_REPLY and len(shown) <= LONGEST_REPLY:
        return shown
    return f"{shown[:LONGEST_REPLY]}… ({len(text)} characters)"


class TripwitnessError(Exception):
    """Something went wrong that is not a defect of this program. ``status`` is what a command exits with because of it."""

    status = Exit.WRONG_INPUT  # a file or an argument is wrong

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        super().__init__(what, where, remedy)
        self.what, self.where, self.remedy = what, where, remedy

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}; {self.remedy}" if self.remedy else text


@dataclass(frozen=True, order=True)
class Problem:
    """One thing wrong in a user's file, at a 1-based line and column; without a file what was typed is wrong."""

    file: str
    line: int
    column: int
    what: str
    remedy: str = ""

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        text = f"{where}: {self.what}" if where else self.what
        return f"{text}; {self.remedy}" if self.remedy else text


class SheetError(TripwitnessError):
    """Everything that is wrong in one or more of the user's files, in the order of their lines."""

    def __init__(self, problems: Iterable[Problem], status: Exit = Exit.WRONG_INPUT) -> None:
        self.status = status
        self.problems: Sequence[Problem] = tuple(sorted(set(problems)))
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def unreadable(cls, file: str, reason: str) -> SheetError:
        return cls([Problem(file, 0, 0, f"cannot be read: {reason}", "check the name of the file")])


class BenchError(TripwitnessError):
    """An instrument did not do its part. The reading or setting in question does not exist; nothing was guessed."""

    status = Exit.ENDED_EARLY

    def __init__(self, what: str, instrument: str = "", command: str = "", remedy: str = "") -> None:
        self.instrument, self.command = instrument, command
        where = f"{instrument} ({command})" if command else instrument
        super().__init__(what, where, remedy)


class LinkError(BenchError):
    """No reply that can be trusted. The session is closed; the next use opens a new one and asks for the identity."""

    def __init__(self, kind: str, what: str, instrument: str, command: str = "", remedy: str = "") -> None:
        super().__init__(what, instrument, command, remedy)
        self.kind = kind

    @classmethod
    def refused(cls, instrument: str, address: str, reason: str) -> LinkError:
        return cls(
            "refused",
            f"no connection to {address} ({printable(reason)})",
            instrument,
            "",
            "switch the instrument on, check cable and address, then repeat the check",
        )

    @classmethod
    def bad_address(cls, instrument: str, address: str) -> LinkError:
        return cls(
            "address",
            f"{address!r} is not a VISA address",
            instrument,
            "",
            "write it like TCPIP::192.0.2.10::5025::SOCKET or USB0::…::INSTR",
        )

    @classmethod
    def timed_out(cls, instrument: str, command: str, seconds: float) -> LinkError:
        return cls("timeout", f"no reply within {seconds:g} s", instrument, command)

    @classmethod
    def closed(cls, instrument: str, command: str, reason: str = "") -> LinkError:
        more = f" ({printable(reason)})" if reason else ""
        return cls("closed", f"the connection is closed{more}", instrument, command)

    @classmethod
    def stale(cls, instrument: str, command: str, waiting: str) -> LinkError:
        what = f"discarded an old reply '{printable(waiting)}'"
        remedy = "if it comes again and again, it sends more than it is asked for: try it with tripwitness bench --talk"
        return cls("stale", what, instrument, command, remedy)

    @classmethod
    def garbage(cls, instrument: str, command: str, reply: str) -> LinkError:
        return cls("garbage", f"unreadable reply '{printable(reply)}'", instrument, command)

    @classmethod
    def too_long(cls, instrument: str, command: str, most: int, begins: str) -> LinkError:
        what = f"the reply is longer than {most} bytes without an end; it begins '{printable(begins)}'"
        return cls("garbage", what, instrument, command, "check which instrument is at this address")

    @classmethod
    def not_done(cls, instrument: str, command: str, reason: str) -> LinkError:
        return cls(
            "refusal", f"the instrument refuses: {reason}", instrument, command, "compare its dialect with its manual"
        )

    @classmethod
    def never_silent(cls, instrument: str, seconds: float) -> LinkError:
        what = f"the line did not fall silent within {seconds:.1f} s"
        return cls("noise", what, instrument, "", "check baud rate, parity and cable; listen: true if it talks unasked")

    @classmethod
    def says_nothing_new(cls, instrument: str, seconds: float, last: str) -> LinkError:
        what = f"no line that fits for {seconds:g} s" + (f"; the last was '{last}'" if last else "")
        return cls("timeout", what, instrument, "", "compare its dialect with what it sends")

    @classmethod
    def wrong_echo(cls, instrument: str, command: str, came: str) -> LinkError:
        what = f"the echo '{printable(came)}' is not what was sent"
        return cls("garbage", what, instrument, command, "check baud rate and echo: in the bench file")

    @classmethod
    def missing(cls, instrument: str, address: str, extra: str) -> LinkError:
        what = f"{address} needs software that is not installed"
        return cls("missing", what, instrument, "", f"install it with: pip install 'tripwitness[{extra}]'")

    @classmethod
    def endless_queue(cls, instrument: str, command: str, last: str) -> LinkError:
        what = f"the error queue does not empty (last entry: '{printable(last)}')"
        return cls("garbage", what, instrument, command, "compare the errors: entry of its dialect with its manual")

    @classmethod
    def wrong_identity(cls, instrument: str, expected: str, got: str) -> LinkError:
        return cls(
            "identity",
            f"identifies itself as '{got}', but the bench file says '{expected}'",
            instrument,
            "*IDN?",
            "connect the right instrument or correct identity in the bench file",
        )


class MissingExtra(TripwitnessError):
    """An interface needs a library that a bare installation has not got; ``extra`` is what installs it."""

    def __init__(self, extra: str) -> None:
        super().__init__("software is not installed", "", f"install it with: pip install 'tripwitness[{extra}]'")
        self.extra = extra


class SettingError(BenchError):
    """A setting was not taken. The output has not been switched on because of it."""

    @classmethod
    def complained(cls, instrument: str, command: str, error: str) -> SettingError:
        what = f"the instrument reports {printable(error)}"
        return cls(what, instrument, command, "compare its dialect with its manual")

    @classmethod
    def reads_back(cls, instrument: str, command: str, wanted: float, got: float) -> SettingError:
        return cls(
            f"was set to {wanted:g} but reads back {got:g}",
            instrument,
            command,
            "check its front panel for a limit or a local lock",
        )

    @classmethod
    def not_switched(cls, instrument: str, command: str, *, on: bool) -> SettingError:
        told, reports = ("on", "off") if on else ("off", "on")
        return cls(
            f"it was told to switch {told}, but reports {reports}",
            instrument,
            command,
            "check its front panel (own protection, local lock)",
        )

    @classmethod
    def lost(cls, instrument: str, what: str, was: float, got: float) -> SettingError:
        return cls(
            f"its {what} was set to {was:g} and reads {got:g} since the connection came back",
            instrument,
            "",
            "look whether it was without power: its settings are lost",
        )

    @classmethod
    def unordered(cls, instrument: str, current: float | None = None) -> SettingError:
        """``current``: in A, of one that cannot report whether it is on."""
        shown = "it is on" if current is None else f"it reads {current:.3g} A"
        return cls(
            f"{shown} although this run has it off (switched on at its front, or by another program)",
            instrument,
            "",
            "leave it alone, then resume",
        )


class NotAReading(BenchError):
    """A reply that is not a finite number. It is never taken for zero."""

    @classmethod
    def reply(cls, instrument: str, command: str, reply: str) -> NotAReading:
        echoes = bool(command) and reply.strip() == command.strip()
        heard = (
            "the instrument sends back what it hears: echo: true in its serial:, or its own echo off if that is there"
        )
        remedy = heard if echoes else ""
        return cls(f"the reply '{printable(reply)}' is not a reading", instrument, command, remedy)


class BenchNotReady(BenchError):
    """Several instruments could not be opened; ``faults`` has one error each."""

    def __init__(self, faults: list[BenchError]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


class RecordError(TripwitnessError):
    """A run folder cannot be written or believed. Files that were written before stay as they are."""

    @classmethod
    def broken_chain(cls, file: str, line: int) -> RecordError:
        return BrokenChain(
            "the hash of the previous line does not match: the journal was changed after writing",
            f"{file}:{line}",
            "use a backup of the folder",
        )

    @classmethod
    def not_json(cls, file: str, line: int) -> RecordError:
        return cls("is not a line of the journal", f"{file}:{line}", "use a backup of the folder")

    @classmethod
    def missing(cls, file: str) -> RecordError:
        return cls("is missing", file, "give a run folder made by this program")

    @classmethod
    def no_folder(cls, folder: str) -> RecordError:
        return cls("no such folder", folder, "give a run folder made by this program")

    @classmethod
    def holds_runs(cls, folder: str, names: str = "") -> RecordError:
        """``names``: of those that are inside, as far as they are to be named."""
        said = f": {names}" if names else ""
        return cls(f"is no run folder, but holds some{said}", folder, "give one of the run folders in it")

    @classmethod
    def is_a_session(cls, folder: str) -> RecordError:
        return cls("is a session", folder, "give one of the run folders in it")

    @classmethod
    def is_a_file(cls, file: str) -> RecordError:
        return cls("is a file, not a run folder", file, "give a run folder made by this program")

    @classmethod
    def cannot_make(cls, folder: str, reason: str) -> RecordError:
        return cls(f"cannot be made: {reason}", folder, "choose another folder with --out")

    @classmethod
    def cannot_write(cls, file: str, reason: str) -> RecordError:
        error = cls(f"cannot be written: {reason}", file, "make room or choose another folder with --out")
        error.status = Exit.ENDED_EARLY  # the disk, not the argument
        return error

    @classmethod
    def gone(cls, file: str) -> RecordError:
        what = "the run folder was removed or moved"
        error = cls(what, file, "run again and keep the folder")
        error.status = Exit.ENDED_EARLY
        return error


class RunLost(TripwitnessError):
    """A run ended early, and its folder cannot be read any more."""

    status = Exit.ENDED_EARLY

    @classmethod
    def after(cls, reason: str, why: str) -> RunLost:
        return cls(f"the run ended early: {reason}; its findings cannot be calculated: {why}")


class GuardMissing(TripwitnessError):
    """The process that makes the bench safe when the runner cannot is not there. Nothing is switched on without it."""

    status = Exit.ENDED_EARLY

    @classmethod
    def not_started(cls, reason: str) -> GuardMissing:
        return cls(
            f"could not be started: {reason}",
            "guard",
            "check whether this computer may start processes, then run again",
        )


class Busy(TripwitnessError):
    """Another process has the instrument or the run folder. Nothing was touched."""

    status = Exit.ENDED_EARLY

    @classmethod
    def held(cls, what: str, holder: str) -> Busy:
        return cls(
            f"is in use by {holder}",
            what,
            "wait until it has finished (minutes, if its terminal was closed), or stop it",
        )

    @classmethod
    def by_guard(cls, what: str, holder: str) -> Busy:
        """``holder``: what the program that has ended had written into the lock."""
        return cls(
            f"the guard of {holder} has it: that program has ended, and the guard switches the bench off",
            what,
            "wait until the guard has finished; what it cannot switch off, switch off by hand",
        )


class BrokenChain(RecordError):
    """A line of a journal does not have the hash of the one before it: one of the two was changed."""


class OperatorGone(TripwitnessError):
    """No operator can answer. The run is stopped and the bench made safe."""

    @classmethod
    def input_ended(cls, question: str) -> OperatorGone:
        return cls(
            "the end of the input (nobody could answer any more)",
            f"at “{question}”" if question else "while no question was open",
            "add the answer, or use --unattended to rehearse",
        )

    @classmethod
    def output_closed(cls) -> OperatorGone:
        return cls(
            "the output was closed (terminal or pipe): nobody could read on", "standard output", "resume the run"
        )

    @classmethod
    def no_answer(cls, question: str, what: str) -> OperatorGone:
        return cls(f"an invalid answer to “{question}”: {what}", "script", "correct the answers file")
