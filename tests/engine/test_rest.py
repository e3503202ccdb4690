"""What is no time of a test: breaks, and waiting for a person with nothing on. The ceiling of the time is over the rest."""

import pytest

from runner.conduct.resume import no_test
from runner.engine.steps.switches import Rest
from runner.events import Answered, OutputIsOff, OutputIsOn, Resumed, Sampled, Started
from runner.orders import Ask, End, Guide, LoadOn, SwitchOff, SwitchOn
from runner.record.journal import JournalEntry
from runner.vocabulary import Observed
from tests.builders import a_program

ASK = Ask("step-0", "Look at it.")
UTC = "2026-11-26T08:00:00+00:00"


def rested(happened, until, by_hand=(), cannot_report=()):
    """The s of rest after all of (time, event or order), up to a time."""
    rest = Rest(by_hand, cannot_report)
    for t, what in happened:
        if hasattr(what, "t"):
            rest.happened(what)
        else:
            rest.ordered(what, t)
    return rest.until(until)


def at(*pairs):
    return [(getattr(what, "t", t), what) for t, what in pairs]


OFF = OutputIsOff(5.0, True)


def test_a_person_is_waited_for_with_everything_off():
    """Whoever reads the cautions, or goes for lunch with everything off, ends no run by it; nor a rehearsal at 30 times the speed."""
    waits = at((0, Started(0.0, "")), (10, ASK))
    assert rested(waits, 3610.0) == 3600.0
    assert rested([*waits, (110, Answered(110.0, "step-0", "go on", "me"))], 3610.0) == 100.0
    assert rested([*waits, (110, Answered(110.0, "another", "go on", "me"))], 3610.0) == 3600.0
    assert rested(waits[:1], 3610.0) == 0.0


@pytest.mark.parametrize("on", [SwitchOn(), LoadOn()])
def test_from_the_order_to_switch_on_until_off_is_read_back_something_may_be_on(on):
    assert rested(at((0, on), (10, ASK)), 100.0) == 0.0
    assert rested(at((0, on), (4, SwitchOff()), (10, ASK)), 100.0) == 0.0, "ordered, and not read back"
    assert rested(at((0, on), (0, OutputIsOff(5.0, False)), (10, ASK)), 100.0) == 0.0
    assert rested(at((0, on), (0, OFF), (10, ASK)), 100.0) == 90.0


def test_what_nobody_can_see_is_on_until_a_person_has_looked_at_it():
    """Else hands are at a pack for ever, whose supply has taken the command to go off and does not do it."""
    on = at((0, SwitchOn()), (0, OutputIsOn(1.0)), (0, OFF), (10, ASK))
    assert rested(on, 100.0) == 90.0
    assert rested(on, 100.0, cannot_report=("supply",)) == 0.0
    looked = at(
        (20, Ask("off-1", "Look at it.", of=Observed.SUPPLY_OFF)),
        (0, Answered(30.0, "off-1", "go on", "me")),
        (30, ASK),
    )
    assert rested([*on, *looked], 100.0, cannot_report=("supply",)) == 70.0


@pytest.mark.parametrize(("value", "seconds"), [("go on", 70.0), ("draws", 0.0)])
def test_what_a_person_has_switched_on_is_on_until_they_say_that_it_is_off(value, seconds):
    happened = at(
        (0, Ask("on", "Switch it on.", of=Observed.LOAD_ON)),
        (0, Answered(2.0, "on", "go on", "me")),
        (0, OFF),
        (10, Ask("off", "Switch it off.", of=Observed.LOAD_OFF)),
        (0, Answered(30.0, "off", value, "me")),
        (30, ASK),
    )
    assert rested(happened, 100.0, by_hand=("load",)) == seconds


def test_while_a_sensor_is_heated_and_while_the_pack_is_waited_for_it_counts():
    assert rested(at((0, Guide("heat", "T1", 0.05, "Heat it.")), (10, ASK)), 100.0) == 0.0
    assert rested(at((0, Guide("heat", "T1", 0.05, "")), (5, Guide("still", "T1", 0.0, "")), (10, ASK)), 100.0) == 90.0
    assert rested(at((10, Ask("seen", "Press it.", of=Observed.CAME_BACK))), 100.0) == 0.0


def test_a_run_that_goes_on_knows_what_it_waited_and_every_break_it_had():
    """Ceiling 2 h: three hours at a hold point and two breaks take none of it, however often the run goes on."""
    happened = [
        (0.0, Started(0.0, "")),
        (10.0, ASK),
        (10810.0, Answered(10810.0, "step-0", "go on", "me")),
        (10900.0, End(True, True, "power")),
        (50900.0, Resumed(50900.0, UTC, "power", 40000.0, 10800.0)),
        (51000.0, End(True, True, "power")),
    ]
    entries = [JournalEntry(t, UTC, what) for t, what in happened]
    program = a_program()
    assert no_test(entries[:4], program, 10900.0) == 10800.0
    assert no_test(entries, program, 51000.0) == 50800.0
    older = [
        JournalEntry(t, UTC, Resumed(t, UTC, "power", 40000.0) if isinstance(what, Resumed) else what)
        for t, what in happened
    ]
    assert no_test(older, program, 51000.0) == 50800.0, "as journals had it before"
    live = Rest()
    live.happened(Resumed(60000.0, UTC, "power", 9000.0, 50800.0))
    assert live.until(60050.0) == 59800.0


def test_one_that_was_killed_at_a_hold_point_waited_up_to_its_last_sample():
    entries = [JournalEntry(t, UTC, what) for t, what in [(0.0, Started(0.0, "")), (10.0, ASK)]]
    assert no_test(entries, a_program(), 5010.0) == 5000.0


def test_samples_change_nothing_of_it():
    assert rested(at((10, ASK), *((0, Sampled(float(t), {})) for t in range(11, 90))), 100.0) == 90.0
