"""A rehearsal that answers itself, watched on the screen: to its findings by one key, and stopped by one."""

import pytest

from runner.conduct.execute import execute
from runner.conduct.run_thread import RunThread
from runner.conduct.site import Site
from runner.rehearsal.scripted import UNATTENDED, ScriptedOperator
from tests.builders import SHORT_PROCEDURE, user_file
from tests.screen.played import played, shows, text, until
from tests.screen.test_run_screen import Stage


class WatchedStage(Stage):
    """A rehearsal with the simulated operator, and the screen in front of it."""

    def __init__(self, out, speed):
        super().__init__(out, speed=speed)
        script = ScriptedOperator(UNATTENDED, self.operator.told, self.operator.show, self.rehearsal.eyes)
        job = self.rehearsal.job(user_file("short.yaml", SHORT_PROCEDURE), ("T1",))
        self.thread = RunThread(
            lambda: execute(job, script, Site(self.clock, self.rehearsal.connect, simulated=True), out, self.stop)
        )
        self.app.thread, self.app.watching = self.thread, True
        self.app.certificate = lambda result: f"{result.folder.path.name}/certificate.html"


def test_it_goes_by_itself_and_enter_shows_the_findings_and_c_the_certificate(tmp_path):
    async def play():
        with WatchedStage(tmp_path, speed=3000.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await shows(pilot, "The run has ended. Enter:", 90)
                await shows(pilot, "trip T1", 30)
                assert "STOP" not in text(stage.app)
                await pilot.press("enter")
                await shows(pilot, "WHERE THE UNCERTAINTY COMES FROM")
                await pilot.press("c")
                await shows(pilot, "certificate.html")
                await pilot.press("escape")
                await shows(pilot, "The run has ended. Enter:")
                await pilot.press("q")

    played(play())


@pytest.mark.parametrize("key", ["x", "f8"])
def test_it_can_be_stopped_at_any_moment_also_before_the_first_question(tmp_path, key):
    async def play():
        with WatchedStage(tmp_path, speed=60.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await until(pilot, lambda: bool(stage.app.screen.query("Prompt")), "the screen")
                await pilot.press(key)
                await until(pilot, lambda: stage.stop.pressed, "the stop")
                await shows(pilot, "The run has ended")
            assert not stage.rehearsal.world.supply_on

    played(play())
