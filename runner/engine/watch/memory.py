"""What the watcher remembers, what it has said, and what a person has told it where it could not decide."""

from __future__ import annotations

from runner.engine.watch.contradiction import Contradictions
from runner.engine.watch.declared import SILENT, DeclaredPath
from runner.engine.watch.end_of_charge import Voltages
from runner.engine.watch.fall import Fall, Pauses
from runner.engine.watch.keep_alive import KeptAlive
from runner.engine.watch.levels import Levels, told_from_none
from runner.engine.watch.rise import Rise, Tries
from runner.engine.watch.terminals import Terminals
from runner.engine.watch.verdict import Verdict
from runner.events import CHARGE
from runner.vocabulary import Explanation, WatchWord

LOST_AFTER = 2.0  # s without a valid reading of the current
DECIDED = {  # what it is once a person has said which of two explanations is right
    Explanation.TRIPPED: WatchWord.STOPPED,
    Explanation.FULL: WatchWord.FULL,
    Explanation.EMPTY: WatchWord.UNCLEAR,  # the under-voltage has opened the path, which nobody looked for
    Explanation.LIMITED: WatchWord.DERATED,
}


class Memory:
    """``verdict`` is what the watcher thinks now, ``declared`` what the pack's sheet says of how its path opens.

    ``smallest`` is the least current of each path, in A, that its reading can tell from none (offset and resolution);
    ``patience`` stretches the time after which readings count as lost. ``empty_at`` is the voltage under load, in V, at which the
    pack's under-voltage may open the path of a discharge that looks for something else; 0 for none. ``climb``: see Voltages.
    """

    def __init__(
        self,
        smallest: dict[str, float],
        patience: float = 1.0,
        empty_at: float = 0.0,
        declared: DeclaredPath = SILENT,
        climb: float = 0.0,
    ) -> None:
        self.declared = declared
        self._smallest, self._empty_at, self._patience = smallest, empty_at, patience
        self._lost_after = LOST_AFTER * patience
        self._before_lost = ""
        self.verdict = Verdict(WatchWord.IDLE, "the output is off", 0.0)
        self.path, self._over_voltage_wanted = CHARGE, False
        self._set: tuple[float, float] | None = None
        self._levels, self._voltages, self._contradictions = Levels(), Voltages(climb), Contradictions()
        self._terminals = Terminals()  # the pack's own voltmeter
        self._level = self._stood = self._last_valid = self._on_since = self._flowed = 0.0
        self._begin()

    def _begin(self) -> None:
        self._fall: Fall | None = None
        self._rise: Rise | None = None
        self._gone = self._derated = False
        self._residual = self._noise = 0.0
        self._kept: KeptAlive | None = None  # a little current that is left, while it may be a trip
        self._pauses = Pauses()
        self._tries = Tries(self.declared.retry_every)
        self._doubted: Verdict | None = None  # of which a person may be asked
        self._odd_since: tuple[float, int] | None = None
        self._taper_since: float | None = None
        self._constant_voltage: float | None = None  # since when, in s
        self._changing: float | None = None
        self._full_before = ""  # why the pack may have been full before it took less
        self._terminals.forget()

    @property
    def level(self) -> float:
        """The current, in A, before the last fall, or now if there was none."""
        return self._level

    @property
    def smallest(self) -> float:
        """The least current, in A, that the path's reading can tell from none, and that is one beside the set current."""
        return told_from_none(self._smallest.get(self.path, 0.0), self._set[1] if self._set is not None else 1.0)

    @property
    def nothing(self) -> float:
        """The most, in A, that is an open path: what it leaves by the pack's sheet, and what the reading cannot tell from that."""
        return self.smallest + self.declared.residual

    @property
    def undecided(self) -> bool:
        """Whether a current has left its level, and what became of it is not yet known."""
        return self._fall is not None or self._kept is not None

    def told(self, which: str, by: str, t: float) -> list[Verdict]:
        """A person says which of the two explanations of the last doubtful verdict it was."""
        doubted = self._doubted
        if doubted is None or which not in doubted.between:
            return []
        self._doubted, explanation = None, Explanation(which)
        found = Verdict(DECIDED[explanation], f"{doubted.why}; {by} decided: {explanation}", doubted.since)
        if self.verdict.word != doubted.word:  # it has returned since
            return [found]
        if explanation == Explanation.LIMITED:
            self._gone, self._derated, self._level = False, True, self._residual
            self._levels.clear((t, self._level))
        self.verdict = found
        return [found]

    def _say(self, word: str, why: str, since: float, between: tuple[Explanation, ...] = ()) -> list[Verdict]:
        if word == self.verdict.word:
            return []
        self.verdict = Verdict(word, why, since, between)
        self._doubted = self.verdict if between else self._doubted
        return [self.verdict]
