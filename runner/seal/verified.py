"""What a verification found, and how it is told: the verdict first, then a line for everything that differs or is not known."""

from __future__ import annotations

from dataclasses import dataclass, field

from runner.notation.visible import in_one_line
from runner.vocabulary import Exit


@dataclass
class Verified:
    """What was found: ``differences``, what is ``unknown``, and what is well (``said``).

    ``sealed``: there was a seal to hold it against.
    """

    what: str
    differences: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    sealed: bool = True
    _missing: set[str] = field(default_factory=set)

    @property
    def status(self) -> Exit:
        """0 whole, 1 something differs, 3 something cannot be known."""
        if self.differences:
            return Exit.FAIL
        return Exit.NOT_ALL_JUDGED if self.unknown else Exit.PASS

    def missing(self, name: str, listed_in: str = "") -> None:
        """A file that should be there is not; said once, whoever misses it."""
        if name not in self._missing:
            self._missing.add(name)
            self.differences.append(f"{name}: is missing" + (f" (listed in {listed_in})" if listed_in else ""))

    def take(self, other: Verified, before: str) -> None:
        """What was found of a part, each with ``before`` in front of it."""
        self.differences += [f"{before}{each}" for each in other.differences]
        self.unknown += [f"{before}{each}" for each in other.unknown]

    def lines(self) -> list[str]:
        """For people, the verdict first, each in one line whatever a file is called."""
        changed = "CHANGED since it was sealed" if self.sealed else "CHANGED since it was recorded"
        verdict = {Exit.FAIL: changed, Exit.PASS: "whole"}.get(self.status, "cannot be known")
        marked = [f"  changed: {each}" for each in self.differences]
        marked += [f"  unknown: {each}" for each in self.unknown]
        return [
            in_one_line(line) for line in (f"{self.what}: {verdict}", *marked, *(f"  {each}" for each in self.said))
        ]
