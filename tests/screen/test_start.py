"""The first screen and the ways from it, by keys."""

from pathlib import Path

import pytest

from runner.screen.choice import RUN
from runner.screen.start import StartApp
from runner.screen.themes import THEMES
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.job import DEMO_PACK
from runner.workspace.once import OPERATOR, to_ask
from tests.screen.kept_runs import three
from tests.screen.played import SIZES, matches_golden, played, shows, text, until

BENCH = """\
kind: bench
name: bench 1
instruments:
  supply: {address: "TCPIP::127.0.0.1::9::SOCKET", timeout: 0.1 s, limits: {voltage: 31 V, current: 18 A}}
"""


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # so that no path of a machine is on a screen


def app_in(*, begin=0, said=""):
    return StartApp(Path("runs"), lambda folder: f"{folder}/certificate.html", Path(), begin, said)


@pytest.mark.parametrize("size", SIZES)
def test_it_says_what_can_be_done_with_nothing_there(tmp_path, size):
    async def play():
        app = app_in()
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "Enter begins.")
            await matches_golden(pilot, "start", size)

    played(play())


@pytest.mark.parametrize(("keys", "what"), [(["enter"], "watch"), (["down", "enter"], "rehearse"), (["q"], None)])
def test_a_rehearsal_is_one_or_two_keys_away(tmp_path, keys, what):
    async def play():
        app = app_in()
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "Enter begins.")
            await pilot.press(*keys)
        return app.return_value

    choice = played(play())
    assert (choice.what if choice else None) == what


def test_why_the_last_choice_came_to_nothing_is_said(tmp_path):
    async def play():
        app = app_in(said="bench.yaml:4:5: supply does not answer; look at its cable")
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "supply does not answer")

    played(play())


@pytest.mark.parametrize("size", SIZES)
def test_a_pack_is_chosen_planned_and_begun(tmp_path, size):
    (tmp_path / "pack.yaml").write_text(DEMO_PACK.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "bench.yaml").write_text(BENCH, encoding="utf-8")

    async def play():
        app = app_in()
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "pack.yaml")
            await pilot.press("down", "down", "enter")
            await shows(pilot, "Tab: next list")
            await matches_golden(pilot, "choose", size)
            await pilot.press("enter", "enter")
            await shows(pilot, "left out")
            await matches_golden(pilot, "plan", size)
            await pilot.press("enter")  # the pack's sheet has a customer
            await shows(pilot, "ONCE FOR THIS SESSION")
            await pilot.press(*"A", "enter", *"2026-11-2", "enter")
            await shows(pilot, "is no date")
            await matches_golden(pilot, "once", size)
            await pilot.press("5", "enter")
        return app.return_value

    choice = played(play())
    assert (choice.what, choice.pack.name, choice.bench.name) == (RUN, "pack.yaml", "bench.yaml")
    assert choice.operator == "A"
    pack = parse_pack((tmp_path / "pack.yaml").read_text(encoding="utf-8"), "pack.yaml")
    assert str(pack.received) == "2026-11-25"
    bench = parse_bench(BENCH, "bench.yaml")
    assert to_ask(pack, bench) == (OPERATOR,), "what is of the pack is not asked again"


def test_only_the_marked_procedures_are_done(tmp_path):
    (tmp_path / "pack.yaml").write_text(DEMO_PACK.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "bench.yaml").write_text(BENCH, encoding="utf-8")

    async def play():
        app = app_in()
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "pack.yaml")
            await pilot.press("down", "down", "enter")
            await shows(pilot, "○ arrival")
            await pilot.press("tab", "tab", "space", "down", "space", "space", "enter")
            await shows(pilot, "PLAN: ")
            await pilot.press("enter")
            await shows(pilot, "ONCE FOR THIS SESSION")
            await pilot.press("enter", "enter")
        return app.return_value

    assert played(play()).procedures == ("arrival",)


def test_without_files_it_is_said_what_is_missing(tmp_path):
    async def play():
        app = app_in()
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "Enter begins.")
            await pilot.press("down", "down", "enter")
            await shows(pilot, "No bench file and no pack sheet")
            await pilot.press("f2")
            await shows(pilot, "Choose a bench file first.")

    played(play())


def test_the_roll_call_names_who_does_not_answer_and_leaves(tmp_path):
    (tmp_path / "bench.yaml").write_text(BENCH, encoding="utf-8")

    async def play():
        app = app_in()
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, "bench.yaml")
            await pilot.press("down", "down", "down", "enter")
            await shows(pilot, "CHECK THE INSTRUMENTS")
            await pilot.press("enter")
            await shows(pilot, "✗ supply")
            await matches_golden(pilot, "roll", (80, 24))
            await pilot.press("escape", "escape")
            await shows(pilot, "Enter begins.")

    played(play())


@pytest.mark.parametrize("size", SIZES)
def test_past_runs_are_searched_compared_and_followed_over_time(tmp_path, size):
    three(tmp_path / "runs")

    async def play():
        app = app_in()
        async with app.run_test(size=size) as pilot:
            await shows(pilot, "Enter begins.")
            await pilot.press(*["down"] * 4, "enter")
            await shows(pilot, "3 runs.")
            await matches_golden(pilot, "past", size)
            await pilot.press("v")
            await shows(pilot, "Select two runs")
            await pilot.press("slash", *"0417", "enter")
            assert "TI-0502" not in text(app)
            await pilot.press("space", "down", "space", "v")
            await shows(pilot, "SIDE BY SIDE")
            await matches_golden(pilot, "side-by-side", size)
            await pilot.press("escape", "t")
            await shows(pilot, "OVER TIME")
            await matches_golden(pilot, "over-time", size)
            await pilot.press("n")
            await shows(pilot, "Not measured in any of these runs")
            await pilot.press("escape", "enter")
            await shows(pilot, "WHERE THE UNCERTAINTY COMES FROM")
            await matches_golden(pilot, "findings", size)
            await pilot.press("down")
            await shows(pilot, "did not release by")
            await pilot.press("c")
            await shows(pilot, "certificate.html")

    played(play())


@pytest.mark.parametrize("theme", [theme.name for theme in THEMES])
def test_every_look_says_the_same(tmp_path, theme):
    three(tmp_path / "runs")

    async def play():
        app = app_in()
        async with app.run_test(size=(80, 24)) as pilot:
            app.theme = theme
            await shows(pilot, "Enter begins.")
            await pilot.press(*["down"] * 4, "enter")
            await shows(pilot, "3 runs.")
            await matches_golden(pilot, "past", (80, 24))

    played(play())


def test_f1_shows_and_hides_which_key_does_what():
    async def play():
        app = app_in()
        async with app.run_test(size=(140, 45)) as pilot:
            await shows(pilot, "Enter begins.")
            await pilot.press("f1")
            await until(pilot, lambda: bool(app.screen.query("KeyList")), "the keys")
            assert "F1 closes this list." in text(app)
            assert "F8 stops the run" not in text(app), "there is none"
            await pilot.press("f1")
            await until(pilot, lambda: not app.screen.query("KeyList"), "the keys to go")

    played(play())
