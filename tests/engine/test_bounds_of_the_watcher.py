"""Each rule of the watcher at its bound: a value that is still one word and one that is the next. The bounds are our own choice."""

import pytest

from runner.engine.watcher import Watcher
from runner.engine.watching import Watching
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


@pytest.mark.parametrize(("current", "word"), [(0.199, "stopped"), (0.201, "steady")])
def test_less_than_a_twentieth_of_the_level_is_no_current(current, word):
    assert steady().read(5, current, SET).words[-1] == word


def test_the_level_before_is_the_median_of_fifteen_readings():
    watched = Watched().read(60, 4.0).read(8, 3.0).read(5, 0.0, SET)
    assert watched.watcher.level == 3.0
    assert Watched().read(60, 4.0).read(7, 3.0).read(5, 0.0, SET).watcher.level == 4.0


def test_three_readings_in_a_row_are_a_stop_and_the_first_one_says_when():
    watched = steady().read(2, 0.0, SET)
    assert watched.words == ["steady"]
    watched.read(1, 0.0, SET)
    assert (watched.words[-1], watched.verdicts[-1].since) == ("stopped", 151.0)


@pytest.mark.parametrize(("current", "returned"), [(2.01, True), (1.99, False)])
def test_more_than_half_of_the_level_has_come_back(current, returned):
    watched = steady().read(5, 0.0, SET).read(2, current)
    assert watched.words == ["steady", "stopped"]
    watched.read(1, current)
    assert (watched.words[-1] == "returned") is returned
    if returned:
        assert watched.verdicts[-1].since == 156.0


def test_readings_that_come_and_go_have_not_come_back():
    watched = steady().read(5, 0.0, SET)
    for _ in range(5):
        watched.read(2, 4.0).read(1, 0.0, SET)
    assert watched.words == ["steady", "stopped"]


@pytest.mark.parametrize(("current", "seconds", "said"), [(3.87, 6, True), (3.87, 5, False), (3.89, 20, False)])
def test_a_taper_is_less_than_97_percent_in_constant_voltage_for_five_seconds(current, seconds, said):
    watched = steady().read(seconds, lambda n: current + 1e-4 * (-1) ** n, SET, mode="CV")
    assert ("tapering" in watched.words) is said
    assert "unclear" not in watched.words


def test_a_reading_in_constant_current_begins_the_taper_anew():
    watched = steady().read(4, 3.5, SET, mode="CV").read(1, 4.0, 29.0).read(4, 3.5, SET, mode="CV")
    assert "tapering" not in watched.words


@pytest.mark.parametrize(("current", "word"), [(0.41, "tapering"), (0.39, "full")])
def test_a_taper_under_a_tenth_is_full(current, word):
    assert steady().read(10, 2.0, SET, mode="CV").read(10, current, SET, mode="CV").words[-1] == word


@pytest.mark.parametrize(("tapered", "word"), [(0.79, "full"), (0.81, "stopped")])
def test_a_stop_out_of_less_than_a_fifth_may_be_the_end_of_charge(tapered, word):
    watched = Watched(wanted=True).read(150, 4.0).read(30, tapered, SET, mode="CV").read(5, 0.0, SET, mode="CV")
    assert watched.words[-1] == word


@pytest.mark.parametrize(("voltage", "word"), [(28.92, "stopped"), (28.89, "limited")])
def test_an_open_path_leaves_the_supply_within_a_hundredth_of_its_set_voltage(voltage, word):
    assert steady().read(5, 0.0, voltage).words[-1] == word


@pytest.mark.parametrize(("meter", "word"), [(28.96, "stopped"), (28.94, "open lead"), (29.46, "open lead")])
def test_a_quarter_of_a_volt_between_supply_and_terminals_without_current_is_a_lead(meter, word):
    assert Watched().read(150, 4.0, meter=26.0).read(5, 0.0, SET, meter=meter).words[-1] == word


def test_a_voltmeter_that_was_read_last_before_the_fall_is_waited_for_three_seconds():
    watched = Watched().read(150, 4.0, meter=26.0)
    watched.read(11, 0.0, SET, every=0.25)
    assert watched.words == ["steady"], "two and a half seconds since the first reading without current"
    watched.read(4, 0.0, SET, every=0.25)
    assert watched.words[-1] == "stopped"


@pytest.mark.parametrize(("voltage", "word"), [(27.73, "stopped"), (27.75, "full")])
def test_a_stop_above_95_percent_of_the_set_voltage_may_be_the_end_of_charge(voltage, word):
    """95 % of 29.2 V are 27.74 V. It has stood there long enough for nothing to climb."""
    assert Watched().read(150, 4.0, voltage).read(5, 0.0, SET).words[-1] == word


# 7·10⁻⁴ of 29.2 V a minute are 20.4 mV/min
@pytest.mark.parametrize(("climb", "word"), [(20.0, "stopped"), (21.0, "full")])
def test_a_stop_while_the_voltage_climbs_may_be_a_full_cell(climb, word):
    watched = Watched().read(150, 4.0, lambda n: 26.0 + climb / 60e3 * n)
    assert watched.read(5, 0.0, SET).words[-1] == word


@pytest.mark.parametrize(("seconds", "word"), [(89, "stopped"), (90, "full")])
def test_for_a_minute_and_a_half_every_cell_climbs_by_itself(seconds, word):
    watched = Watched().read(seconds, 4.0, lambda n: 26.0 + 1e-3 * n)
    assert watched.read(5, 0.0, SET).words[-1] == word


def test_only_the_last_forty_seconds_of_climbing_count():
    watched = Watched().read(150, 4.0, lambda n: 24.0 + 0.01 * n).read(41, 4.0, 25.6)
    assert watched.read(5, 0.0, SET).words[-1] == "stopped"
    watched = Watched().read(150, 4.0, lambda n: 24.0 + 0.01 * n).read(20, 4.0, 25.6)
    assert watched.read(5, 0.0, SET).words[-1] == "full"


def test_a_climb_of_less_than_twenty_seconds_says_nothing():
    """After a set point has changed, the voltages before it do not count."""
    for seconds, word in ((20, "stopped"), (21, "full")):
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


@pytest.mark.parametrize(("meter", "word"), [(28.96, "stopped"), (28.94, "open lead")])
def test_a_lead_that_comes_off_meanwhile_shows_after_eight_readings(meter, word):
    watched = Watched().read(150, 4.0, meter=26.0).read(5, 0.0, SET, meter=SET)
    assert watched.words[-1] == "stopped"
    watched.read(7, 0.0, SET, meter=meter)
    assert watched.words[-1] == "stopped"
    assert watched.read(1, 0.0, SET, meter=meter).words[-1] == word


def test_a_supply_that_goes_off_meanwhile_is_limited():
    assert steady().read(5, 0.0, SET).read(1, 0.0, 0.0, output=False).words[-1] == "limited"
