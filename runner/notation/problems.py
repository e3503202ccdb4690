"""From what pydantic found wrong to sentences with a place in the user's file. Worded once, here."""

from __future__ import annotations

import difflib
import re
import types
import typing
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from runner.errors import Problem, SheetError
from runner.notation.quantity import QuantityError
from runner.notation.source import Path, Source, normal_key
from runner.notation.wrong import Wrong

S = TypeVar("S", bound=BaseModel)

KINDS = {
    "pack": "a pack sheet",
    "bench": "a bench file",
    "procedure": "a procedure",
    "dialect": "a dialect file",
    "answers": "an answers file",
}
ALSO_CALLED = {  # what instruments are called elsewhere
    "thermometer": "probe",
    "voltmeter": "meter",
    "multimeter": "meter",
    "power_supply": "supply",
    "electronic_load": "load",
    "decade_box": "box",
}
_BOUNDS = {
    "greater_than": "more than",
    "greater_than_equal": "at least",
    "less_than": "less than",
    "less_than_equal": "at most",
}
_PLAIN_WORDS = {
    "string_type": ("is not text", "write words, in quotes if necessary"),
    "bool_type": ("is neither true nor false", "write true or false"),
    "bool_parsing": ("is neither true nor false", "write true or false"),
    "int_type": ("is not a whole number", "write for example 8"),
    "int_parsing": ("is not a whole number", "write for example 8"),
    "int_from_float": ("is not a whole number", "write for example 8"),
    "float_type": ("is not a number", "write for example 2.0"),
    "float_parsing": ("is not a number", "write for example 2.0"),
    "tuple_type": ("is not a list", "write [one, two] or a dash before each"),
    "list_type": ("is not a list", "write [one, two] or a dash before each"),
    "dict_type": ("is not a table", "write key: value lines, indented"),
    "model_type": ("is not a table", "write key: value lines, indented"),
    "model_attributes_type": ("is not a table", "write key: value lines, indented"),
    "date_from_datetime_parsing": ("is not a date", "write it like 2026-03-31"),
    "date_parsing": ("is not a date", "write it like 2026-03-31"),
    "date_type": ("is not a date", "write it like 2026-03-31"),
}


def checked(source: Source, model: type[S], context: dict[str, Any] | None = None) -> S:
    """The file as an object of the model.

    Raises SheetError with everything that is wrong, YAML and content together; then no object exists.
    """
    if source.values is None:
        raise SheetError(source.problems)
    if another := _another_kind(source, model):
        raise SheetError([another])
    try:
        sheet = model.model_validate(source.values, context=context or {})
    except ValidationError as error:
        raise SheetError([*source.problems, *_problems(source, model, error)]) from error
    if source.problems:
        raise SheetError(source.problems)
    return sheet


def _another_kind(source: Source, model: type[BaseModel]) -> Problem | None:
    """A good file in the wrong place: one sentence, not one for each of its keys."""
    field = model.model_fields.get("kind")
    if field is None or not isinstance(source.values, dict):
        return None
    wanted, given = next(iter(typing.get_args(field.annotation)), ""), source.values.get("kind")
    if not isinstance(given, str) or given == wanted or given not in KINDS or wanted not in KINDS:
        return None
    swapped = "are --pack and --bench swapped?" if {wanted, given} == {"pack", "bench"} else "give the right file"
    return source.problem(("kind",), f"this is {KINDS[given]}, but {KINDS[wanted]} is needed", swapped)


def _in_plain_words(found: ErrorDetails, name: str, written: str) -> tuple[str, str] | None:
    """What is wrong with a value by the library's checks and what to do, in our words; None where we have none."""
    kind, value = found["type"], found["input"]
    if kind == "too_short":
        return f"{name} is empty", "write at least one"
    if kind == "literal_error":
        return f"{value!r} is not one of {found['ctx']['expected']}", "write one of them"
    if kind in _BOUNDS:
        return f"{name}: {value!r} does not fit", f"write {_BOUNDS[kind]} {next(iter(found['ctx'].values())):g}"
    if kind in _PLAIN_WORDS:
        what, remedy = _PLAIN_WORDS[kind]
        shown = f": {value!r}" if isinstance(value, str | int | float | bool) else ""
        return f"{written}{shown} {what}", remedy
    return None


def _problems(source: Source, model: type[BaseModel], error: ValidationError) -> Iterable[Problem]:
    errors = error.errors()
    misspelt = set(_misspelt(model, errors))
    for found in errors:
        if found["type"] == "missing" and found["loc"] in misspelt:
            continue  # it is there, under a name that is nearly right, and that is reported
        if found["type"] == "too_short" and any(
            len(other["loc"]) > len(found["loc"]) and other["loc"][: len(found["loc"])] == found["loc"]
            for other in errors
        ):
            continue  # the list is short only because its items are wrong, and each of them is reported
        path: Path = tuple(part for part in found["loc"] if not str(part).startswith("<"))  # not the names of choices
        kind = found["type"]
        name = _called(path) if path else source.file
        cause = found.get("ctx", {}).get("error")
        if kind == "extra_forbidden":
            yield unknown_key(source, path, _fields_at(model, path[:-1]))
        elif kind == "missing":
            yield source.problem(path[:-1], f"{_written(path)} is missing", f"add {_written(path)}: …", key=True)
        elif isinstance(cause, QuantityError):
            yield source.problem(path, cause.what, cause.remedy, offset=cause.offset)
        elif (said := _in_plain_words(found, name, _written(path) if path else name)) is not None:
            yield source.problem(path, *said)
        elif cause is not None:
            if isinstance(cause, Wrong):
                yield source.problem((*path, cause.key) if cause.key else path, cause.what, cause.remedy)
            else:
                yield source.problem(path, str(cause), "")
        else:
            yield source.problem(
                path, f"{name}: {found['msg'][:1].lower()}{found['msg'][1:]}", "see `tripwitness schema`"
            )


def _called(path: Path) -> str:
    """What the thing at a path is called in a sentence."""
    last = path[-1]
    if isinstance(last, int):
        return f"item {last + 1} of {str(path[-2]).replace('_', ' ')}" if len(path) > 1 else f"item {last + 1}"
    return last.replace("_", " ")


def _written(path: Path) -> str:
    """The key at a path as files write it."""
    return as_written(path[-1]) if isinstance(path[-1], str) else _called(path)


def _misspelt(model: type[BaseModel], errors: Sequence[ErrorDetails]) -> Iterable[Path]:
    """The places of missing keys for which an unknown key at the same level is a near miss."""
    for found in errors:
        if found["type"] == "extra_forbidden":
            *above, key = found["loc"]
            near = _near(str(key), _fields_at(model, tuple(above)))
            if near:
                yield (*above, near)


def _near(key: str, known: Iterable[str]) -> str:
    return next(iter(difflib.get_close_matches(normal_key(key), list(known), n=1, cutoff=0.6)), "")


def unknown_key(source: Source, path: Path, known: Iterable[str]) -> Problem:
    """A key nobody reads, as the file has it, with what it is called here, the near miss, or the whole list as remedy."""
    known = sorted(known)
    written = source.written(path)
    here = ALSO_CALLED.get(str(path[-1]).lower(), "")
    near = _near(str(path[-1]), known)
    if here in known:
        remedy = f"a {written} is called {here} here"
    else:
        allowed = f"allowed here: {', '.join(map(as_written, known))}" if known else "remove it"
        remedy = f"did you mean {as_written(near)}?" if near else allowed
    return source.problem(path, f"unknown key {written!r}", remedy, key=True)


def as_written(name: str) -> str:
    """A key as files and manuals write it: protections with their own words, all others with underscores."""
    return re.sub(r"^((?:charge|discharge)_)?(over|under)_(temperature|voltage|current)$", _hyphenated, name)


def _hyphenated(found: re.Match[str]) -> str:
    path = (found[1] or "").replace("_", " ")
    return f"{path}{found[2]}-{found[3]}"


def _fields_at(model: type[BaseModel], path: Path) -> Iterable[str]:
    """The names of the fields of the model found by walking down a path from the outermost one."""
    here: Any = model
    named = False  # the next part is a name that somebody has chosen, and no field
    for part in path:
        if named:
            named = False
        elif isinstance(here, type) and issubclass(here, BaseModel) and isinstance(part, str):
            fields = {field.alias or name: field for name, field in here.model_fields.items()}
            annotation = fields[part].annotation if part in fields else None
            here, named = _inner(annotation), typing.get_origin(annotation) is dict
    if isinstance(here, type) and issubclass(here, BaseModel):
        return [field.alias or name for name, field in here.model_fields.items()]
    return []


def _inner(annotation: Any) -> Any:
    """``tuple[X, ...]``, ``dict[str, X]``, ``X | None`` and ``Annotated[X, …]`` to ``X``."""
    origin, arguments = typing.get_origin(annotation), typing.get_args(annotation)
    if origin in (typing.Union, types.UnionType):
        return _inner(next(item for item in arguments if item is not type(None)))
    if origin in (tuple, list, typing.Annotated):
        return _inner(arguments[0])
    if origin is dict:
        return _inner(arguments[1])
    return annotation
