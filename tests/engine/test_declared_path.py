"""Each key of the sheet that says how a path opens, at its bound. Bounds are our own choice."""

import pytest

from runner.engine.program import Planned
from runner.engine.watch.declared import DeclaredPath
from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE
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


# ---- looking whether a pack is back --------------------------------------------------------------------------------


@pytest.mark.parametrize(("seconds", "back"), [(7.0, False), (8.0, True)])
def test_a_look_takes_what_flows_for_no_longer_than_a_try_for_none(seconds, back):
    """Three readings are enough where the sheet says nothing of tries."""
    values = {"current": 4.0, "look": 3.0, "pause": 30.0, "give_up": 600.0, "voltage": SET, "floor": 20.0}
    step = OneStep("try", values, words={"path": CHARGE}, program={"declared_path": TRIES}).off()
    step.read(3.0, charge=0.0, supply=26.0)
    step.on(CHARGE, 4.0, SET).read(seconds, 0.5, charge=4.0, supply=26.0)
    step.read(1.0, 0.5, charge=0.0, supply=SET)
    assert (step.conclusion is not None) == back
    silent = OneStep("try", values, words={"path": CHARGE}).off()
    silent.read(3.0, charge=0.0, supply=26.0)
    silent.on(CHARGE, 4.0, SET).read(2.0, 0.5, charge=4.0, supply=26.0)
    assert silent.conclusion.outcome == "returned"


def test_a_look_does_not_take_what_flows_through_an_open_path_for_a_return():
    values = {"current": 4.0, "look": 3.0, "pause": 30.0, "give_up": 600.0, "voltage": SET, "floor": 20.0}
    for declared, outcome in ((DeclaredPath(residual=0.8), None), (DeclaredPath(), "returned")):
        step = OneStep("try", values, words={"path": CHARGE}, program={"declared_path": declared}).off()
        step.read(3.0, charge=0.0, supply=26.0)
        step.on(CHARGE, 4.0, SET).read(4.0, 0.5, charge=0.8, supply=SET)
        assert (step.conclusion.outcome if step.conclusion else None) == outcome


@pytest.mark.parametrize(("seconds", "back"), [(7.0, False), (8.0, True)])
def test_terminals_are_back_when_they_stay_for_longer_than_a_try(seconds, back):
    program = {"nominal_voltage": 25.6, "has": ("supply", "load", "meter"), "declared_path": TRIES}
    step = OneStep("recover", {"give_up": 600.0}, program=program).off()
    step.read(5.0, 0.5, meter=0.2, load=0.2)
    step.read(seconds, 0.5, meter=25.0, load=0.2)
    step.read(2.0, 0.5, meter=0.2, load=0.2)
    assert (step.conclusion is not None) == back


def test_a_woken_pack_is_looked_at_for_longer_than_a_try_and_not_given_up_before():
    """Ten seconds are not enough where a try may last fifteen."""
    program = {
        "nominal_voltage": 25.6,
        "has": ("supply", "load", "meter"),
        "declared_path": DeclaredPath(retry_every=30.0),
    }
    wake = Planned(1, "wake", "wake", "", {"current": 1.0, "voltage": SET, "for": 10.0, "give_up": 120.0})
    drain = {"current": 4.0, "floor": 10.0}
    step = OneStep("drain", drain, program=program, words={"until": "stopped"}, after=(wake,)).on("discharge", 4.0)
    step.read(60.0, draw=4.0, load=24.0, meter=24.0)
    step.read(4.0, draw=0.0, load=0.2, meter=0.2)
    step.off().on(CHARGE, 1.0, SET).read(12.0, charge=1.0, supply=20.0)
    step.off().read(17.0, supply=0.0, load=25.0, meter=25.0)
    assert step.conclusion.outcome == "returned"
