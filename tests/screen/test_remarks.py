"""What becomes of a mark, or of a reading that was typed, is said where the person looks."""

from dataclasses import replace

from runner.orders import Remark
from runner.screen.feed import Told
from tests.screen.played import played, shows
from tests.screen.test_run_goldens import SIZES, a_screen


def test_what_became_of_a_mark_by_hand_is_said_on_the_screen():
    async def play():
        app = a_screen()
        async with app.run_test(size=SIZES[0], notifications=True) as pilot:
            await shows(pilot, "about to begin")
            job = app.screen.job
            app.screen.job = replace(job, program=replace(job.program, by_hand=("probe", "clamp")))
            app.screen.post_message(Told(Remark("4.9 A: no mark."), 0.0))
            await shows(pilot, "4.9 A: no mark.")

    played(play())
