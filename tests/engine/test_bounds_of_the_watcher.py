"""Each rule of the watcher at its bound: a value that is still one word and one that is the next. The bounds are our own choice."""

import math

import pytest

from runner.engine.watch.watcher import Watcher
from runner.engine.watch.watching import Watching
from runner.events import (
    CHARGE,
    METER_VOLTAGE,
    SUPPLY_CURRENT,
    SUPPLY_VOLTAGE,
    LoadIsSet,
    OutputIsOff,
    OutputIsOn,
    Sampled,
    SupplyIsSet,
)

SET = 29.2  # V


class Watched:
    """A charge at 4 A towards 29.2 V, told second by second; ``words`` are those it said."""

    def __init__(self, *, wanted=False, voltage=SET):
        self.watcher = Watcher({CHARGE: 0.03})
        self.watcher.expect(CHARGE, voltage, 4.0, 0.0, over_voltage_wanted=wanted)
        self.t, self.words, self.verdicts = 0.0, [], []

    def read(self, count, current, voltage=26.0, every=1.0, mode="CC", meter=None, output=True):
        for number in range(count):
            self.t += every
            amperes = current(number) if callable(current) else current
            readings = {SUPPLY_CURRENT: amperes, SUPPLY_VOLTAGE: voltage(number) if callable(voltage) else voltage}
            if meter is not None:
                readings[METER_VOLTAGE] = meter
            said = self.watcher.take(Sampled(self.t, readings, {}, mode, output))
            self.verdicts += said
            self.words += [str(each.word) for each in said]
        return self


def steady(**more):
    return Watched(**more).read(150, 4.0)


@pytest.mark.parametrize(("current", "said"), [(4.149, ["steady"]), (4.151, []), (3.851, ["steady"]), (3.849, [])])
def test_steady_is_within_three_percent_and_what_the_reading_can_tell(current, said):
    """3 % of 4 A are 0.12 A, and 0.03 A of the reading."""
    assert Watched().read(5, current).words == said


@pytest.mark.parametrize(("current", "word"), [(0.039, "stopped"), (0.041, "keep-alive")])
def test_less_than_a_hundredth_of_the_level_is_no_current(current, word):
    assert steady().read(5, current, SET).words[-1] == word


@pytest.mark.parametrize(
    ("current", "word"),
    [(0.49, "keep-alive"), (0.51, "limited by the pack"), (3.4, "limited by the pack"), (3.6, "steady")],
)
def test_what_is_left_is_kept_alive_up_to_half_an_ampere_and_limited_up_to_an_eighth_below_the_level(current, word):
    assert steady().read(8, lambda n: current + 1e-4 * (-1) ** n, SET, mode="CV").words[-1] == word


def test_what_is_kept_alive_for_twenty_seconds_was_a_trip_when_the_current_fell():
    watched = steady().read(20, 0.06, SET)
    assert watched.words[-1] == "keep-alive"
    watched.read(2, 0.06, SET)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 151.0)


def test_what_was_kept_alive_and_stops_as_well_is_a_trip_then():
    watched = steady().read(10, 0.3, SET).read(4, 0.0, SET)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 161.0)


def test_a_pack_that_takes_less_before_it_stops_has_stopped_when_that_ended():
    watched = steady().read(20, 2.0, SET, mode="CV").read(5, 0.0, SET)
    assert watched.words == ["steady", "limited by the pack", "stopped"]
    assert watched.verdicts[-1].since == 171.0


def test_a_fall_of_two_seconds_is_one_fall_and_its_first_reading_says_when():
    watched = steady().read(8, lambda n: 4.0 - 0.5 * (n + 1), 27.0, every=0.25).read(6, 0.0, SET, every=0.25)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 150.25)


def test_four_falls_that_come_back_within_twenty_seconds_are_a_pack_that_chops():
    watched = steady()
    for _ in range(4):
        assert "limited by the pack" not in watched.words
        watched.read(1, 0.0).read(3, 4.0)
    assert "limited by the pack" in watched.words
    assert watched.read(10, 4.0).words[-1] == "steady", "five seconds without another one"


def test_three_readings_in_a_row_are_a_stop_and_the_first_one_says_when():
    watched = steady().read(2, 0.0, SET)
    assert watched.words == ["steady"]
    watched.read(1, 0.0, SET)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 151.0)


@pytest.mark.parametrize(("current", "word"), [(2.01, "returned"), (1.99, "pre-charging")])
def test_more_than_half_of_the_level_that_stays_three_and_a_half_seconds_has_come_back(current, word):
    watched = steady().read(5, 0.0, SET).read(4, current)
    assert "returned" not in watched.words
    watched.read(1, current)
    assert watched.words[-1] == word
    if word == "returned":
        assert watched.verdicts[-1].since == 156.0


def test_a_little_that_stays_seven_seconds_has_come_back_limited_and_a_pre_charge_is_the_beginning_of_a_return():
    watched = steady().read(5, 0.0, SET).read(8, 0.4, SET)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("returned", 156.0)
    watched = steady().read(5, 0.0, SET).read(4, 0.4, SET).read(3, 4.0)
    assert watched.words[-3:] == ["stopped", "pre-charging", "returned"]
    assert watched.verdicts[-1].since == 156.0


def test_readings_that_come_and_go_are_tries_of_the_packs_own():
    watched = steady().read(5, 0.0, SET)
    for _ in range(5):
        watched.read(2, 4.0).read(4, 0.0, SET)
    assert watched.words == ["steady", "stopped", "retrying"]


@pytest.mark.parametrize(("current", "seconds", "said"), [(3.84, 6, True), (3.84, -4, False), (3.89, 20, False)])
def test_a_taper_is_less_than_97_percent_in_constant_voltage_for_five_seconds(current, seconds, said):
    watched = steady().read(seconds + 8, lambda n: current + 1e-4 * (-1) ** n, SET, mode="CV")
    assert ("tapering" in watched.words) is said
    assert "unclear" not in watched.words


def test_a_reading_in_constant_current_begins_the_taper_anew():
    watched = steady().read(4, 3.5, SET, mode="CV").read(1, 4.0, 29.0).read(4, 3.5, SET, mode="CV")
    assert "tapering" not in watched.words


def taper(n):
    """As cells fill: from 4 A with a time constant of 100 s."""
    return 4.0 * math.exp(-n / 100.0)


@pytest.mark.parametrize(("seconds", "word"), [(228, "tapering"), (234, "full")])
def test_a_taper_under_a_tenth_is_full(seconds, word):
    """After 230 s 0.4 A of 4 A are left."""
    assert steady().read(seconds, taper, SET, mode="CV").words[-1] == word


@pytest.mark.parametrize(("seconds", "word"), [(170, "full"), (150, "stopped")])
def test_a_stop_out_of_less_than_a_fifth_may_be_the_end_of_charge(seconds, word):
    """After 161 s 0.8 A of 4 A are left."""
    watched = Watched(wanted=True).read(150, 4.0).read(seconds, taper, SET, mode="CV").read(5, 0.0, SET, mode="CV")
    assert watched.words[-1] == word


def test_a_current_that_goes_down_faster_than_cells_fill_is_limited_by_the_pack():
    """The reference cell's taper begins with 3.5 % a second (tests/outside/data)."""
    watched = steady().read(25, lambda n: 4.0 * math.exp(-n / 15.0), SET, mode="CV")
    assert "limited by the pack" in watched.words


@pytest.mark.parametrize(("voltage", "word"), [(28.92, "stopped"), (28.89, "limited")])
def test_an_open_path_leaves_the_supply_within_a_hundredth_of_its_set_voltage(voltage, word):
    assert steady().read(5, 0.0, voltage).words[-1] == word


@pytest.mark.parametrize(
    ("meter", "word"), [(27.61, "stopped"), (27.59, "open lead"), (29.78, "stopped"), (29.81, "open lead")]
)
def test_terminals_nearer_to_where_they_stood_than_to_the_supply_are_a_lead(meter, word):
    """Half of the way from 26.0 V to 29.2 V; above the supply, two hundredths of their own voltage."""
    assert Watched().read(150, 4.0, meter=26.0).read(5, 0.0, SET, meter=meter).words[-1] == word


def test_a_voltmeter_that_was_read_last_before_the_fall_is_waited_for_three_seconds():
    watched = Watched().read(150, 4.0, meter=26.0)
    watched.read(11, 0.0, SET, every=0.25)
    assert watched.words == ["steady"], "two and a half seconds since the first reading without current"
    watched.read(4, 0.0, SET, every=0.25)
    assert watched.words[-1] == "stopped"


@pytest.mark.parametrize(("voltage", "word"), [(28.46, "stopped"), (28.48, "full")])
def test_a_stop_above_975_thousandths_of_the_set_voltage_may_be_the_end_of_charge_even_if_nothing_climbs(voltage, word):
    """97.5 % of 29.2 V are 28.47 V."""
    assert Watched().read(150, 4.0, voltage).read(5, 0.0, SET).words[-1] == word


@pytest.mark.parametrize(
    ("voltage", "climb", "word"), [(27.60, 11.0, "stopped"), (27.75, 9.0, "stopped"), (27.75, 11.0, "full")]
)
def test_a_stop_above_95_percent_may_be_the_end_of_charge_if_the_voltage_climbs_at_all(voltage, climb, word):
    """95 % of 29.2 V are 27.74 V; half of 20.4 mV/min."""
    watched = Watched().read(150, 4.0, lambda n: voltage + climb / 60e3 * (n - 120))
    assert watched.read(5, 0.0, SET).words[-1] == word


# 7·10⁻⁴ of 29.2 V a minute are 20.4 mV/min
@pytest.mark.parametrize(("climb", "word"), [(20.0, "stopped"), (21.0, "full")])
def test_a_stop_while_the_voltage_climbs_may_be_a_full_cell(climb, word):
    watched = Watched().read(150, 4.0, lambda n: 26.0 + climb / 60e3 * n)
    assert watched.read(5, 0.0, SET).words[-1] == word


@pytest.mark.parametrize(("seconds", "word"), [(90, "stopped"), (92, "full")])
def test_for_a_minute_and_a_half_every_cell_climbs_by_itself(seconds, word):
    watched = Watched().read(seconds, 4.0, lambda n: 26.0 + 1e-3 * n)
    assert watched.read(5, 0.0, SET).words[-1] == word


def test_only_the_last_forty_seconds_of_climbing_count():
    watched = Watched().read(150, 4.0, lambda n: 24.0 + 0.01 * n).read(43, 4.0, 25.6)
    assert watched.read(5, 0.0, SET).words[-1] == "stopped"
    watched = Watched().read(150, 4.0, lambda n: 24.0 + 0.01 * n).read(20, 4.0, 25.6)
    assert watched.read(5, 0.0, SET).words[-1] == "full"


def test_a_climb_of_less_than_twenty_seconds_says_nothing():
    """After a set point has changed, the voltages before it do not count."""
    for seconds, word in ((21, "stopped"), (23, "full")):
        watched = steady()
        watched.watcher.reset_level(SET, 4.0)
        watched.read(seconds, 4.0, lambda n: 26.0 + 1e-3 * n)
        assert watched.read(5, 0.0, SET).words[-1] == word


# ---- readings that contradict each other ---------------------------------------------------------------------------


@pytest.mark.parametrize(("voltage", "unclear"), [(7.31, False), (7.29, True)])
def test_no_pack_that_takes_current_has_less_than_a_quarter_of_the_set_voltage(voltage, unclear):
    watched = steady().read(2, 4.0, voltage)
    assert "unclear" not in watched.words
    assert ("unclear" in watched.read(1, 4.0, voltage).words) is unclear


def test_a_current_out_of_something_that_reads_back_as_off_is_unclear():
    assert "unclear" not in steady().read(2, 4.0, output=False).words
    assert steady().read(3, 4.0, output=False).words[-1] == "unclear"
    watched = steady()
    for _ in range(4):
        watched.read(2, 4.0, output=False).read(1, 4.0)
    assert "unclear" not in watched.words


@pytest.mark.parametrize(("meter", "unclear"), [(26.25, False), (26.28, True)])
def test_terminals_above_the_supply_that_charges_them_for_ten_readings_are_unclear(meter, unclear):
    """A quarter of a volt, or a hundredth; eight readings in a row, and three of those."""
    watched = Watched().read(3, 4.0, meter=26.0).read(9, 4.0, meter=meter)
    assert "unclear" not in watched.words
    assert ("unclear" in watched.read(1, 4.0, meter=meter).words) is unclear


@pytest.mark.parametrize(("before", "at", "seconds", "unclear"), [
    (28.6, SET, 6, True), (28.6, SET, 5, False), (28.65, SET, 20, False), (28.6, 28.89, 20, False), (28.6, 28.93, 6, True)
])  # fmt: skip
def test_a_current_that_stands_still_to_the_last_digit_after_a_jump_to_the_set_voltage_is_unclear(
    before, at, seconds, unclear
):
    """A jump by a fiftieth to within a hundredth of it, and five seconds."""
    assert ("unclear" in Watched().read(150, 4.0, before).read(seconds, 4.0, at).words) is unclear


def test_a_current_that_moves_by_a_digit_is_believed():
    watched = Watched().read(150, 4.0, 28.0)
    for number in range(20):
        watched.read(1, 4.0 - 0.001 * (number % 2), SET, mode="CV")
    assert "unclear" not in watched.words


# ---- set points ----------------------------------------------------------------------------------------------------


def test_a_set_point_that_changes_while_its_path_is_on_is_what_counts_from_then_on():
    watching = Watching(Watcher({CHARGE: 0.03}))
    watching.happened(SupplyIsSet(0.0, SET, 4.0))
    assert watching.happened(taken(1.0, 4.0)) == [], "nothing is on"
    watching.happened(OutputIsOn(2.0))
    assert [verdict.word for verdict in watching.happened(taken(3.0, 4.0))] == ["steady"]
    watching.happened(LoadIsSet(4.0, 9.0))
    watching.happened(SupplyIsSet(4.0, SET, 8.0))
    said = [verdict.word for t in range(5, 12) for verdict in watching.happened(taken(float(t), 4.0, "CV"))]
    assert said == ["tapering"], "4 A are a taper of 8 A"
    watching.happened(OutputIsOff(13.0, True))
    assert watching.happened(taken(14.0, 4.0)) == []


def taken(t, current, mode="CC"):
    return Sampled(t, {SUPPLY_CURRENT: current, SUPPLY_VOLTAGE: 26.0}, {}, mode, True)


# ---- while it is stopped -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("meter", "word"), [(28.92, "stopped"), (28.89, "open lead")])
def test_where_the_terminals_stood_too_near_to_the_supply_a_hundredth_between_them_is_a_lead(meter, word):
    """A hundredth of 29.2 V; they stood within one and a half of it."""
    assert Watched().read(150, 4.0, 28.0, meter=28.8).read(5, 0.0, SET, meter=meter).words[-1] == word


@pytest.mark.parametrize(("meter", "word"), [(27.61, "stopped"), (27.59, "open lead")])
def test_a_lead_that_comes_off_meanwhile_shows_after_eight_readings(meter, word):
    watched = Watched().read(150, 4.0, meter=26.0).read(5, 0.0, SET, meter=SET)
    assert watched.words[-1] == "stopped"
    watched.read(7, 0.0, SET, meter=meter)
    assert watched.words[-1] == "stopped"
    assert watched.read(1, 0.0, SET, meter=meter).words[-1] == word


def test_a_supply_that_goes_off_meanwhile_is_limited():
    assert steady().read(5, 0.0, SET).read(1, 0.0, 0.0, output=False).words[-1] == "limited"
