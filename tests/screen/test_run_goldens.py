"""The screen of a run in each of its states, as text at both sizes: views and orders put in by hand, so that nothing moves."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from runner.bench.off import switch_off_by_hand
from runner.conduct.interfaces import StopFlag
from runner.console_output import finding_line
from runner.engine.ceilings import Headroom
from runner.engine.opening import CAUTIONS
from runner.engine.texts.asking import READ_THEM
from runner.engine.texts.ends import BACK_ON
from runner.engine.texts.ramps import take_away
from runner.engine.view import Coach, StepLine, View
from runner.events import CHARGE, METER_VOLTAGE, PROBE_TEMPERATURE, SUPPLY_CURRENT, SUPPLY_VOLTAGE
from runner.orders import Ask, AskTaps, BeginRamp, BeginStep, Conclude, End, Found, Guide
from runner.screen.app import RunApp
from runner.screen.feed import ScreenOperator, Told, ViewSeen
from runner.screen.sentences import headings
from runner.workspace.job import load
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, user_file
from tests.screen.kept_runs import MISSING, TRIP
from tests.screen.played import SIZES, matches_golden, played, shows, text, until

TITLES = ("confirm: Ready?", "charge at 4 A until steady", "heat T1 at 3 K/min", "cool T1 at 3 K/min", "off")
HEATING = View(
    t=300.0,
    state="watching",
    sentence="Heat T1 at 3 K/min with the gun.",
    readings={PROBE_TEMPERATURE: 53.91, SUPPLY_CURRENT: 4.002, SUPPLY_VOLTAGE: 26.71, METER_VOLTAGE: 26.63},
    lost={},
    rate=3.1 / 60,
    path=CHARGE,
    mode="CC",
    word="flowing",
    why="4.00 A of 4.00 A",
    steps=tuple(
        StepLine(title, mark) for title, mark in zip(TITLES, ("done", "done", "now", "next", "next"), strict=True)
    ),
    coach=Coach("keep", "3.1 K/min (target 3.0); sensor lag 0.5 K (tolerance 2.0 K)"),
    headroom=(
        Headroom("temperature", 53.91, 67.0, "°C"),
        Headroom("voltage", 26.71, 29.6, "V"),
        Headroom("current", 4.002, 6.0, "A"),
    ),
    remaining=95.0,
    trip_limits=(53.0, 57.0),
)
OVER = Told(End(early=False, safe=True, reason="all steps done"), 420.0)
TRIPPED = Conclude(2, "heat", "T1", 1, 3 / 60, "stopped", "from 4.00 A to 0.00 A within 0.3 s", 290.0)
RAMP = [
    BeginStep(2, "heat", "heat T1 at 3 K/min", "T1"),
    Guide("heat", "T1", 0.1, "Heat T1 quickly to 50 °C. The slow ramp starts there."),
    BeginRamp(2, "T1", 1, 3 / 60),
]
STATES = {  # name: what is told, what is seen, words that show it has been drawn
    "cautions": ([Ask(CAUTIONS, "Read the cautions. Continue only if you can follow every one.")], None, "HOLD POINT"),
    "hold-point": ([Ask("step-0", "Ready?")], HEATING, "HOLD POINT"),
    "number": (
        [
            Ask(
                "step-1",
                "Read the voltmeter at the pack's terminals.",
                "open-circuit voltage",
                "number",
                "V",
                "voltage",
                (),
                "voltmeter",
                20.0,
                29.6,
            )
        ],
        HEATING,
        "20 V to 29.6 V",
    ),
    "choice": (
        [
            Ask(
                "step-1",
                "Case without dents, swelling or cracks?",
                "case",
                "choice",
                choices=("good", "bad", "not seen"),
            )
        ],
        HEATING,
        "not seen",
    ),
    "ramp": (RAMP, HEATING, "flowing"),
    "faster": (RAMP, replace(HEATING, rate=1.2 / 60, coach=Coach("faster", "1.2 K/min (target 3.0)")), "FASTER"),
    "tapering": (
        RAMP,
        replace(HEATING, mode="CV", word="tapering", why="falling for 40 s at the voltage limit: not a trip"),
        "not a trip",
    ),
    "trip": (
        [TRIPPED, Guide("cool", "T1", 0.1, "Cool T1 quickly to 50 °C. The slow ramp starts there.")],
        replace(
            HEATING,
            word="stopped",
            why=TRIPPED.why,
            readings={**HEATING.readings, SUPPLY_CURRENT: 0.001},
            sentence="Cool T1 quickly to 50 °C. The slow ramp starts there.",
            mode="CV",
            rate=0.2 / 60,
            coach=Coach("freely", "COOL FAST to 50 °C, then 3.0 K/min (now -0.2 K/min)"),
            steps=tuple(
                StepLine(title, mark)
                for title, mark in zip(TITLES, ("done", "done", "done", "now", "next"), strict=True)
            ),
        ),
        "within 0.3 s",
    ),
    "lost": (
        [Guide("still", "T1", 0.0, "No readings.")],
        replace(
            HEATING,
            lost={PROBE_TEMPERATURE: "no reply"},
            word="lost",
            why="the thermometer has not answered for 4 s",
            sentence="A reading is missing. Keep heat and ice away from T1 until it is back.",
            rate=None,
            coach=None,
        ),
        "has not answered",
    ),
    "taps": (
        [*RAMP, AskTaps(50.0, 1.0, "Press Enter as the display passes 50 °C, 51 °C and so on.")],
        HEATING,
        "50 °C was missed",
    ),
    "not-safe": (
        [
            End(
                early=True,
                safe=False,
                reason="stopped by Test Person",
                left=BACK_ON,
                urgent=f"{switch_off_by_hand(('supply',))} {take_away('T1', now=True)}",
            )
        ],
        replace(HEATING, state="ended", path="", mode="off", coach=None, rate=None, remaining=None),
        "OFF BY HAND",
    ),
}


class NoThread:
    """A run that never moves."""

    started = done = False
    outcome = None

    def start(self):
        pass


def a_screen(plan=()):
    job = load(
        user_file("short.yaml", SHORT_PROCEDURE),
        user_file("pack.yaml", PACK),
        user_file("bench.yaml", BENCH.format(port=1)),
        ("T1",),
    )
    operator = ScreenOperator("Test Person")
    t = np.arange(0.0, 301.0, 1.0)
    for at, temperature in zip(t, 23.0 + 31.0 * t / 300.0, strict=True):
        operator.trace.add(float(at), float(temperature), 4.0 if at < 290.0 else 0.0)
    return RunApp(job, headings(job, "REHEARSAL", "×30"), operator, StopFlag(), NoThread(), finding_line, plan)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", STATES)
def test_each_state_looks_as_it_is_meant_to(name, size):
    told, view, words = STATES[name]

    async def play():
        app = a_screen()
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "about to begin")
            if view is not None:
                app.screen._page(shown=False)
            for order in told:
                app.operator.told(order, 290.0)
            if view is not None:
                app.screen.post_message(ViewSeen(view))
            await shows(pilot, words)
            await matches_golden(pilot, f"run-{name}", size)

    played(play())


@pytest.mark.parametrize("size", SIZES)
def test_before_a_run_is_left_it_is_asked(size):
    async def play():
        app = a_screen()
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "about to begin")
            app.screen._page(shown=False)
            app.operator.told(TRIPPED, 290.0)
            app.operator.told(Found("trip T1 54.62 ± 0.36 °C: pass"), 290.0)
            app.screen.post_message(ViewSeen(HEATING))
            await shows(pilot, "53.9/67")
            await until(pilot, lambda: not app.screen.query_one("Prompt").has_class("-change"), "the flash to end")
            await pilot.press("escape")
            await shows(pilot, "Leave this run?")
            await matches_golden(pilot, "run-leave", size)
            await pilot.press("x")
            await shows(pilot, "switching off")
            assert app.stop.pressed

    played(play())


@pytest.mark.parametrize("size", SIZES)
def test_the_findings_stand_where_the_chart_was(size):
    async def play():
        app = a_screen()
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "about to begin")
            app.screen.post_message(
                ViewSeen(replace(HEATING, state="ended", path="", mode="off", coach=None, rate=None, remaining=None))
            )
            app.screen.post_message(OVER)
            await shows(pilot, "calculating")
            lines = [finding_line(finding) for finding in (TRIP, MISSING)]
            app.screen.finished(lines, str(Path("runs") / "20261125-120000-TI-0417-short"))
            await shows(pilot, "FINDINGS")
            await matches_golden(pilot, "run-over", size)

    played(play())


@pytest.mark.parametrize(("early", "last"), [(False, "Esc Next procedure"), (True, "Esc Leave")])
def test_in_a_session_the_keys_say_what_comes_after_a_run(early, last):
    """The row of keys and the sentence above it say the same: on to the next procedure, or the session stops here."""

    async def play():
        app = a_screen(plan=("PLAN: 2 procedures, about 30 min",))
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.post_message(Told(End(early=early, safe=True, reason="all steps done"), 420.0))
            await shows(pilot, "calculating")
            app.screen.finished(["T1 trip 55 °C"], "runs")
            await shows(pilot, "FINDINGS")
            await shows(pilot, last)
            assert ("Esc: go on with the session." in " ".join(text(app).split())) == (not early)
            await pilot.press("escape")
            await until(pilot, lambda: app._exit, "the end of the screen")

    played(play())


def test_the_order_to_switch_off_by_hand_stays_until_a_person_has_confirmed_it():
    told, view, words = STATES["not-safe"]

    async def play():
        app = a_screen()
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.reaction = 0.0
            app.screen.post_message(ViewSeen(view))
            app.screen.post_message(Told(told[0], 290.0))
            await shows(pilot, words)
            app.screen.finished([finding_line(TRIP)], "runs/20261125-120000-TI-0417-short")
            app.screen.post_message(ViewSeen(view))
            await pilot.pause(0.2)
            assert words in text(app), "the findings do not take its place"
            assert BACK_ON not in " ".join(text(app).split()), "nobody is sent to the pack before it is off"
            assert "FINDINGS" not in text(app)
            await pilot.press("enter")
            await shows(pilot, "FINDINGS")
            assert words not in text(app)
            assert BACK_ON in " ".join(text(app).split())

    played(play())


def test_cautions_that_go_on_below_are_shown_whole_before_anybody_can_agree():
    async def play():
        app = a_screen()
        app.plan = tuple(f"line {number}" for number in range(1, 41))
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.reaction = 0.0
            app.screen.post_message(Told(Ask(CAUTIONS, READ_THEM), 0.0))
            await shows(pilot, "More below")
            pages = 0
            while "More below" in text(app):
                assert app.screen.asked is not None, "this key agreed to nothing"
                await pilot.press("enter")
                await pilot.pause(0.05)
                pages += 1
            assert pages >= 2
            assert "line 40" in text(app)
            await pilot.press("enter")
            await pilot.pause(0.05)
            assert app.screen.asked is None

    played(play())


def test_long_choices_can_be_read_whole_at_80_columns_also_after_a_wrong_answer():
    choices = (
        "charge over-temperature",
        "charge under-temperature",
        "discharge over-temperature",
        "another",
        "none of them",
    )

    async def play():
        app = a_screen()
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.reaction = 0.0
            app.screen.post_message(ViewSeen(HEATING))
            app.screen._page(shown=False)
            app.screen.post_message(Told(Ask("step-1", "Which alarm?", "alarm", "choice", choices=choices), 0.0))
            await shows(pilot, "5 none of them")
            await pilot.press("y", "enter")
            await shows(pilot, "Type a number from 1 to 5")
            assert "5 none of them" in " ".join(text(app).split())

    played(play())


@pytest.mark.parametrize("key", ["escape", "q", "ctrl+c"])
def test_after_a_stop_nobody_leaves_what_they_switched_on_without_being_asked(key):
    async def play():
        app = a_screen()
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.reaction = 0.0
            app.screen.post_message(ViewSeen(replace(HEATING, by_hand_on=("load",))))
            off = Ask("switch-off-1", "SWITCH THE LOAD OFF BY HAND.", "load off", "mark", role="load", of="load off")
            app.screen.post_message(Told(off, 0.0))
            await shows(pilot, "OFF BY HAND")
            await pilot.press("f8")
            await until(pilot, lambda: app.stop.pressed, "the stop")
            await pilot.press(key)
            await shows(pilot, "The bench is not confirmed off")
            await pilot.press("enter")
            await shows(pilot, "OFF BY HAND")
            await pilot.press(key, "y")
            await until(pilot, lambda: not app.is_running, "the way out")

    played(play())


def test_the_time_left_for_an_answer_is_shown_by_the_clock_on_the_wall():
    async def play():
        app = a_screen()
        app.speed = 30.0
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.post_message(Told(Ask("step-1", "Read the display.", "display", "number", "V", "voltage"), 0.0))
            app.screen.post_message(ViewSeen(replace(HEATING, answer_within=600.0)))
            await shows(pilot, "Answer within 0:20")
            app.screen.reaction = 0.0
            await until(pilot, lambda: app.screen.is_drawn, "the question")
            await pilot.press(*"much", "enter")
            await shows(pilot, "'much' is not")
            app.screen.post_message(ViewSeen(replace(HEATING, answer_within=300.0)))
            await shows(pilot, "Answer within 0:10")
            assert "'much' is not a number" in " ".join(text(app).split()), "it goes on while an answer was refused"
            sight = Ask("step-2", "Watch the load.", "load stopped", "mark", of="load stopped", instead="off")
            app.screen.post_message(Told(sight, 0.0))
            app.screen.post_message(ViewSeen(replace(HEATING, answer_within=None)))
            await until(
                pilot,
                lambda: "Answer within" not in text(app) and "load" in text(app),
                "a sight that nobody hurries to mark",
            )
            assert "Watch the load." in text(app)

    played(play())


def test_what_a_person_has_switched_on_is_never_said_to_switch_off_by_itself():
    async def play():
        app = a_screen()
        async with app.run_test(size=SIZES[0]) as pilot:
            await shows(pilot, "about to begin")
            app.screen.post_message(Told(Ask("step-1", "Read the display.", "display", "number", "V", "voltage"), 0.0))
            app.screen.post_message(ViewSeen(replace(HEATING, answer_within=15.0, by_hand_on=("charger",))))
            await shows(pilot, "switch the charger off by hand")
            assert "everything switches off" not in text(app)
            await pilot.press("escape")
            await shows(pilot, "Leave this run?")
            said = " ".join(text(app).split())
            assert "Leaving stops it. Then switch the charger off by hand." in said
            assert "supply and load off" not in said

    played(play())
