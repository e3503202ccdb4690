"""The screen with keys, on a rehearsal in this process. No test waits for a fixed time."""

from math import inf

import numpy as np
import pytest

from runner.conduct.clock import VirtualClock
from runner.conduct.execute import execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.run_thread import RunThread
from runner.conduct.site import Site
from runner.console_output import finding_line
from runner.orders import Conclude
from runner.rehearsal.displays import AtSimulatedDisplays
from runner.rehearsal.simulated_bench import Rehearsal
from runner.screen.app import RunApp
from runner.screen.feed import ScreenOperator
from runner.screen.run import REACTION, RunScreen
from runner.screen.sentences import headings
from runner.screen.texts import run as texts
from runner.screen.widgets.prompt import Prompt
from runner.screen.widgets.strip_chart import Marks, StripChart, Trace, braille, thinned
from runner.workspace.job import DEMO_PACK, read_file
from tests.builders import SHORT_PROCEDURE, user_file
from tests.screen.played import SIZES, played, shows, text, until


async def agree(pilot, stage):
    """Read and agree at both hold points, as a person does: not before the question could be read."""
    for part in ("cautions", "Ready?"):
        await until(pilot, lambda part=part: stage.asks(part), part)
        while stage.asks(part):
            await pilot.press("enter")
            await pilot.pause(0.05)


class Stage:
    """A rehearsal with its app, ready to be run under a pilot."""

    procedure = SHORT_PROCEDURE

    def __init__(self, out, scenario="sound", speed=400.0):
        clock = self.clock = VirtualClock(speed)
        self.rehearsal = Rehearsal(read_file(DEMO_PACK), scenario, 1, clock, sockets=False)
        self.operator, self.stop = ScreenOperator("Test Person"), StopFlag()
        job = self.rehearsal.job(user_file("short.yaml", self.procedure), ("T1",))
        person = AtSimulatedDisplays(self.operator, self.rehearsal.eyes, ())
        self.thread = RunThread(
            lambda: execute(job, person, Site(clock, self.rehearsal.connect, simulated=True), out, self.stop)
        )
        self.app = RunApp(job, headings(job, "REHEARSAL"), self.operator, self.stop, self.thread, finding_line)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.operator.detach()
        if self.thread.started:
            self.thread.leave(self.stop, "the end of a test")
        self.rehearsal.servers.close()

    @property
    def screen(self) -> RunScreen:
        return self.app.screen

    def asks(self, part):
        screen = self.app.screen
        return isinstance(screen, RunScreen) and screen.asked is not None and part in screen.asked.say


@pytest.mark.parametrize("size", SIZES)
def test_the_cautions_can_be_read_whole_before_the_first_key(tmp_path, size):
    async def play():
        with Stage(tmp_path) as stage:
            async with stage.app.run_test(size=size) as pilot:
                await until(pilot, lambda: stage.asks("cautions"), "the cautions")
                await until(pilot, lambda: "Be careful." in text(stage.app), "the caution's text")
                shown = text(stage.app)
                assert "HOLD POINT" in shown
                assert "Enter" in shown
                assert not stage.rehearsal.world.supply_on

    played(play())


def test_enter_goes_on_to_findings_and_the_trip_is_marked(tmp_path):
    async def play():
        with Stage(tmp_path, speed=1500.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await agree(pilot, stage)
                await until(pilot, lambda: "HOLD POINT" not in text(stage.app), "the hold point to go")
                await until(pilot, lambda: len(stage.screen.marks.changes) == 2, "trip and release", 60)
                assert [letter for _, letter in stage.screen.marks.changes] == ["T", "R"]
                await until(pilot, lambda: "FINDINGS" in text(stage.app), "the findings")
                assert "trip T1" in text(stage.app)
                assert "PASS" in text(stage.app)
                assert not stage.rehearsal.world.supply_on
                await pilot.press("q")
        assert stage.thread.outcome.evaluation.exit_status in (0, 3)

    played(play())


@pytest.mark.parametrize("keys", [["x"], ["q", "y"]])
def test_the_stop_key_and_leaving_switch_the_supply_off(tmp_path, keys):
    async def play():
        with Stage(tmp_path, speed=60.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await agree(pilot, stage)
                await until(pilot, lambda: stage.rehearsal.world.supply_on, "the supply to be on")
                for key in keys:  # leaving is asked first
                    assert stage.rehearsal.world.supply_on
                    await pilot.press(key)
                await until(pilot, lambda: not stage.rehearsal.world.supply_on, "the supply to be off", 10)
        stage.thread.leave(stage.stop, "")
        assert stage.stop.by == "Test Person with the stop key"
        assert stage.thread.outcome.evaluation.exit_status == 4

    played(play())


def test_the_list_of_keys_says_how_to_close_itself_and_the_run_goes_on_behind(tmp_path):
    async def play():
        with Stage(tmp_path, speed=60.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await until(pilot, lambda: stage.asks("cautions"), "the cautions")
                await pilot.press("f1")
                await shows(pilot, "F1 closes this list. F8 stops the run.")
                assert "Scroll" not in text(stage.app), "only our own keys"
                assert "leave (asked first; a running test is stopped)" in text(stage.app)
                await pilot.press("f1")
                await until(pilot, lambda: "F1 closes" not in text(stage.app), "the list to go")
                assert not stage.stop.pressed

    played(play())


def test_where_nothing_is_on_a_cable_leaving_switches_nothing():
    assert texts.leave() == "Leave this run? Leaving stops it and switches supply and load off."
    assert texts.leave(wired=False) == "Leave this run? Leaving stops it."
    assert texts.leave(("charger",), wired=False).endswith("Then switch the charger off by hand.")


def test_leaving_a_run_is_asked_and_enter_stays(tmp_path):
    async def play():
        with Stage(tmp_path, speed=15.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await agree(pilot, stage)
                await until(pilot, lambda: "supply ON" in text(stage.app), "the charge")
                for key in ("escape", "q", "ctrl+c"):
                    await pilot.press(key)
                    await shows(pilot, "Leave this run?")
                    await pilot.press("enter")
                    await until(pilot, lambda: "Leave this run?" not in text(stage.app), "the question to go")
                    assert not stage.stop.pressed
                    assert stage.rehearsal.world.supply_on
                    assert stage.thread.outcome is None
                await pilot.press("f8")

    played(play())


def test_a_key_too_many_agrees_to_nothing_that_was_not_asked(tmp_path):
    async def play():
        with Stage(tmp_path, speed=60.0) as stage:
            async with stage.app.run_test(size=(80, 24), notifications=True) as pilot:
                await until(pilot, lambda: stage.asks("cautions"), "the cautions")
                stage.screen.reaction = inf  # however slow this machine is: nobody has had the time to read
                await pilot.press("enter", "enter", "enter")
                assert stage.asks("cautions")
                stage.screen.reaction = 0.0
                await until(pilot, lambda: stage.screen.is_drawn, "the question to be drawn")
                await pilot.press("enter")
                stage.screen.reaction = inf
                await until(pilot, lambda: stage.asks("Ready?"), "the next hold point")
                await pilot.press("enter", "enter")
                assert stage.asks("Ready?")
                assert not stage.rehearsal.world.supply_on
                await shows(pilot, "That Enter")

    played(play())


def test_a_key_pressed_before_the_question_was_drawn_does_not_agree_however_late_it_is_handled(tmp_path):
    async def play():
        with Stage(tmp_path, speed=60.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await until(pilot, lambda: stage.asks("cautions"), "the cautions")
                screen = stage.screen
                await until(pilot, lambda: screen.is_drawn, "the question to be drawn")
                drawn = screen._asked_since
                for pressed, agreed in ((drawn - 1, False), (drawn + REACTION / 2, False), (drawn + REACTION, True)):
                    stage.app.pressed_at = pressed
                    screen.action_go_on()
                    assert (screen.asked is None) == agreed

    played(play())


def test_a_fault_of_the_screen_leaves_the_supply_off(tmp_path):
    async def play():
        with Stage(tmp_path, speed=60.0) as stage:
            with pytest.raises(ZeroDivisionError):  # noqa: PT012
                async with stage.app.run_test(size=(80, 24)) as pilot:
                    await agree(pilot, stage)
                    await until(pilot, lambda: stage.rehearsal.world.supply_on, "the supply to be on")
                    stage.app.call_later(lambda: 1 / 0)
                    await until(pilot, lambda: False, "the fault", 5)
            stage.thread.leave(stage.stop, "a closed screen")
            assert not stage.rehearsal.world.supply_on

    played(play())


def test_text_with_brackets_is_shown_as_it_is(tmp_path):
    async def play():
        with Stage(tmp_path) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await until(pilot, lambda: stage.asks("cautions"), "the cautions")
                await until(pilot, lambda: stage.screen.is_drawn, "the question drawn")
                stage.screen.query_one(Prompt).show("[/dev/ttyUSB0] [red]x[/] [SOURce:]VOLTage", "[/]", hold=False)
                await pilot.pause()
                assert "[/dev/ttyUSB0] [red]x[/] [SOURce:]VOLTage" in text(stage.app)

    played(play())


def test_a_gap_in_the_readings_stays_a_gap_in_the_chart():
    trace = Trace()
    for t in range(100):
        trace.add(float(t), None if 40 <= t < 60 else 50.0, 4.0)
    t, temperature, current = trace.last(600)
    cells = braille(t, temperature, (0.0, 99.0), (49.0, 51.0), 50, 4)
    drawn = cells.any(axis=0)
    assert drawn[:20].all()
    assert not drawn[21:29].any()
    assert drawn[31:].all()
    assert braille(t, current, (0.0, 99.0), (3.0, 5.0), 50, 4).any(axis=0).all()


def test_a_long_trace_is_thinned_and_drawn_the_same():
    t = np.linspace(0.0, 600.0, 12_000)
    y = 40 + 15 * np.sin(t / 40) + np.random.default_rng(1).normal(0, 0.2, len(t))
    y[3000:3600] = np.nan
    y[7001] = 20.0  # a lone drop-out
    window, scale = (0.0, 600.0), (15.0, 60.0)
    few_t, few_y = thinned(t, y, window, 200)
    assert len(few_t) < 1200
    drawn = braille(few_t, few_y, window, scale, 100, 10)
    assert not drawn[:, 25:30].any(axis=0)[1:-1].any()
    column = int(7001 / 12_000 * 199) // 2
    bottom = int((1 - (20.0 - 15.0) / 45.0) * 39) // 4
    assert drawn[bottom, column]
    everything = np.zeros_like(drawn)
    for part in range(0, len(t), 300):  # in pieces that are not thinned, less what joins them
        everything |= braille(t[part : part + 300], y[part : part + 300], window, scale, 100, 10)
    assert (everything & ~drawn).sum() == 0


@pytest.mark.parametrize("values", [[], [50.0], [50.0, 50.0], [None, None], [None, 50.0, None]])
def test_the_chart_draws_whatever_there_is(values):
    trace = Trace()
    for t, value in enumerate(values):
        trace.add(float(t), value, value)
    chart = StripChart(trace, Marks((53.0, 57.0)))
    t, temperature, _ = trace.last(600)
    assert braille(t, temperature, (0.0, 60.0), (0.0, 60.0), 20, 5).shape == (5, 20)
    assert chart.marks.band == (53.0, 57.0)


def test_conclusions_carry_what_the_mark_needs():
    assert {"outcome", "at"} <= set(Conclude.__dataclass_fields__)


def test_it_can_be_made_larger_and_smaller_while_it_runs(tmp_path):
    async def play():
        with Stage(tmp_path, speed=60.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await agree(pilot, stage)
                await until(pilot, lambda: "supply ON" in text(stage.app), "the charge")
                for columns, rows in ((200, 60), (120, 30), (80, 24)):
                    await pilot.resize_terminal(columns, rows)
                    await until(pilot, lambda rows=rows: len(text(stage.app).splitlines()) == rows, "the new size")
                    shown = text(stage.app)
                    assert "STOP" in shown
                    assert "probe / °C" in shown
                    assert max(len(line) for line in shown.splitlines()) <= columns
                await pilot.press("x")

    played(play())
