"""What is found by levels of a current or of a decade box, with every line of its budget.

What lies between two times or two values is their distance/√12, ± limits are half-width/√3 (JCGM 100:2008, 4.3.7).
"""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, METER_VOLTAGE, SUPPLY_CURRENT
from runner.measure.cutoff import _seen_by_tries
from runner.measure.finding import NO_VOLTMETER
from runner.measure.fits.staircase import Acted, find_turns
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Series, Specification
from runner.measure.stages import Stages, Substituted
from runner.vocabulary import Outcome


def attempt(kind, began, at, outcome, **more):
    sensor = more.pop("sensor", "")
    return Attempt(kind, sensor, 0, 0.0, began, None, at, outcome, more.pop("why", "why"), **more)


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


ACCURACY = {LOAD_CURRENT: Accuracy(0.002, 0.05, 0.01), SUPPLY_CURRENT: Accuracy(0.002, 0.05, 0.01)}


def declared(**more):
    values = {"trip": 48.0, "trip_limits": (45.0, 51.0), "delay": 1.0, "delay_uncertainty": 0.1, "polling": 0.1}
    return Specification("discharge_over_current", **{**values, "accuracy": ACCURACY, **more})


def stairs(amperes, dwell=5.0, held=0.6, begin=10.0, asked=0.05, more=(), path_step=0.1, **spec):
    """Levels of these currents, each asked for ``asked`` s before it was read back; the last one stops after ``held`` s."""
    levels = tuple(Held(a, begin + n * dwell, asked=begin + n * dwell - asked) for n, a in enumerate(amperes))
    end = levels[-1].since + held
    t = np.arange(0.0, end + 3.0, path_step)
    number = np.clip(((t - begin + 1e-9) // dwell).astype(int), 0, len(amperes) - 1)
    current = np.where((t < begin) | (t >= end - 1e-9), 0.0, np.array(amperes)[number] * 1.001)
    at = float(t[t >= end - 1e-9][0])
    stopped = attempt("stage", begin - 2.0, at, Outcome.STOPPED, levels=levels)
    return Stages(Recording({LOAD_CURRENT: Series(t, current)}, (*more, stopped)), declared(**spec))


def test_the_trip_lies_between_the_last_level_held_and_the_first_that_was_not_as_they_were_read():
    finding = stairs([46.0, 47.0, 48.0, 49.0], dwell=8.0, held=1.5).trip()
    assert finding.value == pytest.approx(48.5 * 1.001, rel=1e-6)
    found = lines(finding)
    assert found["step size"] == pytest.approx(1.001 / 12**0.5, rel=1e-6)
    assert found["gain of the current reading"] == pytest.approx(0.002 * 49.049 / 3**0.5, rel=1e-6)
    assert found["offset of the current reading"] == pytest.approx(0.05 / 3**0.5)
    assert found["resolution of the current reading"] == pytest.approx(0.01 / 12**0.5)
    assert finding.caveats[0] == "no trip at 48.05 A, trip at 49.05 A"
    assert (finding.one_more, finding.functional) == (0.0, False), "both are for temperatures"


def test_without_a_voltmeter_nothing_tells_a_lead_that_came_off_from_a_trip():
    """Common practice, no source: of both the current is gone and the supply stands at its set voltage."""
    unseen, seen = (stairs([46.0, 47.0, 48.0, 49.0], dwell=8.0, held=1.5) for _ in range(2))
    seen.recording.channels[METER_VOLTAGE] = Series(np.array([0.0, 1.0]), np.array([26.0, 26.0]))
    assert [NO_VOLTMETER in each.trip().caveats for each in (unseen, seen)] == [True, False]


@pytest.mark.parametrize(("first", "conformity"), [(44.8, "fail"), (44.9, "not measured"), (45.0, "not measured")])
def test_a_trip_at_the_first_level_fails_only_below_the_limits(first, conformity):
    """Below is what is below with 0.2 % and 0.06 A, which the reading may be off by."""
    finding = stairs([first, 60.0], held=1.5)
    single = finding.recording.attempts[0]
    early = attempt("stage", 8.0, 11.5, Outcome.STOPPED, levels=single.levels)
    t = np.arange(0.0, 20.0, 0.1)
    current = np.where((t < 10.0) | (t >= 11.45), 0.0, first)
    trip = Stages(Recording({LOAD_CURRENT: Series(t, current)}, (early,)), declared()).trip()
    assert trip.conformity == conformity
    assert trip.reason == f"tripped already at the first level, {first:.4g} A"


def test_the_delay_runs_from_the_level_to_the_edge_less_what_the_polling_adds():
    """A load draws its current between the order, 0.05 s before, and its reading back."""
    finding = stairs([60.0], held=1.2).delay()
    edge = 10.0 + 1.2 - 0.05
    assert finding.value == pytest.approx(edge - 9.975 - 0.05 - 0.05, abs=1e-6)
    found = lines(finding)
    assert found["moment of switching"] == pytest.approx(0.1 / 12**0.5)
    assert found["time at which the current was on"] == pytest.approx(0.05 / 12**0.5)
    assert found["polling interval of the pack"] == pytest.approx(0.1 / 12**0.5)


def test_where_the_record_does_not_say_when_a_level_was_asked_for_a_tenth_of_a_second_is_allowed():
    """A tenth of a second: our own choice."""
    maker = stairs([60.0], held=1.2)
    (old,) = maker.recording.attempts
    bare = attempt("stage", old.began, old.at, Outcome.STOPPED, levels=(Held(60.0, 10.0),))
    finding = Stages(Recording(maker.recording.channels, (bare,)), declared()).delay()
    assert lines(finding)["time at which the current was on"] == pytest.approx(0.1 / 12**0.5)


def test_beyond_its_delay_a_pack_takes_nothing_or_a_whole_look():
    finding = stairs([60.0], held=1.2).delay()
    assert lines(finding)["delay as a number of polls"] == pytest.approx(0.05)
    assert lines(finding)["polling interval of the pack"] == pytest.approx(0.1 / 12**0.5)


def test_looks_of_which_the_sheet_says_nothing_may_come_at_any_interval_up_to_a_tenth_of_a_second_for_a_current():
    """For p uniform up to 0.1 s: the wait is p·x, x uniform, and the loss nothing or p; the moments are worked out by drawing."""
    finding = stairs([60.0], held=1.2, polling=0.0).delay()
    assert finding.caveats[0] == "interval between the pack's looks not declared; up to 0.1 s assumed"
    dice = np.random.default_rng(1)
    p = dice.uniform(0, 0.1, 200_000)
    waits, losses = p * dice.uniform(0, 1, len(p)), p * dice.integers(0, 2, len(p))
    assert lines(finding)["polling interval of the pack"] == pytest.approx(float(np.std(waits)), rel=0.01)
    assert lines(finding)["delay as a number of polls"] == pytest.approx(float(np.std(losses)), rel=0.01)
    known = stairs([60.0], held=1.2).delay()
    assert finding.value - known.value == pytest.approx(0.1 - float(np.mean(waits) + np.mean(losses)), abs=1e-3)


def rising(rate, asked=10.0, **spec):
    """A supply that rises to 20 A at so many A/s from 10 s on, and stops between 12.0 and 12.1 s."""
    t = np.arange(9.0, 16.0, 0.1)
    current = np.where(t < 12.05, np.clip(rate * (t - 10.0), 0.0, 20.0), 0.0)
    levels = (Held(20.0, 10.1, asked=asked),)
    stopped = attempt("stage", 9.0, float(t[t > 12.05][0]), Outcome.STOPPED, levels=levels)
    values = {"trip": 15.0, "trip_limits": (14.0, 16.0), "polling": 0.1, **spec}
    return Stages(
        Recording({SUPPLY_CURRENT: Series(t, current)}, (stopped,)), Specification("charge_over_current", **values)
    ).delay()


def test_of_a_supply_that_takes_its_time_the_readings_say_when_it_passed_the_trip():
    """At 20 A/s it passes 15 A after 0.75 s, between the readings at 10.7 and 10.8 s; ± 0.3 A of the trip are ± 0.015 s."""
    finding = rising(20.0)
    assert finding.value == pytest.approx(12.05 - 10.75 - 0.05 - 0.05, abs=0.01)
    assert lines(finding)["time at which the current was on"] == pytest.approx((0.1 + 2 * 0.015) / 12**0.5, rel=0.02)


def test_of_a_supply_that_the_first_reading_shows_above_the_trip_it_passed_since_it_was_asked():
    """Between 10.05 and 10.1 s; how fast it rose nobody saw."""
    finding = rising(400.0, asked=10.05)
    assert finding.value == pytest.approx(12.05 - 10.075 - 0.05 - 0.05, abs=1e-6)
    assert lines(finding)["time at which the current was on"] == pytest.approx(0.05 / 12**0.5)


def test_a_pack_that_returns_over_a_pre_charge_had_released_before_it_was_tried():
    """The pre-charge of a tenth that a try finds is no open path: the release lies between the two tries."""

    t = np.arange(0.0, 60.0, 0.5)
    for first, seen in ((0.2, 20.0), (0.0, 41.0)):
        current = np.select([t < 40.0, t < 41.5], [0.0, first], 2.0)
        looks = tuple(Held(26.4, since) for since in (20.0, 40.0))
        attempt = Attempt("try", "", 0, 0.0, 10.0, None, 41.5, "returned", "", levels=looks)
        maker = SimpleNamespace(
            recording=Recording({SUPPLY_CURRENT: Series(t, current)}, (attempt,)),
            declared=SimpleNamespace(path="charge"),
        )
        assert _seen_by_tries(maker, attempt, 5.0) == seen


def test_levels_that_are_held_shorter_than_the_delay_say_nothing_of_the_trip():
    """The delay is 1 s ± 0.17 s and a poll 0.1 s: 0.93 s at least."""
    hasty = stairs([46.0, 47.0, 48.0], dwell=0.9, held=0.8, path_step=0.05)
    assert hasty.trip().conformity == "not measured"
    assert "each level lasted 0.9 s, the pack needs 0.9 s" in hasty.trip().reason
    assert stairs([46.0, 47.0, 48.0], dwell=0.95, held=0.8, path_step=0.05).trip().value is not None


def test_a_jump_that_has_shown_the_delay_says_how_long_the_levels_of_the_stairs_had_to_be():
    """1 s is declared, the jump took 2 s: with levels of 1.5 s the pack had decided at an earlier one."""
    for dwell, known in ((1.5, False), (2.5, True)):
        jump, steps = stairs([60.0], held=2.0), stairs([46.0, 47.0, 48.0], dwell=dwell, held=1.4, begin=40.0)
        a, b = jump.recording.of(LOAD_CURRENT), steps.recording.of(LOAD_CURRENT).between(30.0, 90.0)
        both = Series(np.concatenate([a.t, b.t]), np.concatenate([a.value, b.value]))
        attempts = (*jump.recording.attempts, *steps.recording.attempts)
        trip = Stages(Recording({LOAD_CURRENT: both}, attempts), declared()).trip()
        assert (trip.value is not None) is known
        assert known or "each level lasted 1.5 s, the pack needs 2.0 s" in trip.reason


def given_up(high, waited, delay=2.0, limit=52.0):
    levels = (Held(50.0, 10.0), Held(high, 100.0 - waited))
    tried = attempt("stage", 5.0, 100.0, Outcome.GAVE_UP, levels=levels, limit=limit, sought=Outcome.STOPPED)
    spec = declared(delay=delay, delay_uncertainty=0.0, polling=0.5)
    return Stages(Recording({}, (tried,)), spec).trip()


@pytest.mark.parametrize(
    ("high", "waited", "conformity"),
    [
        (51.0, 30.0, "not measured"),
        (51.1, 30.0, "not measured"),
        (51.2, 30.0, "fail"),
        (51.2, 3.0, "not measured"),
        (51.2, 3.1, "fail"),
    ],
)
def test_no_trip_fails_beyond_the_limit_for_longer_than_delay_and_two_polls(high, waited, conformity):
    """Beyond it is what is 51 A with everything that the reading may be off by: 0.2 % and 0.06 A."""
    finding = given_up(high, waited)
    assert finding.conformity == conformity
    short = f"why; the level beyond the limit lasted {waited:.0f} s; the declared maximum delay is 3 s"
    unsure = "why; by what was read, and how accurate that is, no level was beyond the limit for certain"
    assert finding.reason == {(51.2, 3.0): short, (51.1, 30.0): unsure}.get((high, waited), "why")


def test_a_level_that_did_not_flow_fails_nobody():
    """Seen: 110.2 A were set, the load's own reading was 109.1 A ± 1.2 A, the limit is 110 A: fail."""
    t = np.arange(0.0, 40.0, 0.25)
    levels = (Held(105.0, 10.0), Held(110.2, 20.0))
    tried = attempt("stage", 5.0, 40.0, Outcome.GAVE_UP, levels=levels, limit=110.2, sought=Outcome.STOPPED)
    for read, conformity in ((109.1, "not measured"), (111.5, "fail")):
        flowed = Series(t, np.where(t < 20.0, 104.0, read))
        spec = declared(trip=100.0, trip_limits=(90.0, 110.0), accuracy={LOAD_CURRENT: Accuracy(0.01, 0.1, 0.01)})
        assert Stages(Recording({LOAD_CURRENT: flowed}, (tried,)), spec).trip().conformity == conformity


def test_the_give_up_of_another_step_is_not_that_of_the_stairs():
    levels = (Held(50.0, 60.0), Held(52.0, 70.0))
    drained = attempt("drain", 0.0, 50.0, Outcome.GAVE_UP, limit=10.0, sought=Outcome.STOPPED, why="other")
    tried = attempt("stage", 55.0, 100.0, Outcome.GAVE_UP, levels=levels, limit=52.0, sought=Outcome.STOPPED)
    finding = Stages(Recording({}, (drained, tried)), declared()).trip()
    assert (finding.conformity, finding.reason) == ("fail", "why")


# ---- a decade box --------------------------------------------------------------------------------------------------

BOX = {"trip": 55.0, "trip_limits": (53.0, 57.0), "release": 45.0, "release_limits": (43.0, 47.0), "sensors": ("T1",)}
BOX |= {"delay": 1.0, "delay_uncertainty": 0.05, "polling": 0.1, "reaction": (0.0, 0.2)}


def boxed(
    degrees, *, began=5.0, dwell=10.0, held=1.1, outcome=Outcome.STOPPED, protection="charge_over_temperature", **spec
):
    """Levels of a box; the last one acts ``held`` s after it was set, by default as a pack of 1 s of delay without a filter does."""
    levels = tuple(Held(value, began + 5.0 + n * dwell, by_hand=True) for n, value in enumerate(degrees))
    end = levels[-1].since + held
    t = np.arange(began - 5.0, end + 5.0, 0.1)
    before, after = (4.0, 0.0) if outcome == Outcome.STOPPED else (0.0, 4.0)
    current = np.where(t < end - 1e-9, before, after)
    changed = attempt("substitute", began, float(t[t >= end - 1e-9][0]), outcome, levels=levels, sensor="T1")
    slope = {"T1": lambda t: -0.04}
    values = {**BOX, "box": 0.001, "slope": slope, **spec}
    return Substituted(
        Recording({SUPPLY_CURRENT: Series(t, current)}, (changed,)), Specification(protection, **values), "T1"
    )


def test_the_trip_by_a_box_lies_between_two_levels_and_the_box_is_in_its_budget():
    finding = boxed([54.0, 54.5, 55.0], dwell=300.0).findings()["trip"]()
    assert finding.value == pytest.approx(54.75, abs=0.08)
    found = lines(finding)
    # never less than the step; a noisy pack, and a key that came late, change beside it
    assert 1.0 <= found.pop("step size") / (0.5 / 12**0.5) <= 1.12
    assert found.pop("filter of the pack") < 0.12, "no large step has shown that there is none"
    assert found == {
        "repeatability of the pack": 0.03,
        "accuracy of the decade box": pytest.approx(0.001 / 0.04 / 3**0.5),
    }
    assert finding.repeats == (54.75,)
    unknown = boxed([54.0, 54.5, 55.0], slope={}).findings()["trip"]()
    assert set(lines(finding)) - set(lines(unknown)) == {"accuracy of the decade box"}, "a curve that is not there"


def of_a_filter(lag, dwell, trip=54.6, release=49.8, polling=0.5, delay=1.0):
    """The trip that the method finds of a pack with a filter of the first order of ``lag`` s, which is simulated look by look:
    a staircase up, one step down, one large step up."""
    keep = math.exp(-polling / lag) if lag else 0.0
    t, seen, attempts, times = 0.0, 25.0, [], []
    for degrees, rising in ((np.arange(52.0, 58.0, 0.5), True), ([45.0], False), ([65.0], True)):
        began, passed = t, None
        while passed is None or t < passed + delay:
            now = degrees[min(int((t - began) / dwell), len(degrees) - 1)]
            seen = keep * seen + (1 - keep) * now
            if passed is None and (seen >= trip if rising else seen <= release):
                passed = t
            t += polling
        acted = passed + delay
        held = tuple(
            Held(float(v), began + n * dwell, by_hand=True) for n, v in enumerate(degrees) if began + n * dwell <= acted
        )
        outcome = Outcome.STOPPED if rising else Outcome.RETURNED
        attempts.append(attempt("substitute", began - 1.0, acted + 0.1, outcome, levels=held, sensor="T1"))
        times.append(acted)
        if not rising:
            t, seen = t + 100.0, degrees[-1]
    at = np.arange(-10.0, t + 10.0, 0.1)
    late = at + 1e-9
    off = ((late >= times[0]) & (late < times[1])) | (late >= times[2])
    series = Series(at, np.where(off, 0.0, 4.0))
    ended = tuple(replace(each, at=float(at[late >= times[n]][0])) for n, each in enumerate(attempts))
    declared = Specification("charge_over_temperature", **{**BOX, "polling": polling, "slope": {"T1": lambda t: -0.04}})
    return Substituted(Recording({SUPPLY_CURRENT: series}, ended), declared, "T1").findings()["trip"]()


@pytest.mark.parametrize("lag", [0.0, 3.0, 8.0])
def test_a_filter_is_found_out_by_when_the_large_step_acts_and_the_threshold_is_right_with_it(lag):
    """The level at which the current stops is up to 1.5 K beyond the threshold of 54.6 °C with 8 s, where levels last for 5 s."""
    finding = of_a_filter(lag, dwell=5.0)
    assert abs(finding.value - 54.6) < 0.4
    assert abs(finding.value - 54.6) <= finding.expanded_uncertainty <= 0.6
    if lag == 8.0:
        assert finding.repeats[0] - 54.6 > 0.6, "what the last step alone would say"


def one_after_another(up, down):
    (one,), (two,) = up.recording.attempts, down.recording.attempts
    a, b = up.recording.of(SUPPLY_CURRENT), down.recording.of(SUPPLY_CURRENT)
    both = Series(np.concatenate([a.t, b.t]), np.concatenate([a.value, b.value]))
    return Substituted(Recording({SUPPLY_CURRENT: both}, (one, two)), up.declared, "T1")


def test_the_release_too_and_their_distance_is_without_the_box():
    up = boxed([54.5, 55.0])
    down = boxed([45.5, 45.0], began=100.0, outcome=Outcome.RETURNED)
    assert down.findings()["release"]().value == pytest.approx(45.25, abs=0.06)
    maker = one_after_another(up, down)
    hysteresis = maker.findings()["hysteresis"]()
    assert hysteresis.value == pytest.approx(9.5, abs=0.12)
    reasons = [each.findings()["hysteresis"]().reason for each in (up, down)]
    assert reasons == ["the release was not measured", "the trip was not measured"]
    assert 1.0 <= lines(hysteresis)["step size"] / (0.5 * 2**0.5 / 12**0.5) <= 1.14
    assert lines(hysteresis)["repeatability of the pack"] == pytest.approx(0.03 * 2**0.5)
    assert "accuracy of the decade box" not in lines(hysteresis)


def test_a_key_that_comes_after_the_change_does_not_turn_trip_and_release_round():
    """An under-temperature protection opens below where it closes. The key of the last large step came 0.75 s after it was set, and
    the current was back 0.1 s before the key: a pack that had averaged for a minute would explain that, with a release of 1.8 °C."""
    told = [(67.6, 3.0), (73.8, 2.5), (78.6, 2.0), (83.5, 1.5), (88.6, 1.0), (94.6, 0.5), (102.8, 0.0), (109.6, -0.5)]
    told += [(117.1, -1.0), (128.0, 2.0), (133.6, 2.5), (138.4, 3.0), (146.4, 3.5), (152.7, 4.0), (160.1, 4.5)]
    told += [(166.8, 5.0), (179.1, -10.0), (190.2, 15.0)]
    at, to = np.array([(-math.inf, 25.0), *told]).T
    trips = [Acted(118.8, 0.27, False, 67.6), Acted(180.4, 0.24, False, 179.1)]
    releases = [Acted(167.0, 0.36, True, 128.0), Acted(190.1, 0.37, True, 190.2)]
    turns = find_turns(at, to, trips, releases, (0.54, 0.66), 0.0)
    assert turns.possible
    assert turns.trip.value == pytest.approx(-0.75, abs=0.35)
    assert turns.release.value == pytest.approx(4.75, abs=0.5)


def test_levels_that_put_the_release_beyond_the_trip_are_no_measurement():
    up, down = boxed([54.5, 55.0]), boxed([59.5, 59.0], began=100.0, outcome=Outcome.RETURNED)
    found = {name: make() for name, make in one_after_another(up, down).findings().items()}
    for name in ("trip", "release"):
        assert found[name].conformity == "not measured"
        assert "the release lies beyond the trip" in found[name].reason
    assert found["hysteresis"].value is None


@pytest.mark.parametrize(
    ("value", "protection", "conformity"),
    [
        (52.9, "charge_over_temperature", "fail"),
        (53.1, "charge_over_temperature", "not measured"),
        (57.1, "charge_under_temperature", "fail"),
        (56.9, "charge_under_temperature", "not measured"),
    ],
)
def test_a_change_at_the_first_level_fails_only_where_it_came_too_early(value, protection, conformity):
    finding = boxed([value], protection=protection).findings()["trip"]()
    assert finding.conformity == conformity
    assert finding.reason == f"changed already at the first level, {value:.2f} °C"


@pytest.mark.parametrize(("levels", "part"), [(1, "changed already at the first level"), (2, "did not trip")])
def test_stairs_that_were_given_up_say_more_than_a_jump_and_a_jump_does_not(levels, part):
    maker = boxed([52.0])
    held = tuple(Held(54.0 + n, 100.0 + n) for n in range(levels))
    tried = attempt(
        "substitute",
        99.0,
        120.0,
        Outcome.GAVE_UP,
        sensor="T1",
        levels=held,
        sought=Outcome.STOPPED,
        limit=55.0,
        why="did not trip",
    )
    both = Recording(maker.recording.channels, (*maker.recording.attempts, tried))
    assert part in Substituted(both, maker.declared, "T1").findings()["trip"]().reason


def test_of_two_jumps_the_first_says_at_which_level_it_came_and_the_last_how_long_it_took():
    one, two = boxed([52.0]), boxed([52.5], began=100.0, held=3.0)
    a, b = one.recording.of(SUPPLY_CURRENT), two.recording.of(SUPPLY_CURRENT)
    both = Series(np.concatenate([a.t, b.t]), np.concatenate([a.value, b.value]))
    attempts = (*one.recording.attempts, *two.recording.attempts)
    maker = Substituted(Recording({SUPPLY_CURRENT: both}, attempts), one.declared, "T1")
    assert maker.findings()["trip"]().reason == "changed already at the first level, 52.00 °C"
    assert maker.delay().value == pytest.approx(3.0 - 0.15, abs=1e-6)


def test_the_delay_by_a_box_is_from_the_persons_key_to_the_edge():
    finding = boxed([70.0], held=1.4).delay()
    assert finding.value == pytest.approx(1.4 - 0.05 - 0.05 - 0.05, abs=1e-6)
    assert lines(finding)["moment at which the operator pressed Enter"] == pytest.approx(0.2)
