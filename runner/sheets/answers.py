"""Scripted answers for hold points, for rehearsals and tests."""

from __future__ import annotations

from typing import Literal

from pydantic import ValidationInfo, field_validator

from runner.notation.fields import Sheet, Time
from runner.notation.problems import checked
from runner.notation.source import read
from runner.notation.wrong import Wrong

Word = Literal["go on", "stop"]


class Answers(Sheet):
    """``answers`` in the order of the questions: go on, stop, a reading such as 26.4 V, or a choice such as good.

    ``agree`` is the reason for agreeing to what is unusual on the pack sheet, where something is; ``leave_out`` is
    the reason for leaving such a procedure out instead.

    ``then`` is for all that come later (without it nobody is left); ``wait`` seconds before each; ``by`` the name that
    goes into the record.
    """

    kind: Literal["answers"]
    by: str = "script"
    answers: tuple[str, ...] = ()
    then: Word | None = None
    wait: Time = 2.0
    agree: str = ""
    leave_out: str = ""

    @field_validator("agree", "leave_out")
    @classmethod
    def _is_a_reason(cls, reason: str, info: ValidationInfo) -> str:
        if reason and not reason.strip():
            raise Wrong(f"{info.field_name} is empty", f"write the reason or remove {info.field_name}")
        if info.field_name == "leave_out" and reason and info.data.get("agree"):
            raise Wrong("agree and leave_out are both given", "keep the one that is meant")
        return reason

    @property
    def judges(self) -> bool:
        """Whether there is an answer for what is unusual: it is accepted, or the procedure is left out."""
        return bool(self.agree or self.leave_out)


def parse_answers(text: str, file: str) -> Answers:
    """Answers from their text. Raises SheetError with all that is wrong."""
    return checked(read(text, file), Answers)
