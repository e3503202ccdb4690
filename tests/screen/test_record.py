"""The plot and the raw record of a run, from its folder."""

import numpy as np
import pytest

from runner.events import METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT, Sampled
from runner.screen.findings import FindingsScreen
from runner.screen.record import NEAR, Points, RecordScreen
from runner.screen.themes import Dressed
from runner.screen.widgets.strip_chart import StripChart, Trace
from tests.builders import SHORT_PROCEDURE, rehearsed, user_file
from tests.screen.played import SIZES, played, shows, text, until


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    return rehearsed(tmp_path_factory.mktemp("record"), procedure=user_file("short.yaml", SHORT_PROCEDURE)).result


class App(Dressed[None]):
    def __init__(self, screen):
        super().__init__()
        self._first = screen

    def on_mount(self):
        self.push_screen(self._first)


@pytest.mark.parametrize("size", SIZES)
def test_from_the_findings_to_the_plot_around_any_line_and_back(run, size):
    async def play():
        app = App(FindingsScreen("HEADING", run.evaluation.findings, str(run.folder.path)))
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "WHERE THE UNCERTAINTY")
            await pilot.press("r")
            await until(pilot, lambda: getattr(app.screen, "is_read", False), "the record")
            chart = app.screen.query_one(StripChart)
            whole = chart.window
            assert whole[0] == 0.0
            assert whole[1] == pytest.approx(float(chart.trace.last(1e9)[0][-1]), abs=5.0)
            assert [letter for _, letter in chart.marks.changes] == ["T", "R"]
            lines = app.screen.query_one("#lines")
            words = [str(lines.get_option_at_index(index).prompt) for index in range(lines.option_count)]
            assert any("ANSWER go on (simulated operator)" in each for each in words)
            assert any("OFF    read back" in each for each in words)
            trip = next(index for index, each in enumerate(words) if "RESULT STOPPED" in each)
            lines.highlighted = trip
            for _ in range(12):
                await pilot.press("plus")
            at = chart.marks.changes[0][0]
            await until(pilot, lambda: chart.window[1] - chart.window[0] == NEAR, "the nearest view")
            assert chart.window[0] < at < chart.window[1]
            await shows(pilot, "RESULT STOPPED")
            assert "°C" in text(app)
            for _ in range(12):
                await pilot.press("minus")
            assert chart.window == whole
            await pilot.press("escape")
            await shows(pilot, "WHERE THE UNCERTAINTY")

    played(play())


def test_only_a_current_that_was_lost_is_a_gap_in_the_current():
    trace = Trace()
    samples = [
        Sampled(0.0, {PROBE_TEMPERATURE: 50.0}),
        Sampled(1.0, {SUPPLY_CURRENT: 4.0}),
        Sampled(2.0, {PROBE_TEMPERATURE: 51.0}, {METER_VOLTAGE: "no reply"}),
        Sampled(3.0, {SUPPLY_CURRENT: 4.0}),
        Sampled(4.0, {}, {SUPPLY_CURRENT: "no reply"}),
    ]
    Points().take(samples, trace)
    t, temperature, current = trace.last(10.0)
    assert (t.tolist(), temperature.tolist()) == ([1.0, 3.0, 4.0], [50.0, 51.0, 51.0])
    assert current[:2].tolist() == [4.0, 4.0]
    assert np.isnan(current[2])


def test_a_record_that_is_not_there_is_said(tmp_path):
    async def play():
        app = App(RecordScreen(tmp_path / "nothing"))
        async with app.run_test(size=(140, 45)) as pilot:
            await shows(pilot, "cannot be read")

    played(play())
