"""Where the method holds and where it does not: a page from the table that tests/benchmarks/foreign.py makes.

    python tests/benchmarks/foreign.py --count 300 --together 1000 --json reports/validation.json
    python -m reports.validation

writes VALIDATION.md beside this file. A certificate names the record, and says if it was made for another method than its own.
The names of findings and conditions in validation.json are keys; people read those of ``conditions.py``.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reports.conditions import WORLDS, explained, name_of
from runner.evaluation.provenance import measuring
from runner.record.folder import write_whole

HERE = Path(__file__).parent
RECORD, PAGE = HERE / "validation.json", HERE / "VALIDATION.md"
STATED, HOLDS = 0.95, 0.90  # coverage that an interval states, and that a departure has to reach
AIM, LEAST = f"{100 * STATED:.0f} %", f"{100 * HOLDS:.0f} %"
LEFT_OUT = 0.10  # more than this functional or not measured is said
DIGITS = 12  # of a digest, where it is printed
NOT_SIMULATED = ("over-voltage", "over-current")  # said where a record has none of them
NAMED = 4  # combinations that fall short and stand on a certificate; of more the page has the list

Line = Mapping[str, Any]


@dataclass(frozen=True)
class Validation:
    """The record that was kept: its content, and the fingerprint of its file."""

    content: Mapping[str, Any]
    fingerprint: str

    @classmethod
    def kept(cls) -> Validation:
        """The one that came with the program."""
        text = RECORD.read_bytes()
        return cls(json.loads(text), hashlib.sha256(text).hexdigest())

    def lines(self) -> Iterator[tuple[str, str, Line]]:
        """(finding, departure, figures) of each line of the table that has a coverage."""
        for finding, departures in self.content["findings"].items():
            for departure, line in departures.items():
                if line["coverage"] is not None:
                    yield finding, departure, line

    def short(self) -> list[tuple[str, str, Line]]:
        """The lines that do not reach HOLDS."""
        return [each for each in self.lines() if each[2]["coverage"] < HOLDS]

    @property
    def record(self) -> str:
        """The identifier of the record, the same on its page and on certificates."""
        return self.fingerprint[:DIGITS]

    @property
    def method(self) -> str:
        """The identifier of the method that was checked."""
        return str(self.content["method"])[:DIGITS]

    def cited(self) -> str:
        """The sentences of a certificate."""
        lines, short = list(self.lines()), self.short()
        worlds = list(dict.fromkeys(map(_world, self.content["findings"])))
        others = [each for each in NOT_SIMULATED if each not in worlds]
        missing = f", but not {' or '.join(others)}" if others else ""
        used = measuring()[:DIGITS]
        whose = (
            f"The method checked, {self.method}, is the one used here."
            if used == self.method
            else f"The method checked was {self.method}; this certificate was made with {used}, another version."
        )
        named = "; ".join(map(_said, short[:NAMED]))
        more = f"; {len(short) - NAMED} more in VALIDATION.md" if len(short) > NAMED else ""
        return (
            f"Method check by simulation: in {len(lines) - len(short)} of {len(lines)} test situations that give an interval, "
            f"at least {LEAST} of the intervals stated for a coverage of {AIM} contained the true value "
            f"({self.content['records']:,} simulated tests; record {self.record}, VALIDATION.md of the program). Simulated were "
            f"{_listed(worlds)}{missing}. {whose}" + (f" Below {LEAST}: {named}{more}." if short else "")
        )

    def page(self) -> str:
        """The page, as Markdown."""
        parts = [
            "# Where this method holds, and where it does not",
            *self._introduced(),
            "## Where it does not hold",
            *self._short(),
            "## The conditions",
            "Most depart from *plain* in one thing. A name in brackets is the one in `validation.json`, where that differs.",
            "\n".join(self._conditions()),
            "## All figures",
            "*measured*: share of the records with a measured value. *holds*: share of these values whose interval contains "
            "the true value, with the 95 % range that this share is known to. *U*: median expanded uncertainty, in the unit of "
            "the finding. *largest error*: in multiples of U.",
        ]
        for finding, departures in self.content["findings"].items():
            parts.append(f"### {finding}")
            parts.append("\n".join(_table(departures)))
        return "\n\n".join(parts) + "\n"

    def _introduced(self) -> Iterator[str]:
        """What was done, counted, and asked for."""
        content = self.content
        together, count = content.get("together", content["count"]), content["count"]
        places = {(_world(finding), each) for finding, departures in content["findings"].items() for each in departures}
        lines = sum(len(departures) for departures in content["findings"].values())
        yield (
            f"Record {self.record} (the first {DIGITS} digits of the SHA-256 of `validation.json`) of method {self.method} (the "
            "first digits of the digest of what measures). A certificate cites both, and the method that it was made with."
        )
        tests = "\n".join(f"- {world}: {WORLDS[world]}" for world in dict.fromkeys(map(_world, content["findings"])))
        yield f"A program that shares nothing with the measurement (`tests/foreign`) simulated these tests:\n\n{tests}"
        yield (
            f"Together they have {len(places)} conditions. Of each condition {count:,} records were made, of *everything together* "
            f"{together:,} in each test: {content['records']:,} records. A record gives several findings: {lines} combinations of "
            f"finding and condition. Random numbers begin at {content['first_seed']}."
        )
        yield (
            f"**The criterion.** Every interval is stated for a coverage of {AIM}: it should contain the true value in {AIM} of "
            f"the cases. A combination *holds* if at least {LEAST} of its measured values do. It is not {AIM}, because a "
            f"count varies by chance. Of {count} intervals that are right, fewer than {LEAST} contain the true value in about "
            f"{100 * by_chance(count):.1g} % of such counts: so few show a fault, while {LEAST} to {AIM} may be chance."
        )
        yield (
            "*Functional* is a value of which only this is stated: the pack trips or releases, near this temperature. One ramp "
            "on a sensor whose lag is not declared gives no more. *Not measured* is a finding without a value, with its reason."
        )
        yield "Simulated packs are not real ones: what nobody thought of is not in here."

    def _short(self) -> Iterator[str]:
        """What does not hold, how far off it was, and what is often not measured."""
        short = self.short()
        yield f"Below {LEAST}:" if short else f"Every combination that gives an interval holds in at least {LEAST}."
        if short:
            yield "\n".join(f"- {_said(each)}" for each in short)
        yield self._far_off()
        for share, what in (("functional", "Functional only"), ("not_measured", "Not measured")):
            often = [
                f"- {finding}, {name_of(departure)}: {_share(line[share])}"
                for finding, departures in self.content["findings"].items()
                for departure, line in departures.items()
                if line[share] > LEFT_OUT
            ]
            if often:
                yield f"{what} in more than {_share(LEFT_OUT)} of the records:"
                yield "\n".join(often)

    def _far_off(self) -> str:
        """How many errors are above 4 U, and how many the findings' own distributions let expect."""
        every = [line for _, _, line in self.lines()]
        measured = sum(round(line["n"] * line["measured"]) for line in every)
        seen = f"Of {measured:,} values, {sum(line['above_4U'] for line in every)} are wrong by more than 4 U"
        if not all("above_4U_expected" in line for line in every):  # a record of before it was counted
            return f"{seen}."
        return (
            f"{seen}; expected from the stated distributions: {sum(line['above_4U_expected'] for line in every):.1f}."
        )

    def _conditions(self) -> Iterator[str]:
        """Every condition once, with the tests it is in."""
        found: dict[str, list[str]] = {}
        for finding, departures in self.content["findings"].items():
            for departure in departures:
                found.setdefault(departure, []).append(_world(finding))
        yield "| condition | what it is | in |"
        yield "| --- | --- | --- |"
        for departure, worlds in found.items():
            name = name_of(departure)
            called = name if name == departure else f"{name} (`{departure}`)"
            yield f"| {called} | {explained(departure)} | {', '.join(dict.fromkeys(worlds))} |"


def _listed(names: Sequence[str]) -> str:
    """Names in a sentence."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _world(finding: str) -> str:
    return finding.partition(":")[0]


def _said(short: tuple[str, str, Line]) -> str:
    """A combination that falls short, as a sentence has it."""
    finding, departure, line = short
    held = f"{_share(line['coverage'])} of {round(line['n'] * line['measured'])}"
    return f"{finding}, {name_of(departure)} ({explained(departure)}): {held}"


def by_chance(count: int) -> float:
    """The probability that of ``count`` intervals of the stated coverage fewer than HOLDS contain the true value (binomial)."""
    fewest = math.ceil(HOLDS * count)
    return sum(math.comb(count, k) * STATED**k * (1 - STATED) ** (count - k) for k in range(fewest))


def _table(departures: Mapping[str, Line]) -> Iterator[str]:
    yield "| condition | records | measured | holds | 95 % range | U | largest error |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for departure, line in departures.items():
        named = f"| {name_of(departure)} | {line['n']} | {_share(line['measured'])}"
        if line["coverage"] is None:
            functional = line["coverage_functional"]
            held = f"{_share(functional)} (functional)" if functional is not None else "–"
            yield f"{named} | {held} | – | – | – |"
            continue
        between = f"{100 * line['coverage_low']:.0f} … {100 * line['coverage_high']:.0f} %"
        figures = f"{line['median_U']:.2g} {line['unit']} | {line['worst_in_U']:.1f}"
        yield f"{named} | {_share(line['coverage'])} | {between} | {figures} |"


def _share(value: float) -> str:
    return f"{100 * value:.0f} %"


def main() -> None:
    """Write the page anew."""
    write_whole(PAGE, Validation.kept().page().encode())


if __name__ == "__main__":
    main()
