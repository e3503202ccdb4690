"""YAML text as plain values, with the line and column of every key and value.

Rule 1: a file is data. Tags that would build objects are errors, and so are anchors that would repeat a value unseen.
Rule 2: a key written twice is an error; the parser's "last one wins" would drop a limit without a word.
Rule 3: keys may be written with spaces or hyphens ("charge over-temperature"); inside they have underscores.
Rule 4: a number keeps how it was written: where text is wanted, 12E4 is a serial number and not a hundred and twenty thousand.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Self

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode
from ruamel.yaml.parser import ParserError

from runner.errors import Problem
from runner.notation.visible import visible

UNFITTING = ("the indentation does not fit the lines above", "give lines of one group the same indentation")
UNREADABLE = (
    "a second colon in this line, a tab, or a quote or bracket that is not closed",
    "put text with a colon in quotes, indent with spaces, close what is open",
)
MOST_CHARACTERS = 1_000_000
MOST_VALUES = 20_000
DEEPEST = 40
Place = tuple[int, int]
Path = tuple[str | int, ...]

_PLAIN_TAGS = {f"tag:yaml.org,2002:{name}" for name in ("str", "int", "float", "bool", "null", "timestamp")}


def normal_key(key: str) -> str:
    """``charge over-temperature`` and ``charge-over-temperature`` are ``charge_over_temperature``."""
    return key.strip().replace(" ", "_").replace("-", "_")


class _Written:
    """A number of a file that is, as a text, what the file has."""

    written: str

    def __str__(self) -> str:
        return self.written

    __repr__ = __str__

    def __deepcopy__(self, memo: object) -> Self:
        return self


class WrittenInt(_Written, int):
    """A whole one."""

    def __new__(cls, value: int, written: str) -> Self:
        number = super().__new__(cls, value)
        number.written = written
        return number

    def __reduce__(self) -> tuple[type[Self], tuple[int, str]]:
        return type(self), (int(self), self.written)


class WrittenFloat(_Written, float):
    """Another one."""

    def __new__(cls, value: float, written: str) -> Self:
        number = super().__new__(cls, value)
        number.written = written
        return number

    def __reduce__(self) -> tuple[type[Self], tuple[float, str]]:
        return type(self), (float(self), self.written)


def writer(*, plain: bool) -> YAML:
    """What writes values that were read: numbers as they were written. ``plain``: only values, else comments as well."""
    yaml = YAML(typ="safe", pure=True) if plain else YAML()
    for kind, tag in ((WrittenInt, "int"), (WrittenFloat, "float")):
        yaml.representer.add_representer(
            kind, lambda self, number, tag=tag: self.represent_scalar(f"tag:yaml.org,2002:{tag}", number.written)
        )
    return yaml


@dataclass
class Source:
    """A YAML file read: its values, the place of each, and what is wrong with it as YAML."""

    file: str
    text: str
    values: object = None
    problems: list[Problem] = field(default_factory=list)
    key_places: dict[Path, Place] = field(default_factory=dict)
    value_places: dict[Path, Place] = field(default_factory=dict)
    written_keys: dict[Path, str] = field(default_factory=dict)

    def place_of(self, path: Path, *, key: bool = False) -> Place:
        """Line and column of the value (or key) at a path, or of the nearest thing above it that exists."""
        if key and path in self.key_places:
            return self.key_places[path]
        while path and path not in self.value_places:
            path = path[:-1]
        return self.key_places[path] if key and path in self.key_places else self.value_places.get(path, (1, 1))

    def written(self, path: Path) -> str:
        """The last key of a path as the file has it."""
        return self.written_keys.get(path, str(path[-1]))

    def problem(self, path: Path, what: str, remedy: str = "", *, key: bool = False, offset: int = 0) -> Problem:
        line, column = self.place_of(path, key=key)
        return Problem(self.file, line, column + offset, what, remedy)


def read(text: str, file: str) -> Source:
    """Read YAML; what is wrong is in ``problems``, and ``values`` holds what could be read all the same.

    One job reads the same few files many times: what was read is kept, and every caller has a copy of its own.
    """
    kept = _kept(text, file)
    return replace(kept, values=deepcopy(kept.values), problems=list(kept.problems))


@lru_cache(maxsize=64)
def _kept(text: str, file: str) -> Source:
    source = Source(file, text)
    if len(text) > MOST_CHARACTERS:
        what = f"has more than {MOST_CHARACTERS / 1e6:g} million characters"
        source.problems.append(Problem(file, 1, 1, what, "check that it is the right file"))
        return source
    try:
        node = YAML(typ="safe", pure=True).compose(text)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
        what, remedy = UNFITTING if isinstance(error, ParserError) else UNREADABLE
        source.problems.append(Problem(file, line, column, f"is not YAML: {what}", remedy))
        return source
    except RecursionError:
        source.problems.append(Problem(file, 1, 1, "has too many levels", "use fewer levels"))
        return source
    except (YAMLError, ValueError) as error:
        source.problems.append(Problem(file, 1, 1, f"is not YAML: {error}", "save it as plain UTF-8 text"))
        return source
    if node is None:
        source.problems.append(Problem(file, 1, 1, "is empty", "see `tripwitness schema` for what belongs in it"))
        return source
    source.values = _Reader(source).value(node, ())
    return source


class _Reader:
    def __init__(self, source: Source) -> None:
        self.source = source
        self._open: list[Node] = []
        self._count = 0

    def value(self, node: Node, path: Path) -> object:
        self._count += 1
        if self._count > MOST_VALUES:
            if self._count == MOST_VALUES + 1:
                self._wrong(
                    node,
                    f"there are more than {MOST_VALUES} values, those that are repeated by * counted",
                    "write less",
                )
            return None
        self.source.value_places[path] = _place(node)
        if len(self._open) > DEEPEST:
            self._wrong(node, f"has more than {DEEPEST} levels", "use fewer levels")
            return None
        if node in self._open:
            self._wrong(node, "refers to itself", "write the value out")
            return None
        self._open.append(node)
        try:
            if isinstance(node, MappingNode):
                return self._mapping(node, path)
            if isinstance(node, SequenceNode):
                return [self.value(item, (*path, index)) for index, item in enumerate(node.value)]
            assert isinstance(node, ScalarNode)
            return self._scalar(node)
        finally:
            self._open.pop()

    def _mapping(self, node: MappingNode, path: Path) -> dict[str, object]:
        values: dict[str, object] = {}
        for key_node, value_node in self._pairs(node):
            key = normal_key(visible(str(key_node.value)))
            if key in values:
                self._wrong(key_node, f"{key_node.value!r} is written twice", "keep one of them")
                continue
            self.source.key_places[(*path, key)] = _place(key_node)
            self.source.written_keys[(*path, key)] = str(key_node.value)
            values[key] = self.value(value_node, (*path, key))
        return values

    def _pairs(self, node: MappingNode) -> Iterator[tuple[Node, Node]]:
        for key_node, value_node in node.value:
            if isinstance(key_node, ScalarNode):
                yield key_node, value_node
            else:
                self._wrong(key_node, "a key must be a word", "put text with braces in quotes")

    def _scalar(self, node: ScalarNode) -> object:
        if str(node.tag) not in _PLAIN_TAGS:
            self._wrong(node, f"the tag {node.tag} is not allowed", "write a plain value")
            return None
        kind = str(node.tag).rsplit(":", 1)[1]
        text = str(node.value)
        if (shown := visible(text)) != text:
            self._wrong(node, f"has characters that are not seen: {shown[:80]}", "write it without them")
            return None
        if kind == "null":
            return None
        if kind == "bool":
            return text.lower() == "true"
        if kind in ("int", "float"):
            if text.lstrip("+-")[:1] == "0" and text.isdigit() and len(text) > 1:
                return text  # 0042 is a serial number, not forty-two
            try:
                return WrittenInt(int(text), text) if kind == "int" else WrittenFloat(float(text), text)
            except ValueError:
                return text
        return text

    def _wrong(self, node: Node, what: str, remedy: str) -> None:
        line, column = _place(node)
        self.source.problems.append(Problem(self.source.file, line, column, what, remedy))


def _place(node: Node) -> Place:
    return node.start_mark.line + 1, node.start_mark.column + 1
