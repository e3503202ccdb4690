"""The manual of procedures is true: its example runs, and it names every step, key, word and finding there is."""

import re
from pathlib import Path

import pytest

from runner.conduct.clock import VirtualClock
from runner.measure.findings import _of_pack, _of_sensor
from runner.measure.recording import Recording
from runner.measure.stages import Substituted
from runner.rehearsal.simulated_bench import Rehearsal
from runner.sheets.bench import Assumed, BenchFile, ByHand, Decision
from runner.sheets.instrument_parts import (
    InstrumentSheet,
    Leads,
    MeterAccuracy,
    SupplyLimits,
    TemperatureAccuracy,
    TemperatureLimits,
)
from runner.sheets.instruments import ROLES, Instruments
from runner.sheets.pack import PACK_NAMES
from runner.sheets.parts.meters import FurtherMeter, FurtherProbe
from runner.sheets.parts.protections import KINDS
from runner.sheets.procedure import FINDINGS, Procedure, parse_procedure
from runner.sheets.steps import StepItem
from runner.workspace.job import DEMO_PACK, find_procedure, procedure_names, read_file
from tests.builders import declared, rehearsed, user_file

MANUAL = (Path(__file__).parent.parent / "procedures" / "README.md").read_text(encoding="utf-8")
(EXAMPLE,) = re.findall(r"<!-- example -->\n```yaml\n(.*?)```", MANUAL, re.DOTALL)


def step_models():
    for name, field in StepItem.model_fields.items():
        (model,) = [each for each in field.annotation.__args__ if each is not type(None)]
        yield name.rstrip("_"), model


def test_the_worked_example_runs_on_the_simulated_bench(tmp_path):
    run = rehearsed(tmp_path, procedure=user_file("example.yaml", EXAMPLE))
    assert [each.name for each in run.result.evaluation.findings] == ["trip", "release", "hysteresis"]
    assert run.finding("trip").value is not None
    assert run.result.outcome.reason == "all steps done"


@pytest.mark.parametrize(("name", "model"), list(step_models()))
def test_every_step_and_every_value_of_it_is_in_the_manual(name, model):
    rows = [line for line in MANUAL.splitlines() if line.startswith("| `")]
    (row,) = [line for line in rows if f"`{name}`" in line.split("|")[1]]
    for value in model.model_fields:
        if value != "say":
            assert f"`{value.rstrip('_')}`" in row or value.rstrip("_") in row, value


def test_every_key_of_the_head_is_in_the_manual():
    for key in set(Procedure.model_fields) - {"steps"}:
        assert f"`{key}" in MANUAL, key


def test_every_finding_role_and_name_of_an_expression_is_in_the_manual():
    for name in FINDINGS:
        assert f"`{name.replace('_', ' ')}`" in MANUAL, name
    for role in ROLES:
        assert f"`{role}`" in MANUAL
    for name in PACK_NAMES:
        assert f"`{name.replace('_', ' ').replace('cut off', 'cut-off')}`" in MANUAL
    assert "`charge over-temperature` … `discharge over-current`" in MANUAL
    assert len(KINDS) == 8


def test_every_key_of_a_bench_file_is_in_its_table():
    table = MANUAL.split("## The keys of a bench file")[1].split("\n## ")[0]
    sheets = [BenchFile, ByHand, Assumed, Decision, Instruments, InstrumentSheet, FurtherProbe, FurtherMeter, Leads]
    sheets += [field.annotation.__args__[0] for name, field in Instruments.model_fields.items() if name in ROLES]
    sheets += [SupplyLimits, TemperatureLimits, TemperatureAccuracy, MeterAccuracy]
    keys = {key for sheet in sheets for key in sheet.model_fields} - {"kind", "instruments", "hand", "decision"}
    assert {key for key in keys if f"`{key}" not in table} == set()


@pytest.mark.parametrize("name", ["procedures/README.md", "README.md", "procedures/INSTRUMENTS.md"])
def test_every_link_to_a_heading_leads_to_one(name):
    root = Path(__file__).parent.parent
    text = (root / name).read_text(encoding="utf-8")
    for target, anchor in re.findall(r"\]\(([^)#:]*)#([^)]+)\)", text):
        there = ((root / name).parent / target if target else root / name).read_text(encoding="utf-8")
        headings = re.findall(r"^#+ (.*)$", there, re.MULTILINE)
        anchors = {re.sub(r"[^a-z0-9 -]", "", each.lower()).replace(" ", "-") for each in headings}
        assert anchor in anchors, f"{target}#{anchor}"


@pytest.mark.parametrize("kind", ["", *KINDS])
def test_every_finding_a_procedure_may_ask_for_can_be_worked_out(kind):
    dimension = KINDS.get(kind, "")
    wanted = {name for name, dimensions in FINDINGS.items() if dimension in dimensions}
    nothing = Recording({}, ())
    if dimension == "temperature":
        table = _of_sensor(nothing, declared(protection=kind), "T1")
    else:
        table = _of_pack(nothing, declared(protection=kind, sensors=()))
    assert wanted <= set(table), wanted - set(table)
    if dimension == "temperature":  # the same with a decade box in the sensor's place
        boxed = set(Substituted(nothing, declared(protection=kind), "T1").findings())
        assert wanted <= boxed, f"Substituted in runner/measure/stages.py has no {wanted - boxed}"
    for name in wanted:
        finding = table[name]()
        assert finding is None or finding.conformity == "not measured"


@pytest.mark.parametrize("name", procedure_names())
def test_a_procedure_can_be_read_aloud_and_has_its_cautions_ceilings_and_ends(name):
    text = find_procedure(name).text
    procedure = parse_procedure(text, name)
    assert procedure.name == name
    comment = text.split("kind: procedure")[0]
    for part in ("# Provokes:", "# Needs:", "# Dangers:"):
        assert part in comment, part
    cautions = " ".join(procedure.cautions)
    for part in ("eye protection", "fire plan", "swelling", "local rules", "qualified"):
        assert part in cautions, part
    assert procedure.duration is not None


def _confirms(steps):
    for item in steps:
        for kind, step in item:
            if step is None:
                continue
            if kind == "confirm":
                yield step
            yield from _confirms(getattr(step, "steps", ()))


@pytest.mark.parametrize("name", [name for name in procedure_names() if name.endswith("-box")])
def test_the_sensor_before_is_plugged_back_in_before_the_decade_box_takes_the_place_of_the_next(name):
    procedure = parse_procedure(find_procedure(name).text, name)
    (moves,) = [step for step in _confirms(procedure.steps) if step.box == "in"]
    assert moves.say.index("plug that sensor back in") < moves.say.index("unplug sensor {sensor}")


@pytest.mark.parametrize(("name", "most"), [("charge-over-current", "17.5 A"), ("discharge-over-current", "55 A")])
def test_leads_are_asked_for_that_carry_the_most_the_procedure_may_let_flow(name, most):
    with Rehearsal(read_file(DEMO_PACK), "sound", 1, VirtualClock(), sockets=False) as rehearsal:
        program = rehearsal.job(find_procedure(name)).program
    assert f"Leads and clamps are rated for at least {most}." in program.prepare
    assert program.ceilings.current == pytest.approx(float(most.split()[0]))


@pytest.mark.parametrize("name", procedure_names())
def test_no_text_says_that_something_is_connected_or_not_yet_whatever_came_before(name):
    """In a session it is connected since hours, by itself it is not."""
    procedure = parse_procedure(find_procedure(name).text, name)
    for text in procedure.prepare:
        assert "connected and switched off" not in text
        assert "Do not connect" not in text
