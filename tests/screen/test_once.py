"""The questions of once a session, by keys: Esc goes back, loses nothing that was typed, and begins nothing."""

from pathlib import Path

from runner.screen.choice import RUN, Choice
from runner.screen.choose import OnceApp, PlanScreen
from runner.screen.start import StartApp
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.once import to_ask
from tests.builders import BENCH, PACK, a_file
from tests.screen.played import played, shows

BEGINS = "Enter in the last field begins."
TYPED = [*"A. Tester", "enter", *"Harbour"]


def asked(tmp_path: Path, *turns: tuple[list[str], str]):
    """(whether it is over, what the questions ended with, the pack sheet afterwards) after keys, each with what is shown then."""
    sheet = a_file(tmp_path / "pack.yaml", PACK)
    fields = to_ask(parse_pack(PACK, "pack.yaml"), parse_bench(BENCH.format(port=9), "bench.yaml"))

    async def play():
        app = OnceApp(sheet, fields)
        async with app.run_test(size=(80, 24)) as pilot:
            await shows(pilot, BEGINS)
            for keys, shown in turns:
                await pilot.press(*keys)
                if shown:
                    await shows(pilot, shown)
            await pilot.pause()
            return app._exit, app.return_value

    return *played(play()), sheet.read_text(encoding="utf-8")


def test_esc_with_nothing_typed_goes_back_and_writes_nothing(tmp_path):
    assert asked(tmp_path, (["escape"], "")) == (True, None, PACK)


def test_esc_after_something_was_typed_asks_first_and_the_second_one_goes_back(tmp_path):
    assert asked(tmp_path, ([*TYPED, "escape"], "not kept")) == (False, None, PACK)
    assert asked(tmp_path, ([*TYPED, "escape"], "not kept"), (["escape"], "")) == (True, None, PACK)


def test_enter_stays_and_what_was_typed_is_there(tmp_path):
    turns = ([*TYPED, "escape"], "not kept"), (["enter"], BEGINS), (["enter", *"2026-11-25", "enter"], "")
    over, operator, sheet = asked(tmp_path, *turns)
    pack = parse_pack(sheet, "pack.yaml")
    assert (over, operator, pack.customer, str(pack.received)) == (True, "A. Tester", "Harbour", "2026-11-25")


def test_a_key_typed_after_esc_stays_and_the_next_esc_asks_again(tmp_path):
    turns = ([*TYPED, "escape"], "not kept"), ([*" Office"], BEGINS), (["escape"], "not kept")
    assert asked(tmp_path, *turns) == (False, None, PACK)


def test_esc_on_the_start_screen_goes_back_to_the_plan_and_chooses_nothing(tmp_path):
    a_file(tmp_path / "pack.yaml", PACK)
    a_file(tmp_path / "bench.yaml", BENCH.format(port=9))
    chosen = []

    async def play():
        app = StartApp(tmp_path / "runs", str, tmp_path)
        async with app.run_test(size=(80, 24)) as pilot:
            choice = Choice(RUN, tmp_path / "pack.yaml", tmp_path / "bench.yaml", ("full-charge",))
            app.push_screen(PlanScreen(choice), chosen.append)
            await shows(pilot, "Decision rule")
            await pilot.press("enter")
            await shows(pilot, BEGINS)
            await pilot.press(*"Ada", "escape", "escape")
            await shows(pilot, "Decision rule")
            assert chosen == []

    played(play())
