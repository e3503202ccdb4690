"""The command line: arguments, one call per command, exit status from the outcome. Rooms are imported inside commands.

Exit status: 0 every finding passes; 1 at least one fails or conditionally fails; 2 a file or an argument is wrong;
3 something was not measured, passes only conditionally, or was left undone; 4 the run ended early, bench made safe, an
instrument does not answer, or what was asked for cannot be written; 70 a defect of ours.
"""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from runner import __version__
from runner.streams import Streams, open_closed, told, watched
from runner.vocabulary import Exit

if TYPE_CHECKING:
    from runner.launcher import Face

TEMPERATURES = "TRIPWITNESS_TEMPERATURES"  # the scale that people read: degC or degF
DEFAULT_PROCEDURE = "charge-over-temperature"
TAKEN_PART_SPEED = 30.0  # how fast a rehearsal's time runs when a person takes part in it
COLLECT_AFTER = (
    50_000  # objects: with Python's 700 a tenth of a short run's time goes into looking through what was imported
)
WATCHED_SPEED = 200.0  # and when they only watch the simulated operator


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; the exit status."""
    gc.set_threshold(COLLECT_AFTER)
    open_closed()
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="replace")  # a key of another encoding is no end of the input
    with watched() as streams:
        return _main(arguments, streams)


def _main(arguments: Sequence[str] | None, streams: Streams) -> int:
    parser = _parser()
    first = next(iter(sys.argv[1:] if arguments is None else arguments), "-")
    if not first.startswith("-") and first not in parser.get_default("known"):
        return _usage(f"unknown command {first!r}", f"choose one of: {', '.join(parser.get_default('known'))}")
    options = parser.parse_args(arguments)
    if not hasattr(options, "command"):
        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            parser.print_help()
            return Exit.PASS
        options = parser.parse_args(["rehearse"])
        options.command = _first_screen
    from runner.notation.visible import plainly
    from runner.scale import Scale, read_in

    try:
        read_in(os.environ.get(TEMPERATURES) or Scale.CELSIUS)
    except ValueError:
        return _usage(f"{TEMPERATURES} is {os.environ[TEMPERATURES]!r}", "set it to degC or degF")
    as_json = getattr(options, "json", False)
    with plainly():
        try:
            status = _carried_out(options)
            sys.stdout.flush()
        except Exception as error:
            if streams.lost(error):
                return streams.not_whole(as_json=as_json)
            streams.complain(told(error))
            return Exit.DEFECT
        # who reads its lines changes nothing of a run; a program that reads JSON has to know
        return streams.not_whole(as_json=True) if as_json and streams.out.lost else status


def _carried_out(options: argparse.Namespace) -> int:
    from runner.errors import TripwitnessError

    try:
        return int(options.command(options))
    except TripwitnessError as error:
        print(error, file=sys.stderr)
        return error.status
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return Exit.ENDED_EARLY


SPEED_HELP = (
    f"simulated speed: a factor such as 30, or max (default: {TAKEN_PART_SPEED:g}, and max if nobody takes part)"
)
SCENARIO_HELP = 'what the simulated pack and bench have, or what goes wrong; "list" shows all (default: as they come)'
AS_THEY_COME = "as-they-come"  # drawn as packs and instruments are; "sound" has none of it
ORDINARY_SEED = 2  # its errors are of ordinary size
SEED_HELP = "number that selects the simulated pack and bench (any integer)"


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number") from None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="tripwitness",
        description="Protection trip tests on battery packs, guided and recorded.",
        epilog="Without a command: the start screen. To try it: tripwitness rehearse --unattended",
    )
    parser.add_argument("--version", action="version", version=f"tripwitness {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND")

    rehearse = _command(commands, "rehearse", _rehearse, "rehearse procedures on the simulated bench")
    rehearse.add_argument(
        "procedures", nargs="*", metavar="PROCEDURE", help=f"name or file (default: {DEFAULT_PROCEDURE})"
    )
    rehearse.add_argument("--pack", help="pack sheet of the pack to simulate (default: the demo pack)")
    rehearse.add_argument("--bench", help="bench file whose instruments are simulated (default: the simulated bench)")
    rehearse.add_argument("--unattended", action="store_true", help="the simulation also answers for the operator")
    rehearse.add_argument("--seed", type=_whole, default=ORDINARY_SEED, help=SEED_HELP)
    rehearse.add_argument("--scenario", default=AS_THEY_COME, help=SCENARIO_HELP)
    rehearse.add_argument("--speed", help=SPEED_HELP)
    rehearse.add_argument(
        "--by-hand", action="store_true", help="only the supply is connected; a person reads the other instruments"
    )
    rehearse.add_argument(
        "--nothing-wired",
        action="store_true",
        help="no cable at all: a person reads and switches everything, with a charger and a clamp meter in place of a supply",
    )
    rehearse.add_argument(
        "--actuator", action="store_true", help="a simulated heating and cooling plate in place of a person"
    )
    _session(rehearse)
    _common(rehearse)

    run = _command(commands, "run", _run, "run procedures on a bench")
    run.add_argument("procedures", nargs="*", metavar="PROCEDURE", help="name or file")
    run.add_argument("--pack", required=True, help="pack sheet")
    run.add_argument("--bench", required=True, help="bench file")
    _session(run)
    _common(run)

    _add_after_a_run(commands)
    _add_follow(commands)
    _add_files_and_benches(commands)
    parser.set_defaults(known=tuple(commands.choices))
    return parser


def _add_after_a_run(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    evaluate = _command(commands, "evaluate", _evaluate, "recalculate the findings of a run with this version")
    evaluate.add_argument("folder", metavar="RUN_FOLDER")
    evaluate.add_argument("--json", action="store_true", help="print findings.json")

    certificate = _command(
        commands,
        "certificate",
        _certificate,
        "make the certificate of a run, of a session, or of several runs of one pack",
    )
    certificate.add_argument("folders", nargs="+", metavar="RUN_FOLDER")
    certificate.add_argument("--summary", action="store_true", help="also make a summary of one page")
    certificate.add_argument(
        "--label", default="", metavar="SIZE", help="also make a label for the pack, such as 62x29 (mm)"
    )

    verify = _command(commands, "verify", _verify, "check whether a run, a session or a certificate's PDF has changed")
    verify.add_argument("path", metavar="FOLDER|PDF")
    verify.add_argument("--signers", metavar="FILE", help="also know the stations in this file of allowed signers")

    key = _command(commands, "key", _key, "show the key with which this station seals its records")
    key.add_argument("--export", action="store_true", help="print the line that lets others check this station's seals")
    key.add_argument("--replace", action="store_true", help="make a new key; the old one is kept and stays known")
    key.add_argument("--trust", metavar="FILE", help="know the stations in this file of allowed signers from now on")

    resume = _command(commands, "resume", _resume, "continue a run or a session after a stop or a crash")
    resume.add_argument("folder", metavar="RUN_FOLDER")
    _common(resume)


def _add_follow(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    follow = _command(commands, "follow", _follow, "watch another person's run (read only)")
    follow.add_argument("folder", metavar="RUN_FOLDER")
    follow.add_argument("--plain", action="store_true", help="text lines instead of the full screen")


def _add_files_and_benches(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    check = _command(commands, "check", _check, "check pack sheets, bench files, procedures, dialects and answers")
    check.add_argument("files", nargs="+", metavar="FILE")

    bench = _command(commands, "bench", _bench, "check the instruments of a bench, try one by hand, or find some")
    bench.add_argument("bench", metavar="BENCH.yaml", nargs="?", help="with --find: written from what was found")
    bench.add_argument("--talk", metavar="ROLE", help="try the dialect of an instrument line by line")
    bench.add_argument("--find", action="store_true", help="list the instruments and serial ports that are there")
    bench.add_argument("--network", metavar="RANGE", help="with --find: also these network addresses")

    twin = _command(commands, "twin", _twin, "start the simulated bench as a separate process")
    twin.add_argument(
        "--listen", action="store_true", required=True, help="serve the instruments on the loopback interface"
    )
    twin.add_argument("--pack", help="pack sheet of the pack to simulate (default: the demo pack)")
    twin.add_argument("--bench-file", default="simulated-bench.yaml", help="file name for the bench file")
    twin.add_argument("--truth", help="file name for the true values of the simulation")
    twin.add_argument(
        "--port", type=int, default=0, help="first port, one for each instrument (default: any that are free)"
    )
    twin.add_argument("--seed", type=_whole, default=ORDINARY_SEED, help=SEED_HELP)
    twin.add_argument("--scenario", default=AS_THEY_COME, help=SCENARIO_HELP)
    twin.add_argument("--speed", type=float, default=1.0, help="simulated speed: a factor such as 30")

    schema = _command(commands, "schema", _schema, "print the JSON Schema of a kind of file, for editors")
    schema.add_argument("kind", choices=["pack", "bench", "procedure", "dialect", "answers"])


def _command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, call: object, text: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".")
    parser.set_defaults(command=call)
    return parser


def _session(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--all", action="store_true", help="run all procedures that pack and bench allow, as one session"
    )
    parser.add_argument(
        "--without", action="append", default=[], metavar="PROCEDURE", help="with --all: leave this one out, and say so"
    )
    parser.add_argument("--plan", action="store_true", help="show the order and what is left out; start nothing")
    parser.add_argument("--as-given", action="store_true", help="run the procedures in the order given")


def _common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--sensor", action="append", default=[], metavar="NAME", help="only this sensor (can be used several times)"
    )
    parser.add_argument("--out", default="runs", metavar="DIR", help="where run folders go (default: runs)")
    parser.add_argument("--plain", action="store_true", help="text lines instead of the full screen")
    parser.add_argument("--answers", metavar="FILE", help="scripted answers for the hold points")
    parser.add_argument(
        "--json", action="store_true", help="print findings.json at the end; all other output goes to standard error"
    )


# ---- commands ----------------------------------------------------------------------------------------------------


def _rehearse(options: argparse.Namespace) -> int:
    from runner.contradictions import of_a_rehearsal, refuse

    if options.scenario == "list":
        return _list_scenarios()
    refuse(of_a_rehearsal(options))
    from runner.launcher import Face

    face = Face.chosen(options)
    speed = _speed(options.speed, face)
    if speed is None:
        return Exit.WRONG_INPUT
    return face.rehearse(_names(options, [DEFAULT_PROCEDURE]), speed)


def _first_screen(options: argparse.Namespace) -> int:
    from runner.start_menu import first_screen

    return first_screen(options, WATCHED_SPEED, TAKEN_PART_SPEED)


def _follow(options: argparse.Namespace) -> int:
    from runner.following import follow

    return follow(Path(options.folder), plain=options.plain)


def _run(options: argparse.Namespace) -> int:
    from runner.contradictions import of_a_run, refuse

    refuse(of_a_run(options))
    from runner.launcher import Face

    return Face.chosen(options).run(_names(options, []))


def _resume(options: argparse.Namespace) -> int:
    from runner.launcher import Face

    return Face.chosen(options).resume(Path(options.folder))


def _names(options: argparse.Namespace, default: list[str]) -> list[str]:
    """The procedures asked for; none means all of them."""
    return [] if options.all else list(options.procedures) or default


def _check(options: argparse.Namespace) -> int:
    from runner.console_output import check_files

    return check_files([Path(name) for name in options.files])


def _bench(options: argparse.Namespace) -> int:
    from runner.contradictions import of_a_bench, refuse

    refuse(of_a_bench(options))
    from runner.console_output import on_a_bench

    return on_a_bench(options.bench or "", options.talk, (options.network or "") if options.find else None)


def _evaluate(options: argparse.Namespace) -> int:
    from runner.console_output import evaluate_again

    return evaluate_again(Path(options.folder), as_json=options.json)


def _certificate(options: argparse.Namespace) -> int:
    from reports.extracts import Extracts
    from runner.certifying import certificate_of

    extracts = Extracts.asked(summary=options.summary, label=options.label)
    return certificate_of([Path(folder) for folder in options.folders], extracts)


def _verify(options: argparse.Namespace) -> int:
    from runner.console_output import print_verified

    return print_verified(Path(options.path), Path(options.signers) if options.signers else None)


def _key(options: argparse.Namespace) -> int:
    from runner.console_output import print_key

    trusted = Path(options.trust) if options.trust else None
    return print_key(export=options.export, replace=options.replace, trusted=trusted)


def _twin(options: argparse.Namespace) -> int:
    from runner.contradictions import of_a_twin, refuse

    if options.scenario == "list":
        return _list_scenarios()
    refuse(of_a_twin(options))
    from runner.rehearsal.serve import listen

    return listen(
        options.pack,
        options.scenario,
        options.seed,
        options.speed,
        options.port,
        options.bench_file,
        options.truth,
        print,
    )


def _schema(options: argparse.Namespace) -> int:
    import json

    from runner.sheets.schema import schema

    print(json.dumps(schema(options.kind), indent=1))
    return Exit.PASS


def _list_scenarios() -> int:
    from runner.twin.parameters import SCENARIOS

    for name, text in SCENARIOS.items():
        print(f"{name:16} {text}")
    return Exit.PASS


def _speed(text: str | None, face: Face) -> float | None:
    """The speed of a rehearsal; None after a complaint."""
    patient = face.needs_a_person
    if text is None:
        return TAKEN_PART_SPEED if patient else float("inf")
    if text == "max":
        if patient:
            _usage("with --speed max nobody can answer in time", "add --unattended or --answers, or give a number")
            return None
        return float("inf")
    return float(text)


def _usage(what: str, remedy: str) -> int:
    print(f"{what}; {remedy}", file=sys.stderr)
    return Exit.WRONG_INPUT
