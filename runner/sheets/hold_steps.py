"""Steps in which nothing goes on until a person has said so: hold points, readings, inspections. Models of the file."""

from __future__ import annotations

import difflib
import string
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, ValidationInfo, model_validator

from runner.notation.fields import AS_IT_WAS, NAMES, AnyExpression, Sheet, VoltageExpression, dimension_of
from runner.notation.source import normal_key
from runner.notation.wrong import Wrong
from runner.vocabulary import SAID_BY_A_PROCEDURE, Observed

READ_AS = ("", *(each.value for each in SAID_BY_A_PROCEDURE if each is not Observed.CONDITION))
# limits of a step that its own text may name; "": of the dimension that is read
OF_A_STEP = {"below": "temperature", "above": "temperature", "lowest": "", "highest": ""}
TEXT_NAMES = ("sensor", "place", "ohms_at_25", "current_ceiling", "supply", *OF_A_STEP)


def _check_text(text: str, info: ValidationInfo) -> str:
    known = {*(info.context or {}).get(NAMES, {}), *TEXT_NAMES}
    try:
        parts = [each for each in string.Formatter().parse(text) if each[1] is not None]
    except ValueError as error:
        raise Wrong(f"the braces in the text do not match ({error})", "write {trip} for a value") from error
    as_it_was = (info.context or {}).get(AS_IT_WAS)
    if not as_it_was and any(spec or conversion for _, _, spec, conversion in parts):
        raise Wrong("a brace holds more than a name", "write {trip} alone; unit and digits are added automatically")
    for name in (normal_key(str(each[1])) for each in parts):
        if name not in known:
            near = difflib.get_close_matches(name, sorted(known), n=1)
            spelt = ", ".join(f"{{{each.replace('_', ' ')}}}" for each in sorted(known))
            remedy = f"did you mean {{{near[0].replace('_', ' ')}}}?" if near else f"choose one of {spelt}"
            raise Wrong(f"{{{name.replace('_', ' ')}}} is not a known name", remedy)
    return text


Text = Annotated[str, AfterValidator(_check_text)]


class ConfirmSpec(Sheet):
    """A hold point: nothing goes on until a person has said so. ``record`` is what is written down about it.

    ``box``: the decade box is ``in`` the sensor's place from here on, or ``out`` and the sensor plugged back in.
    """

    say: Text
    record: str = ""
    box: Literal["", "in", "out"] = ""


class ReadSpec(Sheet):
    """The operator types a reading, or picks a word from ``choices``. Outside ``lowest`` … ``highest`` a second look is asked for.

    ``unit`` is the unit shown and assumed where only a number is typed. ``doubtful`` are choices that count as bad news.
    ``as`` says what is read, where findings or the certificate use it; ``record`` is what people read about it. ``from`` names a
    further instrument of the bench, or ``cells``: where the bench has it nobody is asked.
    """

    say: Text
    record: str
    as_: Literal[READ_AS] = Field(default="", alias="as")  # type: ignore[valid-type]
    unit: str = ""
    lowest: AnyExpression | None = None
    highest: AnyExpression | None = None
    choices: tuple[str, ...] = ()
    doubtful: tuple[str, ...] = ()
    role: Literal["", "display", "counter", "meter", "probe"] = ""
    from_: str = Field(default="", alias="from")

    @property
    def dimension(self) -> str:
        """That of the number that is typed; empty where a word is picked."""
        return dimension_of(f"1 {self.unit}", {}) if self.unit else ""

    @model_validator(mode="after")
    def _number_or_word(self) -> Self:
        if bool(self.unit) == bool(self.choices):
            raise Wrong("read needs either unit (a number is typed) or choices (a word is picked)", "keep one")
        if self.unit:
            try:
                dimension = dimension_of(f"1 {self.unit}", {})
            except ValueError as error:
                raise Wrong(f"{self.unit!r} is not a unit used here", "write for example V, A, Ah, degC") from error
            for name in ("lowest", "highest"):
                limit = getattr(self, name)
                if limit is not None and limit.dimension != dimension:
                    raise Wrong(f"{name} is a {limit.dimension}, the reading is a {dimension}", "give one kind")
        wanted = Observed(self.as_).dimension if self.as_ else None
        if wanted is not None and wanted != self.dimension:
            kind = f"a {wanted}" if wanted else "a choice, so it needs choices:"
            raise Wrong(f"as: {self.as_} is {kind}", "correct unit, or remove as:")
        if self.from_ and not self.unit:
            raise Wrong("from is for a number", "add unit, or remove from")
        extremes = (Observed.LOWEST_CELL_VOLTAGE, Observed.HIGHEST_CELL_VOLTAGE)
        if normal_key(self.from_) == "cells" and self.as_ not in extremes:
            raise Wrong("cells are many readings", f"add as: {extremes[0]} or as: {extremes[1]}")
        stray = [word for word in self.doubtful if word not in self.choices]
        if stray:
            raise Wrong(f"doubtful names {', '.join(stray)}, which is not one of the choices", "spell it as there")
        return self


class CellsSpec(Sheet):
    """The highest and the lowest cell voltage, before anything goes on: ``within`` is how far apart they may be.

    They are read where the bench has a meter at every cell, else typed. Further apart, or not seen, a person has to agree, with a
    reason. A cell below ``lowest`` ends it: nobody can agree to that. ``record`` is what people read about it.
    """

    say: Text
    within: VoltageExpression
    lowest: VoltageExpression | None = None
    record: str = "cell voltages"


class InspectSpec(Sheet):
    """Things to look at, one after the other: each is seen good, seen bad, or not seen, with a note and files if wanted.

    ``as: condition`` says that they are the condition in which the pack came.
    """

    say: Text
    as_: Literal["", "condition"] = Field(default="", alias="as")
    items: tuple[str, ...] = Field(min_length=1)
