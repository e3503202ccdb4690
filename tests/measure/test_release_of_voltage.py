"""Every line of the budget of a release by voltage, for terminals that rise or fall evenly, and when one that does not come fails.

± limits are rectangular, half-width/√3; what lies between two times or two values is their distance/√12 (JCGM 100:2008, 4.3.7).
"""

import numpy as np
import pytest

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from runner.measure.cutoff import CutOff
from runner.measure.recording import Accuracy, Held, Recording, Series, Specification, Typed
from runner.vocabulary import Observed, Outcome
from tests.under_voltage import ACCURACY, attempt, declared, lines


def returned(by_hand=False, reaction=(0.0, 0.0), slope=0.002, jump_after=200.0, before=(), **more):
    """Terminals that come back at 100 s, where they read 22.4 V, and go on rising evenly until they jump by a tenth of a volt."""
    t = np.arange(0.0, 200.0, 0.5)
    volts = np.where(t < 100.0, 0.2, 22.4 + slope * (t - 100.0)) + 1e-6 * (-1.0) ** np.arange(len(t))
    volts += np.where(t > jump_after, 0.1, 0.0)
    back = attempt("recover", 10.0, 100.0 + reaction[0], Outcome.RETURNED, by_hand=by_hand)
    recording = Recording({METER_VOLTAGE: Series(t, volts)}, (*before, back))
    return CutOff(recording, declared(reaction=reaction, **more)).release()


def test_the_release_is_the_voltage_a_delay_half_a_poll_and_half_a_gap_before_the_return():
    finding = returned()
    mean, deviation, _ = declared().delay_in_looks
    behind = mean + 0.125 + 0.25
    assert finding.value == pytest.approx(22.4 - 0.002 * behind, abs=1e-5)
    found = lines(finding)
    assert found["gain of the voltmeter"] == pytest.approx(0.001 * 22.4 / 3**0.5, rel=1e-3)
    assert found["moment of the return"] == pytest.approx(0.002 * 0.5 / 12**0.5, rel=1e-2)
    assert found["polling interval of the pack"] == pytest.approx(0.002 * 0.25 / 12**0.5, rel=1e-2)
    assert found["trip delay of the pack"] == pytest.approx(0.002 * deviation, rel=1e-2)
    assert found["relaxation before the return"] == pytest.approx(0.25 * 0.002 * behind / 3**0.5, rel=1e-2)


def test_by_hand_the_key_is_a_reaction_late_and_known_as_well_as_keys_are():
    finding = returned(by_hand=True, reaction=(0.4, 0.15))
    mean = declared().delay_in_looks[0]
    assert finding.value == pytest.approx(22.4 - 0.002 * (mean + 0.125 + 2 * 0.15), abs=1e-5)
    assert lines(finding)["moment of the return"] == pytest.approx(0.002 * 4 * 0.15 / 12**0.5, rel=1e-2)


def test_a_return_that_a_person_marked_before_says_nothing_of_the_last_one():
    marked = attempt("recover", 5.0, 50.0, Outcome.RETURNED, by_hand=True)
    assert lines(returned(before=(marked,))) == lines(returned())


def test_what_is_read_within_twenty_seconds_after_the_return_counts_and_nothing_later():
    """Twenty seconds: our own choice."""
    whole = returned()
    assert (returned(jump_after=120.0).value, lines(returned(jump_after=120.0))) == (whole.value, lines(whole))
    assert lines(returned(jump_after=119.5)) != lines(whole)


def tried(looks, volts, **more):
    """Over-voltage: looks at these times, the last of which found the pack back; ``volts`` of the time."""
    t = np.arange(0.0, 400.0, 0.5)
    held = tuple(Held(volts(each), each) for each in looks)
    back = attempt("try", 10.0, looks[-1] + 0.5 if looks else 300.0, Outcome.RETURNED, levels=held)
    values = {"release": 28.0, "release_limits": (27.5, 28.5), "accuracy": ACCURACY, **more}
    recording = Recording({METER_VOLTAGE: Series(t, np.vectorize(volts)(t).astype(float))}, (back,))
    return CutOff(recording, Specification("over_voltage", **values)).release()


def falling(t):
    return 29.0 - 0.005 * t


def test_the_release_lies_between_the_lowest_voltage_of_a_vain_look_and_that_of_the_one_that_took_charge():
    finding = tried((100.0, 103.0, 200.0), falling)
    closed, opened = falling(103.0), falling(200.0)
    assert finding.value == pytest.approx((closed + opened) / 2, abs=0.01)
    found = lines(finding)
    assert found["interval between tries"] == pytest.approx((closed - opened) / 12**0.5, rel=0.02)
    assert found["gain of the voltmeter"] == pytest.approx(0.001 * opened / 3**0.5, rel=1e-3)
    assert any(f"no charge accepted at {closed:.3f} V; accepted at {opened:.3f} V" in each for each in finding.caveats)


@pytest.mark.parametrize("at", [60.0, 150.0])
def test_a_dip_that_is_shorter_than_the_packs_delay_releases_nothing(at):
    """Two seconds of it, before the vain look or after; the pack needs three."""
    looks = (100.0, 103.0, 200.0)
    dipped = tried(looks, lambda t: falling(t) - (1.0 if at <= t < at + 2.0 else 0.0), delay=3.0)
    assert dipped.value == tried(looks, falling, delay=3.0).value


def test_of_two_returns_the_last_one_is_measured():
    looks = tuple(Held(falling(t), t) for t in (100.0, 103.0, 200.0))
    t = np.arange(0.0, 400.0, 0.5)
    volts = np.where(t < 50.0, 20.0, falling(t))
    first, last = (attempt("try", t, at, Outcome.RETURNED, levels=looks) for t, at in ((10.0, 40.0), (60.0, 200.5)))
    recording = Recording({METER_VOLTAGE: Series(t, volts)}, (first, last))
    finding = CutOff(recording, Specification("over_voltage", release=28.0)).release()
    assert finding.value == pytest.approx((falling(103.0) + falling(200.0)) / 2, abs=0.01)


def test_a_pack_that_took_charge_at_the_first_look_had_released_before():
    finding = tried((100.0, 103.0), falling)
    assert finding.value is None
    assert "accepted charge at the first try, at 28.50 V" in finding.reason


def vain(lowest, limits=(27.5, 28.5), latching=False, kind="try"):
    t = np.arange(0.0, 400.0, 0.5)
    tried = attempt(kind, 10.0, 390.0, Outcome.GAVE_UP, why="did not release", limit=27.0)
    recording = Recording({METER_VOLTAGE: Series(t, np.linspace(29.0, lowest, len(t)))}, (tried,))
    return CutOff(
        recording, Specification("over_voltage", release=28.0, release_limits=limits, latching=latching)
    ).release()


@pytest.mark.parametrize(
    ("lowest", "more", "conformity"),
    [
        (27.4, {}, "fail"),
        (27.6, {}, "not measured"),
        (27.4, {"latching": True}, "not measured"),
        (27.4, {"limits": None}, "not measured"),
    ],
)
def test_a_pack_that_came_down_below_its_limits_and_did_not_release_fails(lowest, more, conformity):
    assert vain(lowest, **more).conformity == conformity


@pytest.mark.parametrize(("cell", "conformity"), [(2.85, "fail"), (2.83, "not measured")])
def test_a_pack_that_did_not_come_back_fails_if_its_lowest_cell_says_that_it_should_have(cell, conformity):
    """8 cells of 2.84 V are 22.7 V, the upper limit of the release."""
    waited = attempt("recover", 10.0, 900.0, Outcome.GAVE_UP, limit=600.0, why="did not come back")
    shown = tuple(
        Typed("lowest cell", each, t, Observed.LOWEST_CELL_VOLTAGE) for each, t in ((cell, 905.0), (2.8, 999.0))
    )
    finding = CutOff(Recording({}, (waited,), typed=shown), declared()).release()
    assert finding.conformity == conformity
    assert f"{cell:.3f} V" in finding.reason


def test_of_two_waits_the_first_says_whether_the_pack_should_have_come_back():
    """After it the pack was woken, so a cell that is read after the second says nothing."""
    first, second = (
        attempt("recover", t, t + 20.0, Outcome.GAVE_UP, limit=20.0, why=f"from {t:g}") for t in (10.0, 480.0)
    )
    woken = attempt("wake", 31.0, 60.0, Outcome.RETURNED)
    shown = Typed("lowest cell", 3.0, 505.0, Observed.LOWEST_CELL_VOLTAGE)
    finding = CutOff(Recording({}, (first, woken, second), typed=(shown,)), declared()).release()
    assert finding.conformity == "not measured"
    assert finding.reason.startswith("from 10")


# ---- releases that did not come -----------------------------------------------------------------------------------------


def over_voltage_given_up(volts, channel=METER_VOLTAGE, current=0.0, leads=None):
    """Two hours of tries without a release; its limits are 27.2 V to 28.0 V, the delay is 1 s."""
    t = np.arange(0.0, 7200.0, 1.0)
    channels = {channel: Series(t, volts(t)), LOAD_CURRENT: Series(t, np.full(t.shape, current))}
    vain = attempt("try", 0.0, 7200.0, Outcome.GAVE_UP, why="no release", sought=Outcome.RETURNED)
    spec = Specification(
        "over_voltage",
        release=27.6,
        release_limits=(27.2, 28.0),
        delay=1.0,
        polling=0.25,
        accuracy={channel: Accuracy(0.001, 0.05, 0.01)},
        leads=leads or {},
    )
    return CutOff(Recording(channels, (vain,)), spec).release()


@pytest.mark.parametrize(
    ("volts", "conformity"),
    [
        (
            lambda t: np.where((t >= 3600) & (t < 3602), 26.0, 27.35),
            "not measured",
        ),  # a dip that is no longer than the delay
        (lambda t: np.where(t >= 3600, 27.15, 27.35), "not measured"),  # 0.087 V are what the meter may be off by
        (lambda t: np.where(t >= 3600, 27.10, 27.35), "fail"),
    ],
)
def test_a_release_that_does_not_come_fails_only_below_its_limit_for_certain_and_long_enough(volts, conformity):
    finding = over_voltage_given_up(volts)
    assert finding.conformity == conformity
    assert "lowest voltage" in finding.reason


def test_what_the_leads_of_a_load_lose_is_no_voltage_that_a_pack_has_come_down_to():
    """Seen: a pack at 27.55 V all the time, and a load that reads 0.4 V less behind 40 mΩ: fail."""
    unknown = over_voltage_given_up(lambda t: np.full(t.shape, 27.05), LOAD_VOLTAGE, 10.0)
    assert unknown.conformity == "not measured", "unknown leads have up to 50 mΩ"
    known = over_voltage_given_up(lambda t: np.full(t.shape, 27.05), LOAD_VOLTAGE, 10.0, {"discharge": (0.002, 0.0005)})
    assert known.conformity == "fail"


@pytest.mark.parametrize(("shown", "conformity"), [(3.001, "not measured"), (3.012, "fail"), (2.95, "not measured")])
def test_a_display_that_is_hardly_above_the_release_fails_nobody(shown, conformity):
    """Of eight cells the highest release is 24.0 V; a display is right to 10 mV (common practice, no source)."""
    attempts = (
        attempt("drain", 0.0, 10.0, Outcome.STOPPED),
        attempt("recover", 11.0, 1811.0, Outcome.GAVE_UP, why="no recovery", sought=Outcome.RETURNED),
    )
    spec = Specification("under_voltage", trip=20.0, release=23.6, release_limits=(23.2, 24.0), delay=1.0, cells=8)
    read = Typed("lowest cell", shown, 1830.0, Observed.LOWEST_CELL_VOLTAGE)
    maker = CutOff(Recording({}, attempts, typed=(read,)), spec)
    assert maker.release().conformity == conformity
    assert maker.recovery_time().conformity == conformity
