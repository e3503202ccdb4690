"""The user's files from disk to checked objects. All that is wrong in all of them is said at once."""

from __future__ import annotations

import getpass
import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import runner
from runner.bench.dialect import BUILT_IN
from runner.engine.planner import plan
from runner.engine.program import Program
from runner.errors import BenchError, BenchNotReady, LinkError, Problem, SheetError
from runner.notation.source import Source, read
from runner.record.folder import INPUTS
from runner.sheets.answers import Answers, parse_answers
from runner.sheets.bench import BenchFile, parse_bench
from runner.sheets.dialect import Dialect, parse_dialect
from runner.sheets.doubts import doubts
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import place_of, role_of
from runner.sheets.older import replacements
from runner.sheets.pack import PackSheet, not_declared, parse_pack, without_tolerance
from runner.sheets.parts.meters import ITSELF, TERMINALS
from runner.sheets.procedure import Procedure, parse_procedure
from runner.workspace.missing_words import with_words

T = TypeVar("T")
MOST_BYTES = 1_000_000  # of a file that a person has written
HOME = Path(runner.__file__).resolve().parent
# inside the program where it is installed, beside it in a checkout
PROCEDURES = next(each for each in (HOME.parent / "procedures", HOME / "procedures") if (each / "demo").is_dir())
DEMO_PACK = PROCEDURES / "demo" / "tim-840.yaml"
PARSERS: dict[str, Callable[[str, str], Any]] = {
    "pack": parse_pack,
    "bench": parse_bench,
    "procedure": parse_procedure,
    "dialect": parse_dialect,
    "answers": parse_answers,
}


@dataclass(frozen=True)
class UserFile:
    """A file as it was read: where from, and its text."""

    name: str
    text: str

    @property
    def digest(self) -> str:
        """SHA-256 of the text, in hex."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def source(self) -> Source:
        return read(self.text, self.name)


@dataclass(frozen=True)
class Job:
    """Everything a run needs, checked: the three files, and what they come to together."""

    procedure_file: UserFile
    pack_file: UserFile
    bench_file: UserFile
    procedure: Procedure
    pack: PackSheet
    bench: BenchFile
    program: Program
    dialects: dict[str, Dialect] = field(default_factory=dict)
    dialect_files: dict[str, UserFile] = field(default_factory=dict)


def procedure_names() -> list[str]:
    """The procedures that travel with the program."""
    return sorted(path.stem for path in PROCEDURES.glob("*.yaml"))


def read_file(path: Path) -> UserFile:
    """A text file. Raises SheetError if it cannot be read."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            what = f"has {size / 1e6:.0f} MB, at most {MOST_BYTES / 1e6:.0f} MB are read"
            raise SheetError([Problem(str(path), 1, 1, what, "check that it is the right file")])
        return UserFile(str(path), path.read_bytes().decode("utf-8"))
    except UnicodeDecodeError as error:
        raise SheetError(
            [Problem(str(path), 1, 1, f"is not UTF-8 text (byte {error.start})", "save it as UTF-8")]
        ) from error
    except OSError as error:
        raise SheetError.unreadable(str(path), (error.strerror or str(error)).lower()) from error


def find_procedure(name: str) -> UserFile:
    """A procedure by its name or its path. Raises SheetError."""
    shipped = PROCEDURES / f"{name}.yaml"
    if "/" not in name and not name.endswith((".yaml", ".yml")) and shipped.is_file():
        return read_file(shipped)
    if not Path(name).exists() and not name.endswith((".yaml", ".yml")):
        known = ", ".join(procedure_names())
        raise SheetError(
            [
                Problem(
                    name,
                    0,
                    0,
                    "unknown procedure",
                    f"choose one of: {known}; or give the path of a file",
                )
            ]
        )
    return read_file(Path(name))


def check_file(path: Path) -> tuple[str, list[str]]:
    """Check one file by its ``kind``; the kind, and what a person should know of it. Raises SheetError with all that is wrong."""
    file = read_file(path)
    source = file.source
    kind = source.values.get("kind") if isinstance(source.values, dict) else None
    if not isinstance(kind, str) or kind not in PARSERS:
        here = source.problem(
            ("kind",),
            f"kind is {kind!r}" if kind else "kind is missing",
            "write kind: pack, bench, procedure, dialect or answers",
        )
        raise SheetError([*source.problems, here] if source.values is not None else source.problems)
    if kind == "bench":
        load_bench(path)
        return kind, []
    sheet = PARSERS[kind](file.text, file.name)
    if isinstance(sheet, Procedure):
        return kind, [f"doubtful: {each}" for each in replacements(sheet, source)]
    if not isinstance(sheet, PackSheet):
        return kind, []
    return kind, [
        *(f"doubtful: {each}" for each in doubts(sheet, source)),
        *(f"note: it {each}" for each in [*not_declared(sheet), *not_judged(sheet)]),
    ]


def check_together(files: Mapping[Path, str]) -> list[Path]:
    """The procedures among ``files`` (with their kinds) that hold on the one pack and the one bench among them.

    None where there is not exactly one pack sheet and one bench file. Raises SheetError with all that is wrong between them.
    """
    of = {kind: [path for path, its in files.items() if its == kind] for kind in ("procedure", "pack", "bench")}
    if len(of["pack"]) != 1 or len(of["bench"]) != 1:
        return []
    pack, bench = read_file(of["pack"][0]), read_file(of["bench"][0])
    problems: list[Problem] = []
    for path in of["procedure"]:
        try:
            load(read_file(path), pack, bench)
        except SheetError as error:
            problems.extend(each for each in error.problems if each not in problems)
    if problems:
        raise SheetError(problems)
    return of["procedure"]


def not_judged(pack: PackSheet) -> list[str]:
    """What the sheet leaves without limits, as a sentence, or nothing."""
    missing = without_tolerance(pack)
    if not missing:
        return []
    return [f"declares no tolerance for {', '.join(missing)}: its results will not be judged"]


def load(
    procedure: UserFile, pack: UserFile, bench: UserFile, sensors: tuple[str, ...] = (), *, as_it_was: bool = False
) -> Job:
    """The job of three files; ``as_it_was``: of a run that there is already, to be looked at.

    Raises SheetError with everything that is wrong in any of them or between them.
    """
    problems: list[Problem] = []
    procedure_sheet = _parsed(partial(parse_procedure, as_it_was=as_it_was), procedure, problems)
    pack_sheet = _parsed(partial(parse_pack, as_it_was=as_it_was), pack, problems)
    bench_sheet = _parsed(partial(parse_bench, as_it_was=as_it_was), bench, problems)
    dialects = _dialects(bench_sheet, bench, problems) if bench_sheet else {}
    if problems or procedure_sheet is None or pack_sheet is None or bench_sheet is None:
        raise SheetError(problems)
    sources = (procedure.source, pack.source, bench.source)
    program = plan(procedure_sheet, pack_sheet, bench_sheet, sources, sensors, as_it_was=as_it_was)
    program = with_words(program, {role: sheet for role, (sheet, _) in dialects.items()})
    return Job(
        procedure,
        pack,
        bench,
        procedure_sheet,
        pack_sheet,
        bench_sheet,
        program,
        {role: sheet for role, (sheet, _) in dialects.items()},
        {role: file for role, (_, file) in dialects.items()},
    )


def load_bench(path: Path) -> tuple[UserFile, BenchFile, dict[str, Dialect]]:
    """A bench file with its dialects. Raises SheetError with everything that is wrong."""
    file = read_file(path)
    sheet = parse_bench(file.text, file.name)
    problems: list[Problem] = []
    dialects = _dialects(sheet, file, problems)
    if problems:
        raise SheetError(problems)
    return file, sheet, {role: dialect for role, (dialect, _) in dialects.items()}


def read_answers(path: Path) -> Answers:
    """Scripted answers. Raises SheetError."""
    file = read_file(path)
    return parse_answers(file.text, file.name)


def bench_problems(file: UserFile, fault: BenchError) -> SheetError:
    """Faults of instruments that could not be opened, each at its address in the bench file."""
    faults = fault.faults if isinstance(fault, BenchNotReady) else [fault]
    source = file.source
    wrong = any(isinstance(each, LinkError) and each.kind == "address" for each in faults)
    return SheetError(
        [
            source.problem((*place_of(each.instrument), "address"), f"{each.instrument}: {each.what}", each.remedy)
            for each in faults
        ],
        SheetError.status if wrong else fault.status,
    )


def _parsed(parse: Callable[[str, str], T], file: UserFile, problems: list[Problem]) -> T | None:
    try:
        return parse(file.text, file.name)
    except SheetError as error:
        problems.extend(error.problems)
        return None


def _dialects(bench: BenchFile, file: UserFile, problems: list[Problem]) -> dict[str, tuple[Dialect, UserFile]]:
    """The dialect files that a bench file names, relative to itself."""
    found: dict[str, tuple[Dialect, UserFile]] = {}
    for role, instrument in bench.wired().items():
        if instrument.dialect == "scpi" and instrument.address.upper().startswith("MODBUS"):
            what, remedy = "a Modbus instrument needs a dialect with its registers", "add dialect: and the file"
            problems.append(file.source.problem(place_of(role), what, remedy, key=True))
            continue
        if instrument.dialect == "scpi":
            problems.extend(_channel_problems(role, instrument, BUILT_IN[role_of(role)], file))
            if getattr(instrument, "terminals_from", "") == ITSELF:
                what, remedy = "scpi has no query for the terminals", "name a dialect with queries: terminals:"
                problems.append(file.source.problem((*place_of(role), "terminals_from"), what, remedy))
            continue
        path: tuple[str | int, ...] = (*place_of(role), "dialect")
        try:
            dialect_file = read_file(_beside(Path(file.name).parent, role, instrument.dialect))
        except SheetError as error:
            what = f"the dialect {instrument.dialect!r} {error.problems[0].what}"
            remedy = "write scpi, or the name of a dialect file beside the bench file"
            problems.append(file.source.problem(path, what, remedy))
            continue
        dialect = _parsed(parse_dialect, dialect_file, problems)
        if dialect is None:
            continue
        if dialect.role != role_of(role):
            what = f"{instrument.dialect} is a dialect for a {dialect.role}"
            problems.append(file.source.problem(path, what, f"name one for a {role_of(role)}"))
        if dialect.by_register != instrument.address.upper().startswith("MODBUS"):
            says = "registers" if dialect.by_register else "texts"
            what = f"{instrument.dialect} has {says}, which {instrument.address} cannot be spoken to in"
            problems.append(file.source.problem(path, what, "name another dialect, or correct the address"))
        reads = getattr(instrument, "reads", "")
        if reads and reads not in dialect.queries:
            what, remedy = f"{instrument.dialect} has no query for the {reads}", f"add queries: {reads}: to it"
            problems.append(file.source.problem(path, what, remedy))
        if getattr(instrument, "terminals_from", "") == ITSELF and TERMINALS not in dialect.queries:
            what, remedy = f"{instrument.dialect} has no query for the terminals", f"add queries: {TERMINALS}: to it"
            problems.append(file.source.problem(path, what, remedy))
        problems.extend(_channel_problems(role, instrument, dialect, file))
        found[role] = (dialect, dialect_file)
    return found


def kept_as(role: str) -> str:
    """The name under which a run folder keeps the dialect of an instrument."""
    return f"dialect-{role.replace(' ', '-')}.yaml"


def _beside(folder: Path, role: str, name: str) -> Path:
    """A dialect file: beside the bench file, or as a run that was begun with it keeps it."""
    kept = folder / kept_as(role)
    return kept if folder.name == INPUTS and kept.is_file() else folder / name


def _channel_problems(role: str, instrument: InstrumentSheet, dialect: Dialect, file: UserFile) -> Iterator[Problem]:
    """A channel that goes nowhere would switch the wrong output; so would a place for one that stays empty."""
    if instrument.channel and not dialect.has_channel:
        what = f"the dialect {instrument.dialect} cannot select a channel and could switch the wrong output"
        remedy = "remove channel:, or name a dialect whose texts have {channel}"
        yield file.source.problem((*place_of(role), "channel"), what, remedy)
    if dialect.needs_channel and not instrument.channel:
        what = f"the dialect {instrument.dialect} needs a channel"
        yield file.source.problem(place_of(role), what, "add channel: with the output's number", key=True)
    if instrument.outputs and "select" not in dialect.commands:
        what = f"the dialect {instrument.dialect} has no word that chooses one of several outputs"
        yield file.source.problem((*place_of(role), "places"), what, "add select: to its commands, or remove places:")


def operator_name(bench: BenchFile) -> str:
    """Who is at the bench: as its file says, else the user of this computer."""
    if bench.operator:
        return bench.operator
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "operator"
