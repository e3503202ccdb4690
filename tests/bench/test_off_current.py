"""Off is what no longer carries current: an instrument that says off and feeds or draws on is not confirmed off.

That a contact can stay closed when it is told to open: common practice, no source.
"""

import math
import time

import pytest

from runner.bench.assembly import OFF_IS_TOLD_AFTER, Bench
from runner.bench.dialect import BUILT_IN
from runner.bench.supply import off_current
from runner.conduct.clock import ScaledClock
from runner.sheets.bench import parse_bench
from runner.twin.world import World
from tests.bench.test_off import BENCH, Switch, Wire
from tests.builders import short_rehearsal

UNREAD = "reads back off; its current could not be read"


class Meter(Switch):
    """An instrument whose reply about its current is ``shows``, given the time since it was told off (s; None: it was not)."""

    def __init__(self, shows):
        super().__init__()
        self._shows, self.off_at = shows, None

    def current(self):
        if not self.on and self.off_at is None:
            self.off_at = time.monotonic()
        return self._shows(None if self.off_at is None else time.monotonic() - self.off_at)


class Silent(Wire):
    """One that leaves the question for its current without an answer."""

    waits = 0.0

    def read(self, limit, seconds):
        if self.switch.heard[-1] == "MEAS:CURR?":
            time.sleep(self.waits)
            raise TimeoutError
        return super().read(limit, seconds)


def a_bench(switches, wire=Wire):
    return Bench(parse_bench(BENCH, "b"), {}, ScaledClock(), lambda role, sheet: wire(switches[role]))


@pytest.mark.parametrize(("role", "other"), [("supply", "load"), ("load", "supply")])
def test_one_that_says_off_and_carries_current_is_named_with_both(role, other):
    switches = {role: Switch(), other: Switch()}
    switches[role].stuck = True
    began = time.monotonic()
    confirmed, remark = a_bench(switches).off()
    assert not confirmed
    assert remark == f"SWITCH {role.upper()} OFF BY HAND: reads back off, but 3.00 A still flow."
    assert time.monotonic() - began < OFF_IS_TOLD_AFTER + 0.5
    assert not switches[other].on


def test_of_two_that_are_not_off_it_is_said_what_each_of_them_told(monkeypatch):
    monkeypatch.setattr("runner.bench.off.PAUSES", (0.0, 0.1))
    switches = {"supply": Switch(), "load": Switch()}
    switches["supply"].stuck = True
    switches["load"].bad = ("read", OSError(5, "x"))
    assert a_bench(switches).off() == (
        False,
        "SWITCH SUPPLY AND LOAD OFF BY HAND: supply: reads back off, but 3.00 A still flow; "
        "load: not confirmed off, may still be on.",
    )


def decays(since):
    """4 A that die away in a coil, with 0.25 s."""
    return f"{4.0 * math.exp(-since / 0.25) if since is not None else 4.0:.4f}"


def mean_of_the_last_second(since):
    return f"{4.0 * max(0.0, 1.0 - since) if since is not None else 4.0:.4f}"


def charges_back(since):
    """A pack that feeds the capacitor of a supply for a moment: the other way."""
    return "-1.2" if since is None or since < 0.3 else "-0.020"


@pytest.mark.parametrize("shows", [decays, mean_of_the_last_second, charges_back, lambda since: "+2.0E-02"])
def test_a_current_that_takes_a_moment_to_go_calls_nobody(shows):
    assert a_bench({"supply": Meter(shows), "load": Meter(shows)}).off() == (True, "")


@pytest.mark.parametrize("reply", ["9.91E37", "----", "", "NAN", "3,0"])
def test_one_that_says_off_and_gives_no_current_calls_nobody_and_it_is_said(reply):
    switches = {"supply": Meter(lambda since: reply), "load": Switch()}
    assert a_bench(switches).off() == (True, f"supply {UNREAD}")
    assert not switches["supply"].on


def test_one_that_says_off_and_does_not_answer_about_its_current_calls_nobody():
    switches = {"supply": Switch(), "load": Switch()}
    began = time.monotonic()
    assert a_bench(switches, Silent).off() == (True, f"supply {UNREAD}; load {UNREAD}")
    assert time.monotonic() - began < 3.0, "what is outstanding is a question: no command of before can arrive late"


@pytest.fixture
def slow(monkeypatch):
    """A bench whose answers about currents take longer than a person is left untold."""
    monkeypatch.setattr("runner.bench.assembly.OFF_IS_TOLD_AFTER", 0.5)
    monkeypatch.setattr(Silent, "waits", 1.5)
    text = BENCH.replace("timeout: 0.2 s", "timeout: 5 s")
    switches = {"supply": Switch(), "load": Switch()}
    return Bench(parse_bench(text, "b"), {}, ScaledClock(), lambda role, sheet: Silent(switches[role]))


def test_one_whose_answer_about_its_current_takes_longer_than_a_person_is_left_untold_calls_nobody(slow):
    began = time.monotonic()
    assert slow.off() == (True, f"supply {UNREAD}; load {UNREAD}")
    assert time.monotonic() - began < 1.0


def test_one_that_went_on_by_itself_before_is_not_off_while_nobody_has_looked_again(slow):
    """Its current is not read in time: what reads back off now may be on again by itself a moment later."""
    slow.supply.settings.came_on = True
    assert slow.off() == (False, "SWITCH SUPPLY OFF BY HAND: not confirmed off, may still be on.")


def test_a_current_that_was_seen_is_not_gone_because_it_cannot_be_read_any_more():
    supply = Switch()
    supply.current = lambda: "3.0" if supply.heard.count("MEAS:CURR?") <= 1 else "----"
    confirmed, remark = a_bench({"supply": supply, "load": Switch()}).off()
    assert not confirmed
    assert remark == "SWITCH SUPPLY OFF BY HAND: reads back off, but 3.00 A still flow."


def test_off_is_told_again_while_a_current_flows():
    """A contact that sticks may come loose with the next try."""
    supply = Switch()

    def loosens():
        supply.stuck = supply.heard.count("OUTP OFF;*OPC?") < 3
        return Switch.current(supply)

    supply.current = loosens
    assert a_bench({"supply": supply, "load": Switch()}).off() == (True, "")


def test_one_that_went_on_by_itself_before_is_looked_at_again_for_its_current_too():
    supply = Switch()
    bench = a_bench({"supply": supply, "load": Switch()})
    bench.supply.settings.came_on = True
    wait = bench._pause

    def sticks(seconds):
        wait(seconds)
        supply.stuck = True

    bench._pause = sticks
    confirmed, remark = bench.off()
    assert not confirmed
    assert "SWITCH SUPPLY OFF BY HAND" in remark


def test_one_that_cannot_say_whether_it_is_on_is_named_with_its_current():
    known = {name: query for name, query in BUILT_IN["supply"].queries.items() if name != "output"}
    few = BUILT_IN["supply"].model_copy(update={"queries": known})
    switches = {"supply": Switch(), "load": Switch()}
    switches["supply"].stuck = True
    bench = Bench(parse_bench(BENCH, "b"), {"supply": few}, ScaledClock(), lambda role, sheet: Wire(switches[role]))
    assert bench.off() == (False, "SWITCH SUPPLY OFF BY HAND: told to switch off, but 3.00 A still flow.")
    switches["supply"].stuck = False
    assert bench.off() == (True, "supply told to switch off; cannot report it")


@pytest.mark.parametrize(
    ("limit", "accuracy", "most"),
    [("10 A", "", 0.1), ("2 A", "", 0.05), ("2 A", "current_accuracy: {offset: 40 mA, resolution: 10 mA}, ", 0.15)],
)
def test_what_counts_as_no_current_follows_from_the_bench_file_and_is_never_less_than_50_mA(limit, accuracy, most):
    text = BENCH.replace(
        "limits: {voltage: 30 V, current: 10 A}", f"{accuracy}limits: {{voltage: 30 V, current: {limit}}}"
    )
    assert off_current(parse_bench(text, "b").instruments.supply) == pytest.approx(most)


def test_a_run_whose_supply_says_off_and_charges_on_ends_in_danger(tmp_path, monkeypatch):
    """Seen: "All steps done. The bench is off." and status 0 with 3 A in the pack."""
    switch, faulty = World.switch_supply, World.faulty

    def sticks(world, on):
        world.ordered = on
        if on:
            switch(world, True)

    def lies(world, what):
        return faulty(world, what) or (what == "supply says it is off" and not getattr(world, "ordered", False))

    monkeypatch.setattr(World, "switch_supply", sticks)
    monkeypatch.setattr(World, "faulty", lies)
    run = short_rehearsal(tmp_path)
    assert run.world.supply_on
    outcome = run.result.outcome
    assert not outcome.safe
    assert "SWITCH SUPPLY OFF BY HAND: reads back off, but " in outcome.urgent
    assert " A still flow." in outcome.urgent
