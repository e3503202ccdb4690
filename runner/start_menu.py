"""What ``tripwitness`` alone does: the first screen, and what is chosen there, until it is left.

Apart from ``faces`` because the first screen has to be there before everything that a run needs.
"""

from __future__ import annotations

import argparse
import signal
from pathlib import Path

from runner.errors import TripwitnessError
from runner.screen.choice import REHEARSE, WATCH
from runner.screen.start import ENTRIES, StartApp
from runner.vocabulary import Exit

GONE = (signal.SIGHUP, signal.SIGTERM)  # after these there is no terminal to show a first screen on
PROCEDURE = "charge-over-temperature"  # what a rehearsal from the first screen is about


def first_screen(options: argparse.Namespace, watched_speed: float, taken_part_speed: float) -> int:
    """The first screen, and what is chosen there, again and again until it is left; the exit status.

    ``options`` are those of a rehearsal that was given none.
    """
    said, begin = "", 0
    gone: list[int] = []
    while True:
        app = StartApp(Path(options.out), _certificate, Path.cwd(), begin, said)
        choice = app.run()
        if choice is None:
            return Exit.DEFECT if app.return_code else 0
        begin, said = next((n for n, entry in enumerate(ENTRIES) if entry.key == choice.what), 2), ""
        options.pack = str(choice.pack) if choice.pack is not None else None
        options.operator = choice.operator
        options.bench = str(choice.bench) if choice.bench is not None else None
        from runner.launcher import Face  # only now: what runs need takes a second to come

        before = {number: signal.signal(number, lambda n, _: gone.append(n)) for number in GONE}
        try:
            if choice.what == WATCH:
                Face.watched(options).rehearse([PROCEDURE], watched_speed)
            elif choice.what == REHEARSE:
                Face(options, True, None).rehearse([PROCEDURE], taken_part_speed)
            else:
                Face(options, True, None).run(choice.procedures)
        except TripwitnessError as error:
            said = str(error)
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)
        if gone:
            return Exit.ENDED_EARLY


def _certificate(folder: Path) -> str:
    from runner.certifying import certificate_in

    return certificate_in(folder)
