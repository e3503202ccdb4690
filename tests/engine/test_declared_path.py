"""Each key of the sheet at its bound, and the question to a person where two explanations are left. Bounds are our own choice."""

import pytest

from runner.engine.program import Planned
from runner.engine.watch.declared import DeclaredPath
from runner.engine.watch.watcher import Watcher
from runner.engine.watch.watching import Watching
from runner.events import CHARGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Answered, OutputIsOn, Sampled, SupplyIsSet
from runner.orders import Ask, BeginRamp, Conclude, Guide, SwitchOff, Withdraw
from tests.engine.test_bounds_of_the_watcher import SET, Watched
from tests.one_step import OneStep

KEEPS, TRIES = DeclaredPath(residual=0.06), DeclaredPath(retry_every=15.0)
DERATES = DeclaredPath(derates=(CHARGE,))


def watched(declared, **more):
    found = Watched(**more)
    found.watcher = Watcher({CHARGE: 0.03}, declared=declared)
    found.watcher.expect(CHARGE, SET, 4.0, 0.0)
    return found.read(150, 4.0)


# ---- residual_current ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("left", "word"), [(0.0, "stopped"), (0.06, "stopped"), (0.099, "stopped"), (0.12, "limited by the pack")]
)
def test_what_is_no_more_than_declared_is_an_open_path_and_what_is_more_is_none(left, word):
    """0.06 A and the 0.04 A that the reading cannot tell from that."""
    assert watched(KEEPS).read(4, left, SET).words[-1] == word


def test_a_declared_rest_is_a_trip_at_once_where_an_undeclared_one_takes_twenty_seconds():
    assert watched(KEEPS).read(3, 0.06, SET, every=0.25).verdicts[-1].since == 150.25
    assert "stopped" not in watched(DeclaredPath()).read(19, 0.06, SET).words


def test_a_large_rest_that_is_declared_is_a_trip():
    assert watched(DeclaredPath()).read(30, 0.8, SET).words[-1] == "limited by the pack"
    assert watched(DeclaredPath(residual=0.8)).read(4, 0.8, SET).words[-1] == "stopped"


def test_a_path_that_is_open_from_the_beginning_has_no_level():
    found = Watched()
    found.watcher = Watcher({CHARGE: 0.03}, declared=KEEPS)
    found.watcher.expect(CHARGE, SET, 4.0, 0.0)
    assert found.read(40, 0.06, SET).words == []
    assert found.watcher.level == 0


def test_a_declared_rest_that_wavers_is_no_return_and_the_whole_current_is():
    found = watched(DeclaredPath(residual=0.8)).read(10, 0.3, SET).read(10, 0.8, SET)
    assert found.words[-1] == "stopped"
    assert found.read(5, 4.0, 27.0).words[-1] == "returned"


def test_a_taper_that_ends_in_what_is_left_is_full_and_no_trip():
    found = watched(KEEPS).read(400, lambda n: max(4.0 * 0.99**n, 0.06), lambda n: SET, mode="CV")
    assert "stopped" not in found.words
    assert found.words[-1] == "full"


# ---- retry_every -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seconds", "word"), [(7.0, "retrying"), (7.75, "returned")])
def test_a_return_lasts_longer_than_half_of_the_time_between_two_tries(seconds, word):
    found = watched(TRIES).read(60, 0.0, SET, every=0.25)
    found.read(int(seconds / 0.25) + 1, 4.0, 27.0, every=0.25).read(8, 0.0, SET, every=0.25)
    assert word in found.words
    assert {"retrying": "returned", "returned": "retrying"}[word] not in found.words


def test_where_the_sheet_is_silent_a_long_try_is_a_return():
    found = watched(DeclaredPath()).read(60, 0.0, SET, every=0.25).read(28, 4.0, 27.0, every=0.25)
    assert found.words[-2:] == ["returned", "steady"]


@pytest.mark.parametrize(("waits", "since"), [(59, 167.25), (30, 157.75)])
def test_a_return_just_after_a_try_that_was_due_begins_after_it_and_after_a_bounce_with_it(waits, since):
    """The path opened at 150.25 s. A current of 1 s, a pause of 1 s, and the return: a try only where one is due."""
    found = watched(TRIES).read(waits, 0.0, SET, every=0.25)
    found.read(5, 4.0, 27.0, every=0.25).read(4, 0.0, SET, every=0.25).read(40, 4.0, 27.0, every=0.25)
    assert (found.words[-2], found.words[-1]) == ("returned", "steady")
    (back,) = [each for each in found.verdicts if each.word == "returned"]
    assert back.since == pytest.approx(since)


def test_a_return_that_goes_on_from_a_try_says_that_it_may_have_come_later():
    found = watched(TRIES).read(60, 0.0, SET, every=0.25).read(40, 4.0, 27.0, every=0.25)
    (back,) = [each for each in found.verdicts if each.word == "returned"]
    assert "may be later" in back.why
    other = watched(TRIES).read(30, 0.0, SET, every=0.25).read(40, 4.0, 27.0, every=0.25)
    assert not any("may be later" in each.why for each in other.verdicts)


# ---- derates ---------------------------------------------------------------------------------------------------------


def sloping(declared):
    """From 4 A to 1 A within 200 s, the supply at its set voltage from the first moment on."""
    return watched(declared).read(200, lambda n: 4.0 - 0.015 * (n + 1), SET, mode="CV")


def test_a_slope_of_a_pack_that_derates_is_no_taper_and_its_end_a_trip():
    assert "tapering" in sloping(DeclaredPath()).words
    found = sloping(DERATES)
    assert found.words[-1] == "limited by the pack"
    assert not {"tapering", "full"} & set(found.words)
    assert found.read(4, 0.0, SET).words[-1] == "stopped"


def test_a_pack_that_derates_tapers_all_the_same_when_it_is_full():
    found = watched(DERATES).read(60, 4.0, lambda n: 26.0 + (SET - 26.0) * (n + 1) / 60)
    found.read(400, lambda n: 4.0 * 0.99**n, SET, mode="CV")
    assert found.words[-2:] == ["tapering", "full"]


def test_a_little_that_a_derating_pack_leaves_has_two_explanations_unless_it_says_what_it_leaves():
    found = watched(DERATES).read(22, 0.3, SET)
    assert (found.words[-2:], found.verdicts[-1].between) == (
        ["keep-alive", "unclear"],
        ("a protection opened the path", "the pack asks for less current"),
    )
    both = DeclaredPath(residual=0.06, derates=(CHARGE,))
    assert watched(both).read(22, 0.3, SET).words[-1] == "limited by the pack"
    assert watched(both).read(4, 0.06, SET).words[-1] == "stopped"


# ---- two explanations: what a person says ------------------------------------------------------------------------------


def answered(which, declared=DERATES):
    """A watching that is in doubt, and what it says to the answer."""
    watching = Watching(Watcher({CHARGE: 0.03}, declared=declared))
    for event in (SupplyIsSet(0.0, SET, 4.0), OutputIsOn(0.0)):
        watching.happened(event)
    for t in range(1, 180):
        current, voltage = (4.0, 26.0) if t <= 150 else (0.3, SET)
        watching.happened(Sampled(float(t), {SUPPLY_CURRENT: current, SUPPLY_VOLTAGE: voltage}, {}, "CC", True))
    return watching, watching.happened(Answered(180.0, "q", which, "Ada"))


def test_a_trip_that_a_person_saw_is_one_from_when_the_current_fell():
    _, (said,) = answered("a protection opened the path")
    assert (said.word, said.since) == ("stopped", 151.0)
    assert "Ada decided: a protection opened the path" in said.why


def test_less_current_that_a_person_saw_flows_on_and_can_still_stop():
    watching, (said,) = answered("the pack asks for less current")
    assert said.word == "limited by the pack"
    readings = {SUPPLY_CURRENT: 0.0, SUPPLY_VOLTAGE: SET}
    found = [v for t in range(181, 190) for v in watching.happened(Sampled(float(t), readings, {}, "CC", True))]
    assert [(each.word, each.since) for each in found] == [("stopped", 181.0)]


@pytest.mark.parametrize("which", ["cannot tell", "the pack is full", "go on"])
def test_another_answer_changes_nothing(which):
    watching, said = answered(which)
    assert (said, watching.watcher.verdict.word) == ([], "unclear")


def test_an_answer_counts_once():
    watching, _ = answered("a protection opened the path")
    assert watching.happened(Answered(181.0, "q", "a protection opened the path", "Ada")) == []


# ---- two explanations: how a ramp asks ---------------------------------------------------------------------------------

TEMPERATURE = {"protection": "charge_over_temperature", "trip": 55.0, "release": 45.0, "probe_resolution": 0.1}


def doubting():
    """A heat that has just asked; T1 is at 54 °C."""
    values = {"rate": 0.05, "approach": 50.0, "give_up": 63.0}
    after = Planned(1, "heat", "the ramp", "Slowly now.", values, "T1", 1, 1, words={"until": "stopped"})
    step = OneStep(
        "charge", {"current": 4.0, "voltage": SET, "steady": 2.0}, program={**TEMPERATURE, "declared_path": DERATES},
        words={"until": "steady"}, sensor="T1", group=1,
        after=(after, Planned(2, "off", "off", "", {}, "T1", 1), Planned(3, "off", "off", "", {}, "T2", 2)),
    ).on(CHARGE, 4.0, SET)  # fmt: skip
    step.read(5.0, charge=4.0, supply=26.0, probe=25.0)
    step.read(60.0, 0.5, charge=4.0, supply=26.0, probe=lambda t: 51.0 + 0.05 * t)
    step.orders.clear()
    step.read(21.0, 0.5, charge=0.3, supply=SET, probe=lambda t: 54.0 + 0.01 * t)
    return step


def the_ask(step):
    (ask,) = [order for order in step.orders if isinstance(order, Ask)]
    return ask


def test_a_ramp_in_doubt_stops_heating_names_both_explanations_and_keeps_the_path_on():
    step = doubting()
    ask = the_ask(step)
    assert ask.choices == ("a protection opened the path", "the pack asks for less current", "cannot tell")
    assert all(choice in ask.say for choice in ask.choices[:2])
    guides = [order for order in step.orders if isinstance(order, Guide)]
    assert [order.action for order in guides] == ["still"]
    assert step.orders.index(guides[0]) < step.orders.index(ask)
    step.orders.clear()
    step.read(60.0, charge=0.3, supply=SET, probe=lambda t: 40.0 + 0.01 * t)
    assert step.orders == [], "nothing is heated, cooled or switched while it waits"


def test_a_trip_by_a_persons_word_ends_the_ramp_as_one_when_the_current_fell():
    step = doubting()
    fell = step.t - 20.5
    step.tell(Answered(step.t + 1, the_ask(step).question, "a protection opened the path", "Ada"))
    assert (step.conclusion.outcome, step.conclusion.at) == ("stopped", fell)
    assert "Ada decided" in step.conclusion.why


def test_less_current_by_a_persons_word_begins_the_ramp_again():
    step = doubting()
    step.tell(Answered(step.t + 1, the_ask(step).question, "the pack asks for less current", "Ada"))
    step.t += 1
    made = step.read(2.0, 0.5, charge=0.3, supply=SET, probe=lambda t: 54.0 + 0.01 * t)
    assert step.orders[-len(made) - 1].action == "heat"
    assert any(isinstance(order, BeginRamp) for order in made)
    step.read(4.0, 0.5, charge=0.0, supply=SET, probe=lambda t: 54.0 + 0.01 * t)
    assert step.conclusion.outcome == "stopped"


def test_a_person_who_cannot_tell_leaves_the_ramp_unjudged():
    step = doubting()
    step.tell(Answered(step.t + 1, the_ask(step).question, "cannot tell", "Ada"))
    assert step.conclusion.outcome == "unclear"
    assert any(isinstance(order, SwitchOff) for order in step.orders)


def test_a_supply_that_goes_off_takes_the_question_away():
    step = doubting()
    question = the_ask(step).question
    step.read(3.0, 0.5, output=False, charge=0.0, supply=0.0, probe=lambda t: 50.0 + 0.01 * t)
    assert Withdraw(question) in step.orders
    assert [order.outcome for order in step.orders if isinstance(order, Conclude)] == ["limited"]


def test_nobody_who_answers_ends_the_run_with_the_path_off():
    step = doubting()
    longest = step.run.program.longest_hold
    step.read(longest + 5.0, charge=0.3, supply=SET, probe=lambda t: 40.0 + 0.01 * t)
    assert step.run.early
    assert any(isinstance(order, SwitchOff) and order.everything for order in step.orders)
