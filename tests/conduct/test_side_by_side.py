"""Polling side by side: a slow instrument holds nobody up, and what comes late says how old it is."""

import threading
import time

import pytest

from runner.bench.assembly import Bench
from runner.conduct.clock import ScaledClock, VirtualClock
from runner.conduct.sampling import Sampler, SideBySide
from runner.evaluation.evaluate import series_of
from runner.events import METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT, Sampled
from runner.orders import Pace
from runner.record.samples import SampleWriter, as_events, read_samples
from runner.sheets.bench import parse_bench
from tests.instruments import bench as personalities

BENCH = """\
kind: bench
name: two
instruments:
  supply: {{address: "{supply}", limits: {{voltage: 30 V, current: 10 A}}}}
"""


@pytest.fixture
def world():
    with personalities.World(1.0) as made:
        yield made


def sampled(bench, seconds, every=0.1):
    """All samples of so many seconds of polling, and the longest turn of whoever polls."""
    clock = ScaledClock()
    sampler = Sampler(bench, clock, clock.now())
    sampler.pace(Pace(every, 1.0))
    found, longest, until = [], 0.0, time.monotonic() + seconds
    while time.monotonic() < until:
        began = time.monotonic()
        found += sampler.take()
        longest = max(longest, time.monotonic() - began)
        clock.sleep(max(0.0, min(sampler.due(), 0.05)))
    sampler.close()
    return found, longest


def test_a_meter_of_800_ms_costs_no_reading_of_the_current(world):
    supply = personalities.Slow(world, ["supply"])
    meter = personalities.Slow(world, ["meter"], real_delay=0.8)
    alone = BENCH.format(supply=supply.address)
    counts, longest = {}, {}
    for name, text in (("alone", alone), ("with it", alone + f'  meter: {{address: "{meter.address}"}}\n')):
        bench = Bench(parse_bench(text, "b"), {}, ScaledClock())
        bench.ready()
        found, longest[name] = sampled(bench, 5.0)
        counts[name] = sum(SUPPLY_CURRENT in each.readings for each in found)
        bench.close()
    voltages = [each for each in found if METER_VOLTAGE in each.readings]
    assert counts["with it"] >= 0.95 * counts["alone"], counts
    assert counts["alone"] >= 40
    assert len(voltages) >= 3
    assert longest["with it"] < 0.1
    assert [each.t for each in found] == sorted(each.t for each in found)
    ages = [each.ages[METER_VOLTAGE] for each in voltages]
    assert all(0.2 < age < 0.6 for age in ages), ages  # the middle of 0.8 s, handed on at its end
    supply.close()
    meter.close()


def test_off_does_not_wait_for_a_slow_meter(world):
    supply = personalities.Slow(world, ["supply"])
    meter = personalities.Slow(world, ["meter"], real_delay=0.8)
    text = BENCH.format(supply=supply.address) + f'  meter: {{address: "{meter.address}"}}\n'
    bench = Bench(parse_bench(text, "b"), {}, ScaledClock())
    bench.ready()
    world.ask("supply", "OUTP ON")
    clock = ScaledClock()
    sampler = Sampler(bench, clock, clock.now())
    sampler.take()  # the meter is being asked now
    began = time.monotonic()
    assert bench.off() == (True, "")
    assert time.monotonic() - began < 0.2
    assert not world.world.supply_on
    sampler.close()
    bench.close()
    supply.close()
    meter.close()


def slow_poll(seconds, value):
    def poll(into):
        time.sleep(seconds)
        into.values["x"] = value

    return poll


def test_times_never_run_backwards_and_ages_say_when_a_reading_was_taken():
    clock = ScaledClock()
    side = SideBySide(clock.now)
    side.begin(("slow",), slow_poll(0.3, 1.0))
    found = []
    while clock.now() < 0.5:
        side.begin(("fast",), slow_poll(0.01, 2.0))
        time.sleep(0.02)
        found += side.come()
    times = [each.t for each in found]
    assert times == sorted(times)
    (slow,) = (each for each in found if each.readings["x"] == 1.0)
    assert slow.t - slow.ages["x"] == pytest.approx(0.15, abs=0.05)
    side.close()


def test_a_reading_that_overlaps_an_order_is_thrown_away():
    clock = ScaledClock()
    side = SideBySide(clock.now)
    side.begin(("path",), slow_poll(0.1, 1.0))
    side.ordered(clock.now() + 0.2)
    time.sleep(0.15)
    assert list(side.come()) == []
    side.begin(("path",), slow_poll(0.0, 2.0))
    time.sleep(0.05)
    (next_one,) = side.come()
    assert next_one.t >= 0.2
    side.close()


def test_a_voltage_that_was_asked_for_before_off_is_no_evidence_of_after_it_and_a_temperature_is():
    """A slow voltmeter would show the pack up, or still under load, just after everything was switched off."""
    side = SideBySide(ScaledClock().now)

    def poll(into):
        time.sleep(0.05)
        into.values |= {METER_VOLTAGE: 29.2, "meter_c1_voltage_V": 3.6, PROBE_TEMPERATURE: 31.0}

    def talks_unasked(into):
        into.values[METER_VOLTAGE], into.ages[METER_VOLTAGE] = 29.2, 0.4

    side.begin(("meter", "probe"), poll)
    side.ordered(0.01)
    time.sleep(0.1)
    (sample,) = side.come()
    assert (dict(sample.readings), sample.t >= 0.01) == ({PROBE_TEMPERATURE: 31.0}, True)
    side.begin(("meter",), talks_unasked)
    time.sleep(0.02)
    assert [dict(each.readings) for each in side.come()] == [{}], "older than the order"
    time.sleep(0.35)
    side.begin(("meter",), talks_unasked)
    time.sleep(0.02)
    assert [dict(each.readings) for each in side.come()] == [{METER_VOLTAGE: 29.2}]
    side.close()


def test_what_was_read_before_an_order_that_the_first_of_a_batch_leads_to_is_not_of_after_it():
    clock = ScaledClock()
    side = SideBySide(clock.now)

    def meter(into):
        into.values |= {METER_VOLTAGE: 26.0, PROBE_TEMPERATURE: 31.0}

    side.begin(("slow",), slow_poll(0.0, 1.0))
    time.sleep(0.02)
    for who, poll in ((("meter", "probe"), meter), (("path",), slow_poll(0.0, 2.0))):
        side.begin(who, poll)
        time.sleep(0.02)
    came = side.come()
    assert next(came).readings["x"] == 1.0
    side.ordered(clock.now())
    assert [dict(each.readings) for each in came] == [{PROBE_TEMPERATURE: 31.0}]
    side.close()


def test_of_the_path_there_is_a_sample_also_where_nothing_is_on_a_cable():
    """Seen: on a bench by hand there was none, and neither a ceiling of time nor a question's patience ever came to its end."""
    side = SideBySide(ScaledClock().now)
    for who in (("path",), ("idle",)):
        side.begin(who, lambda into: None)
    time.sleep(0.05)
    (sample,) = side.come()
    assert not sample.readings
    side.close()


def test_many_slow_connections_hold_no_fast_one_up():
    clock = ScaledClock()
    side = SideBySide(clock.now)
    for number in range(20):
        side.begin((f"slow {number}",), slow_poll(0.5, 1.0))
    side.begin(("path",), slow_poll(0.0, 2.0))
    time.sleep(0.1)
    assert [each.readings["x"] for each in side.come()] == [2.0]
    side.close()


def test_one_that_is_still_being_polled_is_not_polled_twice():
    polled, side = [], SideBySide(ScaledClock().now)
    over = threading.Event()

    def poll(into):
        polled.append(1)
        over.wait(2.0)

    for _ in range(5):
        side.begin(("one",), poll)
        time.sleep(0.01)
    over.set()
    assert len(polled) == 1
    side.close()


def test_a_defect_in_a_poll_reaches_whoever_polls():
    side = SideBySide(ScaledClock().now)

    def poll(into):
        raise KeyError("defect")

    side.begin(("one",), poll)
    time.sleep(0.05)
    with pytest.raises(KeyError):
        list(side.come())
    side.close()


def test_where_time_only_moves_so_nothing_is_polled_aside():
    class Asked:
        def poll_path(self, path, into):
            into.values[SUPPLY_CURRENT] = 4.0

        def poll_slow(self, into, roles=None):
            assert threading.current_thread() is threading.main_thread()
            assert roles is None

    clock = VirtualClock()
    found = list(Sampler(Asked(), clock, 0.0).take())
    assert [each.t for each in found] == [0.0, 0.0]
    assert all(not each.ages for each in found)


def test_the_age_of_a_reading_is_in_the_record_and_counts_in_the_evaluation(tmp_path):
    writer = SampleWriter(tmp_path / "samples.csv", ages=True)
    writer.append(Sampled(1.0, {SUPPLY_CURRENT: 4.0}))
    writer.append(Sampled(2.0, {METER_VOLTAGE: 26.4}, ages={METER_VOLTAGE: 0.4}))
    writer.close()
    table = read_samples(tmp_path / "samples.csv")
    assert [each.ages for each in as_events(table)] == [{}, {METER_VOLTAGE: 0.4}]
    assert list(series_of(table, METER_VOLTAGE).t) == [pytest.approx(1.6)]
    assert list(series_of(table, SUPPLY_CURRENT).t) == [1.0]


def test_a_record_without_ages_is_as_it_was_and_stays_so_when_it_goes_on(tmp_path):
    path = tmp_path / "samples.csv"
    SampleWriter(path).close()
    assert "ages" not in path.read_text()
    writer = SampleWriter(path, go_on=True, ages=True)
    writer.append(Sampled(1.0, {SUPPLY_CURRENT: 4.0}, ages={SUPPLY_CURRENT: 0.5}))
    writer.close()
    assert [each.ages for each in as_events(read_samples(path))] == [{}]
