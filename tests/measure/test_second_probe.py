"""Two probes at one sensor: mean, difference and what is left to know, against the arithmetic of JCGM 100:2008.

For y = (x₁ + x₂)/2 with standard uncertainties u and correlation r, u(y)² = u²·(1 + r)/2 (JCGM 100:2008, 5.2.2, equation 16).
"""

from dataclasses import replace

import numpy as np
import pytest

from runner.events import PROBE_TEMPERATURE, channel_named
from runner.measure.contact import TOGETHER
from runner.measure.findings import findings
from runner.measure.recording import Reference, Series
from tests.builders import declared
from tests.measure.test_threshold import THETA, _joined, ramps

SECOND = channel_named(PROBE_TEMPERATURE, "second")
LAG = (1.75, 0.72)  # s: of both probes


def at_t1(**changed):
    return Reference(
        **{
            "channel": SECOND,
            "calibration": (0.1, "normal"),
            "resolution": 0.01,
            "coupling": 0.15,
            "coupling_growth": None,
            "coupling_direction": None,
            "probe_lag": LAG,
            **changed,
        }
    )


def both_ways():
    up = [ramps([rate], seed=rate) for rate in (1, 2, 3)]
    return _joined(up + [ramps([-rate], theta=45.0, outcome="returned", kind="cool", seed=rate) for rate in (1, 2, 3)])


def beside(recording, above, *, until=None):
    """The same with a second probe that reads ``above`` (K, of time) more, up to a time."""
    first = recording.of(PROBE_TEMPERATURE)
    dice = np.random.default_rng(8)
    values = first.value + above(first.t) + dice.normal(0, 0.01, len(first))
    keep = first.t <= (np.inf if until is None else until)
    return replace(recording, channels={**recording.channels, SECOND: Series(first.t[keep], values[keep])})


def found(recording, **changed):
    more = {"beside": {"T1": at_t1()}, **changed}
    return {each.name: each for each in findings(recording, declared(**more))}


def lines(finding):
    return {row.source: row.contribution for row in finding.budget}


def test_the_mean_of_both_is_the_reference_and_each_calibration_counts_half():
    finding = found(beside(both_ways(), lambda t: 0.2))["trip"]
    assert finding.value == pytest.approx(THETA + 0.1, abs=0.03)
    rows = lines(finding)
    assert rows["probe calibration"] == rows["probe calibration (second probe)"] == pytest.approx(0.05)
    assert rows["contact of probe and sensor T1"] == pytest.approx(0.15 * ((1 + TOGETHER) / 2) ** 0.5)
    assert "the second read 0.20 K higher than the first" in " ".join(finding.caveats)


def test_two_probes_that_agree_know_more_than_one():
    recording = beside(both_ways(), lambda t: 0.0)
    alone = found(recording, beside={})["trip"]
    assert found(recording)["trip"].expanded_uncertainty < 0.95 * alone.expanded_uncertainty
    assert not any("second" in text for text in alone.caveats)


def test_the_better_thermometer_counts_more():
    """Weights as 1/u² (JCGM 100:2008, from H.5.2.4: the weighted mean): here 0.0325 and 0.2825 of variance."""
    poor = at_t1(calibration=(0.51, "normal"))
    finding = found(beside(both_ways(), lambda t: 0.4), beside={"T1": poor})["trip"]
    share = 0.0325 / (0.0325 + 0.51**2 + 0.15**2)
    assert finding.value == pytest.approx(THETA + 0.4 * share, abs=0.03)


@pytest.mark.parametrize(("apart", "flagged"), [(0.4, False), (0.7, True)])
def test_a_difference_beyond_what_is_declared_is_taken_for_a_bad_contact(apart, flagged):
    """χ² of one degree of freedom is above 3.84 by chance in 5 %: √(3.84·2·0.0325) = 0.50 K (tables of the χ² distribution)."""
    finding = found(beside(both_ways(), lambda t: apart))["trip"]
    assert any("more than their accuracy and declared contact explain" in text for text in finding.caveats) == flagged
    assert bool(finding.advice) == flagged
    contact = next(row for row in finding.budget if row.source == "contact of probe and sensor T1")
    if flagged:
        assert contact.contribution == pytest.approx(apart / 3**0.5, rel=0.05)
        assert contact.distribution == "rectangular"
        assert finding.expanded_uncertainty >= apart
    else:
        assert contact.distribution == "normal"


def test_a_slower_probe_is_no_difference():
    """At rate r a probe that lags by 4 s more reads r × 4 s less, up and down: at no rate both read the same."""
    recording = both_ways()
    ends = [(each.began, each.rate) for each in recording.attempts]

    def lags(t):
        rates = np.array([rate for _, rate in ends])
        return -4.0 * rates[np.searchsorted([began for began, _ in ends], t + 1e-9, "right") - 1]

    finding = found(beside(recording, lags))["trip"]
    assert finding.value == pytest.approx(THETA, abs=0.04)


def test_what_changes_from_heating_to_cooling_counts_in_the_hysteresis():
    """1 K more in heating than in cooling: the sensor may be anywhere within it, ±1 K is a rectangle of 1/√3 = 0.58 K."""
    recording = both_ways()
    turned = next(each.began for each in recording.attempts if each.kind == "cool")
    finding = found(beside(recording, lambda t: np.where(t < turned - 0.5, 0.5, -0.5)))["hysteresis"]
    assert lines(finding)["contact of probe and sensor, heating against cooling"] == pytest.approx(1 / 3**0.5, rel=0.05)
    quiet = found(beside(recording, lambda t: 0.0))["hysteresis"]
    assert finding.expanded_uncertainty > 2 * quiet.expanded_uncertainty


def test_a_second_probe_that_was_not_read_at_every_change_is_not_used_and_that_is_said():
    recording = both_ways()
    last = recording.attempts[-1].began
    finding = found(beside(recording, lambda t: 3.0, until=last))["trip"]
    assert finding.value == pytest.approx(THETA, abs=0.04)
    assert "second probe on this sensor not used: not read at every trip and release" in finding.caveats
