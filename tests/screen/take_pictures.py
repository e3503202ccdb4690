"""The pictures in the README, taken from the running app on the simulated bench.

    python tests/screen/take_pictures.py

Writes pictures/*.svg beside this file: the run at its trip, the findings, two packs side by side. Fonts are left to whoever
shows them, so that the files hold no address. And two-metres.png: the run's screen of 80 x 24 as it is seen from two metres,
each pixel a minute of arc, three times enlarged.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent.parent))

from PIL import Image  # noqa: E402

from runner.screen.start import StartApp  # noqa: E402
from tests.builders import rehearsed  # noqa: E402
from tests.screen.played import GOLDENS, shows, until  # noqa: E402
from tests.screen.test_watching import WatchedStage  # noqa: E402
from tests.screen.two_metres import drawn, from_two_metres  # noqa: E402

PICTURES = HERE / "pictures"
SIZE = (110, 32)


def take(app, name):
    PICTURES.mkdir(exist_ok=True)
    svg = re.sub(r"@font-face\s*\{[^}]*\}|<!--.*?-->", "", app.export_screenshot(title="tripwitness"))
    (PICTURES / f"{name}.svg").write_text(
        "\n".join(line.rstrip() for line in svg.splitlines()) + "\n", encoding="utf-8"
    )


async def run_and_findings(out):
    with WatchedStage(out, speed=120.0) as stage:
        async with stage.app.run_test(size=SIZE) as pilot:
            await until(pilot, lambda: bool(getattr(stage.app.screen, "marks", None)), "the screen")
            await until(pilot, lambda: bool(stage.app.screen.marks.changes), "the trip", 120)
            await shows(pilot, "stopped")
            take(stage.app, "trip")
            await shows(pilot, "The run has ended. Enter:", 120)
            await pilot.press("enter")
            await shows(pilot, "WHERE THE UNCERTAINTY COMES FROM")
            take(stage.app, "findings")


async def side_by_side(out):
    app = StartApp(Path("runs"), str, out)
    async with app.run_test(size=SIZE) as pilot:
        await shows(pilot, "Enter begins.")
        await pilot.press(*["down"] * 4, "enter")
        await shows(pilot, "2 runs.")
        await pilot.press("space", "down", "space", "v")
        await shows(pilot, "SIDE BY SIDE")
        take(app, "side-by-side")


def from_afar():
    lines = (GOLDENS / "run-ramp-80x24.txt").read_text(encoding="utf-8").splitlines()
    seen = Image.fromarray((255 * from_two_metres(drawn(lines, 80))).astype("uint8"))
    seen.resize((3 * seen.width, 3 * seen.height), Image.Resampling.NEAREST).save(PICTURES / "two-metres.png")


def main():
    from_afar()
    with tempfile.TemporaryDirectory() as name:
        out = Path(name)
        os.chdir(out)  # so that no path of this machine is in a picture
        asyncio.run(run_and_findings(Path("watched")))
        for seed in (1, 2):
            rehearsed(out / "runs", seed=seed, sensors=("T1", "T2"))
        asyncio.run(side_by_side(out))


if __name__ == "__main__":
    main()
