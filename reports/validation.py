"""Where the method holds and where it does not: a page from the table that tests/benchmarks/foreign.py makes.

    python tests/benchmarks/foreign.py --count 300 --together 1000 --json reports/validation.json
    python -m reports.validation

writes VALIDATION.md beside this file. A certificate names the record, and says if it was made for another method than its own.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from runner.evaluation.provenance import measuring
from runner.record.folder import write_whole

HERE = Path(__file__).parent
RECORD, PAGE = HERE / "validation.json", HERE / "VALIDATION.md"
STATED, HOLDS = 0.95, 0.90  # coverage that an interval states, and that a departure has to reach
LEFT_OUT = 0.10  # more than this functional or not measured is said

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

    def cited(self) -> str:
        """The sentence of a certificate."""
        lines = list(self.lines())
        held = len(lines) - len(self.short())
        whose = "" if self.content["method"] == measuring() else ", not with this version of the method"
        return (
            f"Method check by simulation (record {self.fingerprint[:12]}{whose}): in {held} of {len(lines)} test situations the "
            f"stated interval contained the true value in at least {100 * HOLDS:.0f} % of simulated tests "
            f"({self.content['records']} tests of independently simulated packs and meters). Exceptions: list supplied on request."
        )

    def page(self) -> str:
        """The page, as Markdown."""
        content = self.content
        together = content.get("together", content["count"])
        parts = [
            "# Where this method holds, and where it does not",
            f"{content['records']:,} records of packs, supplies, meters and hands were simulated by a program that shares nothing "
            "with the measurement (`tests/foreign`), each with one departure from a plain pack on a plain bench, or with all drawn "
            f"together. A stated interval holds the truth in {100 * STATED:.0f} % of cases; counted is how often it really did. "
            f"First number {content['first_seed']}, {content['count']} records each and {together} of all together, "
            f"method {content['method'][:12]}. "
            "Simulated packs are no packs: what nobody thought of is not in here.",
            "## Where it does not",
            *self._short(),
            self._far_off(),
            "## All figures",
            "U is the median expanded uncertainty, in the unit of the finding; *worst* is the largest error in multiples of U.",
        ]
        for finding, departures in content["findings"].items():
            parts.append(f"### {finding}")
            parts.append("\n".join(_table(departures)))
        return "\n\n".join(parts) + "\n"

    def _far_off(self) -> str:
        """How many errors are above 4 U, and how many the findings' own distributions let expect."""
        every = [line for _, _, line in self.lines()]
        measured = sum(round(line["n"] * line["measured"]) for line in every)
        seen = f"Errors above 4 U: {sum(line['above_4U'] for line in every)} of {measured:,} values"
        if not all("above_4U_expected" in line for line in every):  # a record of before it was counted
            return f"{seen}."
        return f"{seen}; the stated distributions let {sum(line['above_4U_expected'] for line in every):.1f} expect."

    def _short(self) -> Iterator[str]:
        """What does not hold, and what is often not measured."""
        short = self.short()
        if short:
            yield "\n".join(
                f"- {finding}, {departure}: {_share(line['coverage'])} of {line['n']}"
                for finding, departure, line in short
            )
        else:
            yield f"Every line holds in at least {100 * HOLDS:.0f} %."
        rough = [
            f"- {finding}, {departure}: {_share(line['functional'])} functional, {_share(line['not_measured'])} not measured"
            for finding, departures in self.content["findings"].items()
            for departure, line in departures.items()
            if line["functional"] + line["not_measured"] > LEFT_OUT
        ]
        if rough:
            yield "Often functional only, or not measured, and then said to be so:"
            yield "\n".join(rough)


def _table(departures: Mapping[str, Line]) -> Iterator[str]:
    yield "| condition | n | measured | holds | 95 % interval | U | worst |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    for departure, line in departures.items():
        if line["coverage"] is None:
            held = (
                f"{_share(line['coverage_functional'])} (functional)"
                if line["coverage_functional"] is not None
                else "–"
            )
            yield f"| {departure} | {line['n']} | {_share(line['measured'])} | {held} | – | – | – |"
            continue
        between = f"{100 * line['coverage_low']:.0f} … {100 * line['coverage_high']:.0f} %"
        figures = f"{line['median_U']:.2g} {line['unit']} | {line['worst_in_U']:.1f}"
        yield f"| {departure} | {line['n']} | {_share(line['measured'])} | {_share(line['coverage'])} | {between} | {figures} |"


def _share(value: float) -> str:
    return f"{100 * value:.0f} %"


def main() -> None:
    """Write the page anew."""
    write_whole(PAGE, Validation.kept().page().encode())


if __name__ == "__main__":
    main()
