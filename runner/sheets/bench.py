"""The bench file: the instruments, how they are reached, what they may do at most, how accurate they are."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, Self

from pydantic import ConfigDict, Field, ValidationInfo, field_validator, model_validator

from runner.errors import Problem, SheetError
from runner.notation.fields import (
    AS_IT_WAS,
    Coverage,
    GuardPatience,
    MaximumRisk,
    PositiveDifference,
    PositiveTime,
    PositiveVoltage,
    Ratio,
    Sheet,
    Time,
)
from runner.notation.problems import checked
from runner.notation.source import Source, read
from runner.notation.wrong import Wrong
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.instruments import ROLES, Instruments, key_of, place_of
from runner.vocabulary import MAXIMUM_RISK, Rule


class ByHand(Sheet):
    """What is known of a person who presses a key at a sight: ``reaction`` with its standard uncertainty, in s.

    ``every``: how long a long discharge may go on between two readings, in s; ``longest_hold``: how long a question may wait
    for an answer while something is on before the run ends, in s.
    """

    reaction: Time = 0.3
    reaction_uncertainty: Time = 0.15
    every: PositiveTime = 300.0
    longest_hold: PositiveTime = 900.0


class Assumed(Sheet):
    """Tolerances that this laboratory takes where a pack sheet declares none; a current's is a ratio of its trip."""

    temperature: PositiveDifference | None = None
    voltage: PositiveVoltage | None = None
    current: Ratio | None = None


class Decision(Sheet):
    """How a statement of conformity is made: the rule, and the coverage of the expanded uncertainty.

    ``risk`` is the maximum of a rule of maximum risk (JCGM 106:2012): of a consumer's, that what passes is outside its limits,
    of a producer's, that what fails is inside. ``assumed_tolerance`` is what the certificate then says was assumed.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "if": {"properties": {"rule": {"enum": list(MAXIMUM_RISK)}}, "required": ["rule"]},
            "then": {"required": ["risk"]},
            "else": {"not": {"required": ["risk"]}},
        }
    )

    rule: Literal[tuple(each.value for each in Rule)] = Rule.WITH_CONDITIONS.value  # type: ignore[valid-type]
    coverage: Coverage = 0.95
    risk: MaximumRisk | None = None
    assumed_tolerance: Assumed = Assumed()

    @field_validator("risk")
    @classmethod
    def _of_a_rule(cls, risk: float | None, info: ValidationInfo) -> float | None:
        rule = info.data.get("rule")
        if risk is not None and rule is not None and rule not in MAXIMUM_RISK:
            raise Wrong(f"risk is not for the rule {rule}", f"remove it, or write rule: {Rule.CONSUMER}")
        return risk

    @model_validator(mode="after")
    def _has_its_risk(self) -> Self:
        if self.rule in MAXIMUM_RISK and self.risk is None:
            raise Wrong(f"{self.rule} needs a risk", "add risk: 5 %")
        return self


class BenchFile(Sheet):
    """A bench. ``simulated`` marks one that proves nothing about a real pack; ``speed`` is how fast its time runs.

    ``authorized_by``: who signs for the laboratory; ``accreditation``: what a laboratory that has one prints, in its own words.
    ``guard_patience``: by how much the program may be late, in s of real time, before the guard takes it for hung.
    """

    kind: Literal["bench"]
    name: str
    place: str = ""
    laboratory: str = ""
    laboratory_address: str = ""
    authorized_by: str = ""
    accreditation: str = ""
    operator: str = ""
    note: str = ""
    backend: Literal["@py", "@ivi"] = "@py"
    simulated: bool = False
    speed: float = Field(default=1.0, gt=0, le=1e6, allow_inf_nan=False)
    instruments: Instruments
    guard_patience: GuardPatience = 2.0
    hand: ByHand = ByHand()
    decision: Decision = Decision()

    def roles(self) -> dict[str, InstrumentSheet]:
        """The instruments there are, by role, in the order of ROLES; further ones by role and name, as "probe by_the_cell"."""
        found: dict[str, InstrumentSheet] = {}
        for role in ROLES:
            if (first := getattr(self.instruments, role)) is not None:
                found[role] = first
            found |= {key_of(role, name): each for name, each in self.instruments.further(role).items()}
        return found

    def alone(self, key: str) -> BenchFile:
        """The same bench with one of its instruments only."""
        instrument = self.roles()[key]
        role, _, name = key.partition(" ")
        kept = {f"{role}s": {name: instrument}} if name else {role: instrument}
        return self.model_copy(update={"instruments": Instruments.model_construct(**kept)})

    def wired(self) -> dict[str, InstrumentSheet]:
        """Those of them that are reached through an address."""
        return {role: instrument for role, instrument in self.roles().items() if instrument.address}

    def by_hand(self, role: str) -> bool:
        """Whether a role is there and read or switched by a person."""
        instrument = self.roles().get(role)
        return instrument is not None and instrument.by_hand


def parse_bench(text: str, file: str, *, as_it_was: bool = False) -> BenchFile:
    """A bench file from its text; ``as_it_was``: also one that was run before it would have been refused.

    Raises SheetError with all that is wrong.
    """
    return parse_bench_source(read(text, file), as_it_was=as_it_was)


def parse_bench_source(source: Source, *, as_it_was: bool = False) -> BenchFile:
    """The same, for a caller who needs the places of things later."""
    old = list(_hands(source))
    if old and not as_it_was:
        raise SheetError([*source.problems, *old])
    bench = checked(source, BenchFile, {AS_IT_WAS: as_it_was})
    problems = [] if as_it_was else [*_only_simulated(bench, source), *_shared(bench, source)]
    if problems:
        raise SheetError(problems)
    return bench


def _hands(source: Source) -> Iterator[Problem]:
    """Takes ``hands`` out, a role of older bench files, which decided nothing; yields what to write instead."""
    instruments = source.values.get("instruments") if isinstance(source.values, dict) else None
    if isinstance(instruments, dict) and "hands" in instruments:
        del instruments["hands"]
        what = "hands is no longer a role: without an actuator, a person heats and cools"
        yield source.problem(("instruments", "hands"), what, "remove it", key=True)


def _shared(bench: BenchFile, source: Source) -> Iterator[Problem]:
    """Two roles at one address that say different things of the line they share."""
    seen: dict[str, tuple[str, InstrumentSheet]] = {}
    for role, instrument in bench.wired().items():
        other, first = seen.setdefault(instrument.address.upper().removesuffix("::INSTR"), (role, instrument))
        if instrument.line != first.line:
            what = f"{role} and {other} share an address, and their serial: blocks differ"
            yield source.problem((*place_of(role), "serial"), what, "write the same for both")
        if instrument.identity and first.identity and instrument.identity != first.identity:
            what = f"{role} and {other} share an address, and their identities differ"
            yield source.problem((*place_of(role), "identity"), what, "write the same for both")


def _only_simulated(bench: BenchFile, source: Source) -> Iterator[Problem]:
    """What a real bench must not have: time that does not run as it does."""
    if bench.speed != 1.0 and not bench.simulated:
        what = "speed is for simulated benches; at a real bench every delay would be wrong"
        yield source.problem(("speed",), what, "remove it", key=True)
