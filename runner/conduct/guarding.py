"""A bench with its guard: opened together, and left so that everything is off or somebody goes on trying."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import TracebackType

from runner.bench.assembly import Bench
from runner.conduct.interfaces import RunOutcome
from runner.conduct.site import Site
from runner.conduct.texts import runs as texts
from runner.guard.handle import Guard, possible
from runner.guard.plan import Target
from runner.sheets.bench import BenchFile
from runner.sheets.dialect import Dialect


class Watched:
    """An open bench and, at a guarded site, its guard. Use as a context manager; ``watch`` is None where there is none."""

    def __init__(self, sheet: BenchFile, dialects: Mapping[str, Dialect], site: Site) -> None:
        """Nothing is opened and no process started before ``with``."""
        self._sheet, self._dialects, self._site = sheet, dialects, site
        self.watch: Guard | None = None
        self._outcome: RunOutcome | None = None
        self._begun = False

    def __enter__(self) -> Watched:
        """Start the guard, which takes a moment to come up, while the bench is opened. Raises GuardMissing."""
        self.bench = Bench(self._sheet, self._dialects, self._site.clock, self._site.connect, self._announce)
        if self._site.guarded and possible():
            locks = self._site.locks.descriptors if self._site.locks is not None else ()
            self.watch = Guard(self._targets(), locks, self._sheet.guard_patience)
        return self

    def armed(self, folder: Path | None) -> None:
        """Before anything is switched on: the guard is there, and knows where its record goes, if anywhere. Raises GuardMissing."""
        if self.watch is not None:
            self.watch.armed(folder)

    def begins(self) -> None:
        """From now on something may be switched on: an end that nobody has told is one with something on."""
        self._begun = True

    def ended(self, outcome: RunOutcome) -> None:
        """How the run ended; without this word after ``begins``, the guard takes over."""
        self._outcome = outcome

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.bench.close()
        if self.watch is None:
            return
        is_off = not self._begun if self._outcome is None else self._outcome.off
        if not is_off:
            self.watch.take_over(texts.NOT_ALL_OFF)
        else:
            self.watch.stand_down()

    def _announce(self, seconds: float) -> None:
        if self.watch is not None:
            self.watch.beat(seconds)

    def _targets(self) -> list[Target]:
        bench = self.bench
        return [
            Target(role, bench.wirings[role], words, bench.speakers[role].link.start)
            for role, words in bench.off_words.items()
        ]
