"""At a real bench nothing is waited for longer than the rules say; only a fast simulated one stretches pauses."""

import pytest

from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE, SUPPLY_CURRENT, Sampled
from runner.workspace.job import load
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, sample, user_file


def planned(more=""):
    bench = BENCH.format(port=1) + more
    return load(user_file("p.yaml", SHORT_PROCEDURE), user_file("k.yaml", PACK), user_file("b.yaml", bench)).program


def test_a_real_bench_gets_no_patience():
    assert planned().patience == 1.0


@pytest.mark.parametrize(("speed", "patience"), [(1.0, 1.0), (10.0, 1.0), (20.0, 2.0), (100.0, 10.0), (5000.0, 10.0)])
def test_a_simulated_bench_gets_it_beyond_ten_times_real_speed_and_never_more_than_tenfold(speed, patience):
    assert planned(f"simulated: true\nspeed: {speed}\n").patience == pytest.approx(patience)


def lost_after(watcher):
    """The seconds without a reading after which the current counts as lost, in quarters."""
    watcher.expect(CHARGE, 29.2, 4.0, 0.0)
    watcher.take(sample(0.0))
    for quarter in range(1, 400):
        if any(
            verdict.word == "lost" for verdict in watcher.take(Sampled(quarter / 4, {}, {SUPPLY_CURRENT: "no reply"}))
        ):
            return quarter / 4
    return None


def test_a_current_is_lost_after_two_seconds_or_three_readings_in_a_row():
    """Two seconds and three readings: our own choice."""
    assert lost_after(Watcher({CHARGE: 0.03})) == 2.0
    assert lost_after(Watcher({CHARGE: 0.03}, patience=3.0)) == 6.0
    for interval, patience, seconds in ((0.25, 1.0, 2.0), (2.0, 1.0, 6.0), (2.0, 2.0, 6.0), (2.0, 5.0, 10.0)):
        watcher = Watcher({CHARGE: 0.03}, patience)
        watcher.paced(interval)
        assert lost_after(watcher) == seconds
