"""Answers that are typed on the screen. No test waits for a fixed time."""

import pytest
from textual.widgets import Input

from runner.conduct.clock import VirtualClock
from runner.conduct.execute import execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.run_thread import RunThread
from runner.conduct.site import Site
from runner.console_output import finding_line
from runner.rehearsal.displays import AtSimulatedDisplays
from runner.rehearsal.simulated_bench import Rehearsal
from runner.screen.app import RunApp
from runner.screen.feed import ScreenOperator
from runner.workspace.job import DEMO_PACK, find_procedure, read_file
from tests.screen.test_run_screen import SIZES, Stage, played, text, until


class ArrivalStage(Stage):
    """The arrival check under a pilot."""

    def __init__(self, out):
        clock = VirtualClock(20.0)
        self.rehearsal = Rehearsal(read_file(DEMO_PACK), "sound", 1, clock, sockets=False)
        self.operator, self.stop = ScreenOperator("Test Person"), StopFlag()
        job = self.rehearsal.job(find_procedure("arrival"))
        person = AtSimulatedDisplays(self.operator, self.rehearsal.eyes, ())
        self.thread = RunThread(
            lambda: execute(job, person, Site(clock, self.rehearsal.connect, simulated=True), out, self.stop)
        )
        self.app = RunApp(job, ["REHEARSAL"], self.operator, self.stop, self.thread, finding_line)


async def to_the_first_item(pilot, stage):
    await until(pilot, lambda: stage.asks("cautions"), "the cautions")
    stage.screen.reaction = 0.0
    for part in ("cautions", "serial number on the pack"):
        await until(pilot, lambda part=part: stage.asks(part) and stage.screen.is_drawn, part)
        while stage.asks(part):  # the cautions go on below what 24 lines show
            await pilot.press("enter")
            await pilot.pause(0.05)
    await until(pilot, lambda: stage.asks("Case (no swelling") and stage.screen.is_drawn, "the first item")


@pytest.mark.parametrize("size", SIZES)
def test_letters_are_letters_while_something_is_typed(tmp_path, size):
    async def play():
        with ArrivalStage(tmp_path) as stage:
            async with stage.app.run_test(size=size) as pilot:
                await to_the_first_item(pilot, stage)
                await pilot.press(*"ex q")  # among others x is a letter; alone it ends the run
                assert not stage.stop.pressed
                await pilot.press("enter")
                await until(pilot, lambda: "is not one of the choices" in text(stage.app), "the complaint")
                assert stage.asks("Case (no swelling")

    played(play())


def test_x_stops_also_after_an_answer_that_was_refused_and_still_stands_in_the_field(tmp_path):
    async def play():
        with ArrivalStage(tmp_path) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await to_the_first_item(pilot, stage)
                await pilot.press(*"26.4", "enter")
                await until(pilot, lambda: "is not one of the choices" in text(stage.app), "the complaint")
                assert stage.screen.query_one("#answer", Input).value == "26.4", "it can be corrected"
                await pilot.press(*"x; smoke", "enter")
                await until(pilot, lambda: stage.thread.done, "the end")
        assert stage.stop.by == "Test Person with the stop key: smoke"

    played(play())


def test_a_choice_and_a_note_go_into_the_record(tmp_path):
    async def play():
        with ArrivalStage(tmp_path) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await to_the_first_item(pilot, stage)
                await pilot.press("2", ";", "d", "e", "n", "t", "enter")
                await until(pilot, lambda: stage.asks("Terminals (clean"), "the next item")
                await pilot.press("f8")
                await until(pilot, lambda: stage.thread.done, "the end")
        reply = stage.thread.outcome.evaluation.story.replies[2]
        assert (reply.value, reply.note, reply.by) == ("bad", "dent", "Test Person")

    played(play())


def test_the_stop_key_stops_also_while_something_is_typed(tmp_path):
    async def play():
        with ArrivalStage(tmp_path) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await to_the_first_item(pilot, stage)
                await pilot.press("g", "o", "f8")
                await until(pilot, lambda: stage.thread.done, "the end")
        assert stage.stop.by == "Test Person with the stop key"

    played(play())


def test_y_leaves_also_while_something_is_typed_and_what_was_typed_stands_for_who_stays(tmp_path):
    """Seen in a terminal: the y went into the field, and nobody could leave but by the stop key."""

    async def play():
        with ArrivalStage(tmp_path) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await to_the_first_item(pilot, stage)
                await pilot.press(*"goo", "escape")
                await until(pilot, lambda: "Leave this run?" in text(stage.app), "the question")
                await pilot.press("enter")
                await until(pilot, lambda: "Leave this run?" not in text(stage.app), "the question to go")
                await pilot.press(*"d; ok")
                assert stage.screen.query_one("#answer", Input).value == "good; ok"
                await pilot.press("escape")
                await until(pilot, lambda: "Leave this run?" in text(stage.app), "the question again")
                await pilot.press("y")
                await until(pilot, lambda: stage.thread.done, "the end")
        assert stage.stop.pressed

    played(play())


@pytest.mark.parametrize(
    ("keys", "part"), [("x", "Case (no swelling"), ("stop", "Case (no swelling"), ("x", "open-circuit voltage")]
)
def test_the_stop_word_alone_in_a_field_ends_the_run_as_it_does_in_plain_lines(tmp_path, keys, part):
    async def play():
        with ArrivalStage(tmp_path) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await to_the_first_item(pilot, stage)
                if part != "Case (no swelling":
                    for item in range(5):
                        asked = stage.screen.asked
                        await pilot.press("1", "enter")
                        await until(
                            pilot, lambda asked=asked: stage.screen.asked not in (asked, None), f"item {item + 2}"
                        )
                await until(pilot, lambda: stage.asks(part) and stage.screen.is_drawn, part)
                assert "x, then Enter: stop" in " ".join(text(stage.app).split())
                assert "F8: stop" in " ".join(text(stage.app).split())
                await pilot.press(*keys, "enter")
                await until(pilot, lambda: stage.thread.done, "the end")
        assert stage.stop.by == "Test Person with the stop key"

    played(play())


def test_the_plan_of_the_session_stands_with_the_cautions(tmp_path):
    async def play():
        with ArrivalStage(tmp_path) as stage:
            stage.app.plan = [
                "▶  1 arrival: at the start: no current",
                "·  2 inspection: at the start: no current",
            ]
            async with stage.app.run_test(size=(140, 45)) as pilot:
                await until(pilot, lambda: "THIS SESSION" in text(stage.app), "the plan")
                assert "▶  1 arrival: at the start: no current" in text(stage.app)

    played(play())
