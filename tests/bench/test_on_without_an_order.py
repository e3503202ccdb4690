"""A supply or load that somebody switches on at its front while the run has it off. Common practice, no source."""

import pytest

from runner.bench.assembly import COMES_BACK, Bench, Readings
from runner.conduct.clock import ScaledClock, VirtualClock
from runner.conduct.sampling import Sampler
from runner.errors import SettingError
from runner.events import CHARGE, DISCHARGE
from runner.orders import Pace
from runner.rehearsal.simulated_bench import Rehearsal
from runner.sheets.bench import parse_bench
from runner.workspace.job import DEMO_PACK, read_file


@pytest.fixture
def open_bench():
    """(a bench, the world it is in): the bench of a rehearsal, without sockets."""
    clock = VirtualClock()
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, clock, sockets=False) as rehearsal:
        bench = Bench(parse_bench(rehearsal.bench.text, "b"), {}, clock, connect=rehearsal.connect)
        bench.ready()
        yield bench, rehearsal.world
        bench.close()


def said(poll, path):
    """What two polls in a row say is on without an order, and whether each ends the run."""
    found = []
    for _ in range(2):
        into = Readings()
        poll(path, into)
        found.append((into.unordered, "it is on although this run has it off" in into.fault))
    return found


NOTHING, SUPPLY, LOAD = [("", False)] * 2, [("", False), ("supply", True)], [("", False), ("load", True)]


def test_a_supply_that_is_switched_on_at_its_front_is_noticed_and_one_that_was_ordered_on_is_not(open_bench):
    bench, world = open_bench
    assert said(bench.poll_path, CHARGE) == NOTHING
    world.switch_supply(True)
    assert said(bench.poll_path, CHARGE) == SUPPLY
    bench.off(everything=False)
    assert said(bench.poll_path, CHARGE) == NOTHING
    bench.supply.on()
    assert said(bench.poll_path, CHARGE) == NOTHING
    bench.off(everything=False)
    world.switch_supply(True)
    assert said(bench.poll_path, CHARGE) == SUPPLY


def test_of_one_that_went_on_by_itself_nobody_says_that_it_is_off_before_it_was_looked_at_again(open_bench):
    """Seen: on again 50 ms after off was read back, and "The bench is off." as the last line."""
    bench, world = open_bench
    world.switch_supply(True)
    assert said(bench.poll_path, CHARGE) == SUPPLY
    assert bench.off() == (True, "")
    wait = bench._pause

    def on_again(seconds):
        wait(seconds)
        world.switch_supply(seconds == COMES_BACK)

    bench._pause = on_again
    confirmed, remark = bench.off()
    assert not confirmed
    assert "SWITCH SUPPLY OFF BY HAND" in remark


def test_the_load_is_looked_at_while_the_supply_charges_and_the_other_way_round(open_bench):
    bench, world = open_bench
    bench.supply.on()
    assert said(bench.poll_idle, CHARGE) == said(bench.poll_idle, DISCHARGE) == NOTHING
    world.switch_load(True)
    assert said(bench.poll_idle, DISCHARGE) == LOAD


@pytest.mark.parametrize("poll", ["poll_path", "poll_idle"])
def test_a_load_that_cannot_say_whether_it_is_on_is_noticed_by_its_current(open_bench, poll):
    bench, world = open_bench
    speaker = bench.load.speaker
    known = {name: query for name, query in speaker.dialect.queries.items() if name != "input"}
    speaker.dialect = speaker.dialect.model_copy(update={"queries": known})
    bench.load.set(5.0)
    assert said(getattr(bench, poll), DISCHARGE) == NOTHING
    world.switch_load(True)
    into = Readings()
    for _ in range(2):
        getattr(bench, poll)(DISCHARGE, into)
    assert into.unordered == "load"
    assert "A although this run has it off" in into.fault
    bench.load.settings.ordered = True
    assert said(getattr(bench, poll), DISCHARGE) == NOTHING


def test_an_order_between_question_and_reply_is_no_hand_at_the_front(open_bench):
    """A poll that began before an order to switch off, and one that began before an order to switch on."""
    bench, world = open_bench
    settings, read = bench.supply.settings, bench.supply.settings._read_state
    world.switch_supply(True)
    for before in (True, False):
        settings.ordered = before

        def ordered_meanwhile(before=before):
            found = read()
            settings.ordered = not before
            return found

        settings._read_state = ordered_meanwhile
        into = Readings()
        bench.poll_idle(CHARGE, into)
        settings.ordered = before
        bench.poll_idle(CHARGE, into)
        assert (into.unordered, into.fault) == ("", "")


def test_one_that_was_without_power_since_it_was_set_is_not_switched_on(open_bench):
    """Seen: it was on with its own 31.5 V and 15 A until the next reading."""
    bench, world = open_bench
    bench.supply.limit(29.6, 5.0)
    bench.supply.set(29.2, 4.0)
    bench.supply.speaker.link.close()
    bench.supply.on()
    assert world.supply_on, "a connection that was lost alone is no reason"
    assert bench.off(everything=False)[0]
    bench.supply.speaker.link.close()
    world.supply_voltage, world.supply_current = 31.5, 15.0
    with pytest.raises(SettingError):
        bench.supply.on()
    assert not world.supply_on


def test_where_time_runs_by_itself_the_instrument_of_the_other_path_is_polled():
    class Asked:
        def __init__(self):
            self.idle = []

        def poll_path(self, path, into):
            into.values[path] = 0.0

        def poll_idle(self, path, into):
            self.idle.append(path)
            into.fault, into.unordered = "it is on", "load"

        def slow_groups(self):
            return []

    clock, bench = ScaledClock(), Asked()
    sampler = Sampler(bench, clock, clock.now())
    sampler.pace(Pace(0.01, 1.0, DISCHARGE))
    found = []
    while not any(each.unordered for each in found):
        found += sampler.take()
        assert clock.now() - sampler._start < 5
        clock.sleep(0.005)
    sampler.close()
    assert bench.idle == [CHARGE]
