"""The largest current that sheet, supply, load and leads allow, within the range that a step states.

Rule 1: a step that states ``at_least`` takes less than it asks for where not more is allowed, down to that, and says so.
Rule 2: what then takes longer is given longer, so that the same charge is moved.
Rule 3: a step without a range takes what it asks for, or is refused (limits.py).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from operator import itemgetter

from runner.engine.texts import files, plan
from runner.events import CHARGE, DISCHARGE
from runner.sheets import tolerances
from runner.sheets.bench import BenchFile
from runner.sheets.instruments import LoadSheet, SupplySheet
from runner.sheets.pack import PackSheet
from runner.sheets.parts.protections import protection_name
from runner.vocabulary import Role, Until

# of the limit: a supply protects itself at its limit, and a pack may at the lower limit of a trip (common practice, no source)
BELOW = 0.95
DIGITS = 3  # of a current that was fitted: it is set by hand, and written down
TAPERS = 1.2  # times the end current: with less there is no taper to be seen
LENGTHENED = {Until.FULL: ("give_up",), Until.STOPPED: ("give_up",), Until.TIME: ("give_up", "for")}


@dataclass
class Currents:
    """What the steps of one procedure may take. ``said`` are the sentences about what was fitted, ``longer`` is in s."""

    pack: PackSheet
    bench: BenchFile
    said: list[str] = field(default_factory=list)
    longer: float = 0.0

    def fit(self, kind: str, words: Mapping[str, object], numbers: dict[str, float]) -> str:
        """Lowers the current of a step to what is allowed, in ``numbers``; why it cannot be, or nothing."""
        least = numbers.get("at_least")
        name = "to" if "to" in numbers else "current"
        wanted = numbers.get(name)
        if least is None or wanted is None:
            return ""
        discharges = kind == "drain" or words.get("path") == DISCHARGE
        path = DISCHARGE if discharges else CHARGE
        beyond = [(amps * share, why) for amps, share, why in self._highest(path) if wanted > amps]
        if not beyond:
            return ""
        highest, why = min(beyond, key=itemgetter(0))
        fitted = _rounded_down(highest)
        needed = max(least, TAPERS * numbers.get("end_current", 0.0))
        if fitted < needed:
            numbers[name] = fitted  # said once, not by limits.py again
            return files.least_does_not_fit(needed, fitted, why)
        numbers[name] = fitted
        if "from" in numbers:  # the levels keep their number
            for each in ("from", "step"):
                numbers[each] *= fitted / wanted
        self._lengthen(str(words.get("until", "")), wanted / fitted, numbers)
        line = plan.fitted(path, fitted, wanted, why)
        if line not in self.said:
            self.said.append(line)
        return ""

    def _lengthen(self, until: str, times: float, numbers: dict[str, float]) -> None:
        for name in LENGTHENED.get(Until(until), ()) if until else ():
            if name in numbers:
                self.longer += (times - 1.0) * numbers[name]
                numbers[name] *= times

    def _highest(self, path: str) -> Iterator[tuple[float, float, str]]:
        """What allows how much on a path, in A, how much of that is taken, and why."""
        instruments = self.bench.instruments
        instrument: SupplySheet | LoadSheet | None = instruments.supply if path == CHARGE else instruments.load
        role = Role.SUPPLY if path == CHARGE else Role.LOAD
        if instrument is not None and instrument.leads is not None and instrument.leads.current is not None:
            yield instrument.leads.current, BELOW, plan.leads_carry(role, instrument.leads.current)
        allowed = getattr(self.pack, f"maximum_{path}_current")
        if allowed is not None:
            yield allowed, 1.0, plan.on_the_sheet(path, allowed)
        if instrument is not None:
            yield instrument.limits.current, BELOW, plan.limit_of(role, instrument.limits.current)
        kind = f"{path}_over_current"
        protection = self.pack.protection(kind)
        if protection is not None:
            lowest, _ = tolerances.marks(protection, self.bench.decision.assumed_tolerance, self.pack.cells_in_series)
            yield lowest, BELOW, plan.may_trip(protection_name(kind), lowest)


def _rounded_down(value: float) -> float:
    """To as many digits as are set by hand, never upwards."""
    if value <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(value)) - DIGITS + 1)
    return round(math.floor(value / step + 1e-9) * step, 12)
