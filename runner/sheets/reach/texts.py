"""Texts and patterns of a dialect, tried out when the file is read: what is wrong must not be found when something is to go off."""

from __future__ import annotations

import importlib
import re
import string
import warnings
from collections.abc import Iterable, Iterator
from typing import Any

from runner.notation.wrong import Wrong

LONGEST_TEXT = 1000  # characters
PLACEHOLDERS = ("value", "channel", "place")


def compiled(pattern: str) -> re.Pattern[str]:
    """A user's pattern. Raises re.error; what a later Python may read otherwise is no matter for a user's screen."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        return re.compile(pattern)


def fields(text: str) -> Iterator[str]:
    """The names in braces. Raises ValueError for braces that do not close, or that ask for a format."""
    for _, name, form, conversion in string.Formatter().parse(text):
        if name is None:
            continue
        if form or conversion or name not in PLACEHOLDERS:
            shown = "{" + name + (f"!{conversion}" if conversion else "") + (f":{form}" if form else "") + "}"
            raise Wrong(
                f"{text!r} has an unknown placeholder {shown}", "only {value} and {channel} are allowed in braces"
            )
        yield name


def sendable(text: str, allowed: Iterable[str]) -> str:
    """A text that can be sent once the allowed names in braces are filled in. Raises ValueError."""
    if not text or not text.isascii() or not text.isprintable() or len(text) > LONGEST_TEXT:
        raise Wrong(
            f"{text[:60]!r} cannot be sent",
            f"write 1 to {LONGEST_TEXT} plain characters, the line end is added by itself",
        )
    try:
        found = set(fields(text)) - set(allowed)
    except Wrong:
        raise
    except ValueError as error:
        raise Wrong(f"{text!r}: {str(error).lower()}", "close the brace, or double it to send one") from error
    if found:
        raise Wrong(f"{text!r} has {{{found.pop()}}}, which has no meaning here", "remove it")
    return text


def a_pattern(pattern: str) -> str:
    """The pattern of a whole reply. Raises ValueError."""
    try:
        compiled(pattern)
    except re.error as error:
        raise Wrong(f"{pattern!r} is not a pattern ({error})", "write for example '0,.*'") from error
    return pattern


def with_one_group(pattern: str) -> str:
    """The pattern of a reply with one group, which takes part in every match. Raises ValueError."""
    try:
        groups = compiled(pattern).groups
    except re.error as error:
        raise Wrong(f"{pattern!r} is not a pattern ({error})", "write for example '([0-9.]+) V'") from error
    if groups != 1:
        raise Wrong(f"the pattern {pattern!r} has {groups} groups", "put the number, and only it, in brackets")
    if _may_be_left_out(pattern):
        raise Wrong(
            f"the pattern {pattern!r} also fits replies without the number",
            "remove ?, * or | around the brackets",
        )
    return pattern


def _may_be_left_out(pattern: str) -> bool:
    """Whether a pattern's group may take no part in a match, as in ``(?:([01]))?`` or ``([01])|OFF``."""
    parser: Any = importlib.import_module("re._parser")

    def always(items: Any) -> bool:
        """Whether every match of these items goes through the group."""
        for kind, argument in items:
            name = str(kind)
            if (
                (name == "SUBPATTERN" and (argument[0] == 1 or always(argument[-1])))
                or (
                    name in ("MAX_REPEAT", "MIN_REPEAT", "POSSESSIVE_REPEAT")
                    and argument[0] > 0
                    and always(argument[2])
                )
                or (name == "BRANCH" and all(always(each) for each in argument[1]))
                or (name == "ATOMIC_GROUP" and always(argument))
            ):
                return True
        return False

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        return not always(parser.parse(pattern))
