"""What contradicts itself on a command line: all of it is said at once, before anything is read, opened or started."""

from __future__ import annotations

import math
from argparse import Namespace
from collections.abc import Iterable, Iterator

from runner.errors import Problem, SheetError

Said = tuple[str, str]  # what is wrong, what to do
LAST_PORT = 65535


def refuse(found: Iterable[Said]) -> None:
    """Raises SheetError with everything in ``found``, if there is anything."""
    problems = [Problem("", 0, 0, what, remedy) for what, remedy in found]
    if problems:
        raise SheetError(problems)


def of_a_rehearsal(options: Namespace) -> Iterator[Said]:
    """What is wrong with the options of ``rehearse`` among themselves."""
    yield from _scenario(options)
    yield from _named_and_all(options)
    equipment = {
        "--by-hand": options.by_hand,
        "--actuator": options.actuator,
        "--nothing-wired": options.nothing_wired,
    }
    given = [name for name, is_given in equipment.items() if is_given]
    if options.bench and given:
        yield "--bench says itself what is by hand and what heats", f"leave out {_and(given)}"
    others = [name for name in given if name != "--nothing-wired"]
    if options.nothing_wired and others:
        yield f"--nothing-wired leaves nothing for {_and(others)}", "leave out one or the other"
    if options.unattended and options.answers:
        yield "--unattended and --answers both answer for the operator", "leave out one of them"
    if options.speed not in (None, "max") and not 0 < _number(options.speed) < 1e6:
        yield f"--speed {options.speed} is not valid", "write a number such as 30, or max"


def of_a_run(options: Namespace) -> Iterator[Said]:
    """What is wrong with the options of ``run`` among themselves."""
    yield from _named_and_all(options)
    if not options.procedures and not options.all:
        yield "no procedure given", "name one or more, or use --all"


def of_a_bench(options: Namespace) -> Iterator[Said]:
    """What is wrong with the options of ``bench`` among themselves."""
    if not options.bench and not options.find:
        yield "no bench file given", "name one, or use --find to look for instruments"
    if options.find and options.talk is not None:
        yield "--find looks for instruments and --talk speaks to one of a bench file", "leave out one of them"
    if options.network is not None and not options.find:
        yield "--network only says where --find looks", "add --find, or leave out --network"


def of_a_twin(options: Namespace) -> Iterator[Said]:
    """What is wrong with the options of ``twin`` among themselves."""
    yield from _scenario(options)
    if not 0 < options.speed < math.inf:
        yield "--speed must be greater than 0", "write for example --speed 20"
    if not 0 <= options.port <= LAST_PORT:
        yield f"--port {options.port} is no port", f"give one from 1 to {LAST_PORT}, or leave it out"


def _scenario(options: Namespace) -> Iterator[Said]:
    from runner.twin.parameters import SCENARIOS

    if options.scenario not in SCENARIOS:
        yield f"unknown scenario {options.scenario!r}", f"choose one of: {', '.join(SCENARIOS)}"


def _named_and_all(options: Namespace) -> Iterator[Said]:
    if options.procedures and options.all:
        yield "--all runs every procedure, and others are named as well", "leave out the names, or --all"
    if options.without and not options.all:
        yield "--without only says what --all leaves out", "add --all, or leave out --without"


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _and(names: list[str]) -> str:
    return " and ".join(names)
