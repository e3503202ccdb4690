"""The stop key, in every state and with whatever is in front: from the key to the output off in two sample intervals.

Times are the run's own, which goes at real speed from just before the key; the simulated bench writes down when its supply
went off.
"""

import pytest

from runner.conduct.answer_parsing import Reply
from tests.builders import SHORT_PROCEDURE
from tests.screen.played import played, shows, until
from tests.screen.test_run_screen import Stage

INTERVAL = 1.0  # s: the slowest at which the supply's current is polled in these states

READ = "- read: {say: What does it show?, record: shown, unit: degC, role: display, lowest: 0 degC, highest: 60 degC}"
PROCEDURE = SHORT_PROCEDURE.replace("        - heat:", f"        {READ}\n        - heat:")


class StoppedStage(Stage):
    procedure = PROCEDURE

    async def to(self, pilot, state):
        """Bring the run into a state."""
        await until(pilot, lambda: self.asks("cautions"), "the cautions")
        if state == "cautions":
            return
        self.screen._answer(Reply("go on"))
        await until(pilot, lambda: self.asks("Ready?"), "the hold point")
        if state == "hold point":
            return
        self.screen._answer(Reply("go on"))
        await until(pilot, lambda: self.rehearsal.world.supply_on, "the supply to be on")
        if state == "settling":
            return
        await until(pilot, lambda: self.asks("What does it show?"), "the typed answer")
        if state == "typing":
            await pilot.press("2", "3")
            return
        self.screen._answer(Reply("23.0"))
        await shows(pilot, "Heat T1")
        if state == "list of keys":
            await pilot.press("f1", "f3")
            await until(pilot, lambda: bool(self.app.screen.query("KeyList")), "the list of keys")


@pytest.mark.parametrize("state", ["cautions", "hold point", "settling", "typing", "heating", "list of keys"])
def test_the_stop_key_stops_at_once_in_every_state(tmp_path, state):
    async def play():
        with StoppedStage(tmp_path, speed=20.0) as stage:
            async with stage.app.run_test(size=(80, 24)) as pilot:
                await stage.to(pilot, state)
                stage.clock.speed = 1.0
                was_on, pressed = stage.rehearsal.world.supply_on, stage.clock.now()
                await pilot.press("f8")
                await shows(pilot, "The run has ended")
                await shows(pilot, "–/6 A")  # the current that was read last is none that flows
            world = stage.rehearsal.world
            assert stage.stop.pressed
            assert not world.supply_on
            if was_on:
                off_at = [change["t"] for change in world.switched if not change["on"]][-1]
                assert off_at - pressed <= 2 * INTERVAL

    played(play())
