"""Where exactly a procedure begins to be refused: each bound with a value just inside and one just outside.

The pack is the demo's: 8 LFP cells, 29.2 V full, 12 A charge, 40 A discharge; an LFP cell is never below 2 V and above 3.9 V
(common practice, no source).
"""

import pytest

from runner.errors import SheetError
from runner.workspace.job import DEMO_PACK, load, read_file
from tests.builders import user_file
from tests.sheets.test_planned_paths import BOTH, BOXED, CHARGE, HEAT, procedure

OVER_VOLTAGE, UNDER_VOLTAGE = {"protection": "over-voltage"}, {"protection": "under-voltage"}
CHARGE_CURRENT, DISCHARGE_CURRENT = {"protection": "charge over-current"}, {"protection": "discharge over-current"}


# the demo pack allows less than its own protection's lowest trip; here a little more
MORE_ALLOWED = read_file(DEMO_PACK).text.replace("maximum_discharge_current: 40 A", "maximum_discharge_current: 46 A")


def said(steps, *, bench=BOTH, ceilings="", pack=None, **more):
    """What is wrong with a procedure of these steps, as one text; empty where nothing is."""
    beyond = any("beyond: voltage" in each for each in steps)  # the cells are compared first
    text = procedure(["cells: {say: Cells., within: 20 mV}", *steps] if beyond else steps, **more)
    if ceilings:
        line = next(each for each in text.splitlines() if each.startswith("ceilings:"))
        text = text.replace(line, f"ceilings: {{{ceilings}}}")
    sheet = read_file(DEMO_PACK) if pack is None else user_file("pack.yaml", pack)
    try:
        load(user_file("own.yaml", text), sheet, user_file("bench.yaml", bench))
    except SheetError as error:
        return "\n".join(each.what for each in error.problems)
    return ""


def charge(voltage="29.2 V", current="4 A", more=""):
    return f"charge: {{voltage: {voltage}, current: {current}, until: time, for: 10 min{more}}}"


def until_stopped(voltage):
    return f"charge: {{voltage: {voltage}, current: 4 A, until: stopped, give_up: 9 h, beyond: voltage}}"


def drain(current="4 A", floor="21 V"):
    return f"drain: {{current: {current}, until: time, for: 10 s, floor: {floor}}}"


def stairs(first="10 A", last="16 A", step="1 A", dwell="5 s", path="charge", more=", beyond: current"):
    ends = "voltage: full charge voltage" if path == "charge" else "floor: 20 V"
    return f"stage: {{path: {path}, {ends}, from: {first}, to: {last}, step: {step}, dwell: {dwell}{more}}}"


def full(voltage="full charge voltage", end="2 A"):
    return f"charge: {{voltage: {voltage}, current: 4 A, until: full, end_current: {end}, give_up: 9 h}}"


CAPACITY = {**UNDER_VOLTAGE, "findings": "[capacity]"}
HOT = "temperature: {}, voltage: 29.6 V, current: 60 A, time: 2 h"
VOLTS = "temperature: 70 degC, voltage: {}, current: 60 A, time: 2 h"
AMPERES = "temperature: 70 degC, voltage: 29.6 V, current: {}, time: 2 h"
HIGH = {"ceilings": VOLTS.format("31.2 V")}
ACTUATOR = """\
  actuator: {address: 'TCPIP::127.0.0.1::1::SOCKET', limits: {lowest: -10 degC, highest: 63 degC}, fastest: 2 K/min}
"""

BOUNDS = [
    ("a charge voltage", charge("29.2 V"), charge("29.21 V"), {}, "the pack sheet allows 29.2 V"),
    ("a charge current", charge(current="12 A"), charge(current="12.01 A"), {}, "the pack sheet allows 12 A"),
    ("a discharge current", drain("40 A"), drain("40.1 A"), {}, "the pack sheet allows 40 A"),
    ("a floor", drain(floor="20 V"), drain(floor="19.9 V"), {}, "below the 20 V that the pack sheet allows"),
    ("a floor in a test of under-voltage", drain(floor="16 V"), drain(floor="15.9 V"), UNDER_VOLTAGE, "below 16 V, 2 V per cell"),
    ("a voltage in a test of over-voltage", until_stopped("31.2 V"), until_stopped("31.3 V"), {**OVER_VOLTAGE, **HIGH},
     "above 31.2 V, 3.9 V per cell"),
    ("a current of another protection", drain("44.9 A"), drain("45 A"), {"pack": MORE_ALLOWED}, "discharge over-current may trip"),
    ("a current in a test of it", stairs(last="20 A"), stairs(last="20.1 A", step="0.1 A"), CHARGE_CURRENT, "at most 20 A is allowed (the upper limit"),
    ("a dwell at such a current", stairs(dwell="120 s"), stairs(dwell="121 s"), CHARGE_CURRENT, "last at most 120 s"),
    ("levels", stairs("1 A", "11 A", "0.05 A", more=""), stairs("1 A", "11.1 A", "0.05 A", more=""), CHARGE_CURRENT,
     "more than 200 levels"),
    ("the last level", stairs("10 A", "10 A"), stairs("10 A", "9.9 A"), CHARGE_CURRENT, "the last level is below the first"),
    ("full for a capacity", full("28.7 V"), full("28.5 V"), CAPACITY, "must charge to the full charge voltage"),
    ("the end of a taper for a capacity", full(end="4 A"), full(end="4.1 A"), CAPACITY, "is too high for a full charge"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("inside", "outside", "more", "part"), [each[1:] for each in BOUNDS], ids=[each[0] for each in BOUNDS]
)
def test_a_value_at_its_bound_is_taken_and_one_beyond_it_is_refused(inside, outside, more, part):
    assert part not in said([inside], **more)
    assert part in said([outside], **more)


@pytest.mark.parametrize(
    ("inside", "outside", "part"),
    [
        (HOT.format("100 degC"), HOT.format("101 degC"), "a ceiling of 101 °C is outside the allowed sensor range"),
        (VOLTS.format("31.2 V"), VOLTS.format("31.3 V"), "a ceiling of 31.3 V is above 31.2 V"),
    ],
)
def test_a_ceiling_is_refused_beyond_what_a_cell_or_a_sensor_is_ever_taken_to(inside, outside, part):
    assert said([charge()], ceilings=inside) == ""
    assert part in said([charge()], ceilings=outside)


def heat(approach="50 degC", give_up="63 degC"):
    return [CHARGE, f"heat: {{say: Heat., rate: 2 K/min, approach: {approach}, give_up: {give_up}}}"]


def test_a_mark_at_the_ceiling_is_never_reached_and_one_below_it_is():
    assert said(heat(give_up="69.9 degC")) == ""
    assert "heat up to 70 °C, but the procedure's ceiling is 70 °C" in said(heat(give_up="70 degC"))
    assert said(["wait: {above: 69.9 degC, give_up: 1 h}"]) == ""
    assert "wait up to 70 °C" in said(["wait: {above: 70 degC, give_up: 1 h}"])
    assert "ceiling" not in said(["wait: {below: 75 degC, give_up: 1 h}"]), "what cools down never comes to it"


@pytest.mark.parametrize(
    "step", [["wait: {below: -41 degC, give_up: 1 h}"], heat("-41 degC"), heat(give_up="101 degC")]
)
def test_no_mark_is_outside_of_what_a_sensor_may_be_taken_to(step):
    assert "is outside the allowed sensor range, -40 to 100 °C" in said(step)


# ---- the bench -----------------------------------------------------------------------------------------------------


def test_the_bench_files_limits_are_kept_by_supply_and_load():
    narrow = BOTH.replace("current: 20 A", "current: 10 A").replace("current: 60 A", "current: 30 A")
    assert said([charge(current="10 A")], bench=narrow) == ""
    assert "charges with 10.1 A, but at most 10 A" in said([charge(current="10.1 A")], bench=narrow)
    assert said([drain("30 A")], bench=narrow) == ""
    assert "draws 30.1 A, but at most 30 A" in said([drain("30.1 A")], bench=narrow)
    low = BOTH.replace("voltage: 45 V", "voltage: 28 V")
    assert said([charge("28 V")], bench=low) == ""
    assert "charges with 28.1 V, but at most 28 V" in said([charge("28.1 V")], bench=low)


@pytest.mark.parametrize(
    ("inside", "outside", "part"),
    [
        (heat(give_up="61 degC"), heat(give_up="61.1 degC"), "goes to 61.1 °C and needs 2 K beyond that to get there"),
        (
            heat(give_up="61 degC"),
            [CHARGE, heat(give_up="61 degC")[1].replace("2 K/min", "2.1 K/min")],
            "asks for 2.1 K/min, the actuator can do 2 K/min",
        ),
    ],
)
def test_what_heats_on_command_has_to_reach_every_rate_and_give_up(inside, outside, part):
    bench = BOTH + ACTUATOR
    assert said(inside, bench=bench) == ""
    assert part in said(outside, bench=bench)


def test_only_a_charge_or_drain_until_steady_leaves_its_path_on():
    off = "comes while everything is off, so no current could be seen"
    heated = heat()[1]
    assert off not in said([CHARGE, heated])
    assert off in said([charge(), heated])
    assert off in said([drain(), heated])
    assert off in said([CHARGE, "off", heated])


def test_so_are_the_procedures_own_ceilings():
    assert "draws 30.1 A, the procedure's own ceiling is 30 A" in said(
        [drain("30.1 A")], ceilings=AMPERES.format("30 A")
    )
    assert said([drain("30 A")], ceilings=AMPERES.format("30 A")) == ""
    assert "charges with 29.2 V, the procedure's own ceiling is 29 V" in said([charge()], ceilings=VOLTS.format("29 V"))
    alike = BOTH.replace("voltage: 45 V", "voltage: 29 V").replace("current: 60 A", "current: 30 A")
    assert "the procedure's own ceiling is 29 V" in said([charge()], bench=alike, ceilings=VOLTS.format("29 V"))
    assert "the procedure's own ceiling is 30 A" in said([drain("31 A")], bench=alike, ceilings=AMPERES.format("30 A"))


def test_a_mark_beyond_lifts_nothing_on_the_other_path():
    assert "sets 16 A, the pack sheet allows 12 A" in said([stairs(path="charge")], **DISCHARGE_CURRENT)
    assert "sets 50 A, the pack sheet allows 40 A" in said([stairs(last="50 A", path="discharge")], **CHARGE_CURRENT)


def test_only_a_full_charge_before_a_capacity_has_to_be_full():
    """A capacity counts from full (common practice, no source); nothing else does."""
    assert said([full("28.5 V", end="9 A")], **UNDER_VOLTAGE) == ""
    assert said([charge("28 V")], **UNDER_VOLTAGE, findings="[energy]") == ""


def test_the_highest_of_all_steps_counts():
    narrow = BOTH.replace("current: 20 A", "current: 10 A")
    assert "charges with 11 A" in said([charge(current="11 A"), charge(current="4 A")], bench=narrow)
    assert "charges with 11 A" in said([charge(current="4 A"), charge(current="11 A")], bench=narrow)


def test_what_a_look_drains_in_between_is_a_discharge_current():
    """``try`` on the path of a charge drains between its looks."""
    tried = "try: {path: charge, voltage: 29.2 V, current: 4 A, look: 5 s, pause: 60 s, floor: 26 V, give_up: 1 h, drain: %s}"
    assert said([tried % "40 A"], **OVER_VOLTAGE) == ""
    assert "the pack sheet allows 40 A" in said([tried % "41 A"], **OVER_VOLTAGE)
    assert "below the 20 V that the pack sheet allows" in said(
        [(tried % "4 A").replace("26 V", "19 V")], **OVER_VOLTAGE
    )
    weak = BOTH.replace("current: 60 A", "current: 3 A")
    assert "draws 4 A, but at most 3 A" in said([tried % "4 A"], bench=weak, **OVER_VOLTAGE)


# ---- the planner ---------------------------------------------------------------------------------------------------


def boxed(first, last, step):
    inner = f"substitute: {{from: {first}, to: {last}, step: {step}, dwell: 4 s, until: stopped}}"
    steps = f"[{{confirm: {{say: In., box: in}}}}, {{{CHARGE}}}, {{{inner}}}, {{confirm: {{say: Out., box: out}}}}]"
    text = procedure([f"repeat: {{each: sensor, steps: {steps}}}"], needs=BOXED)
    return load(user_file("own.yaml", text), read_file(DEMO_PACK), user_file("bench.yaml", BOTH)).program


@pytest.mark.parametrize(
    ("first", "last", "step", "levels"),
    [
        ("54 degC", "56 degC", "0.5 K", [54.0, 54.5, 55.0, 55.5, 56.0]),
        ("56 degC", "54 degC", "1 K", [56.0, 55.0, 54.0]),
        ("54 degC", "55.9 degC", "1 K", [54.0, 55.0]),
        ("54 degC", "54 degC", "1 K", [54.0]),
    ],
)
def test_a_staircase_goes_from_its_first_level_to_its_last_by_its_step(first, last, step, levels):
    program = boxed(first, last, step)
    stairs = [each for each in program.steps if each.kind == "substitute"]
    assert [[t for t, _ in each.levels] for each in stairs] == [pytest.approx(levels)] * 2
    ohms = [r for _, r in stairs[0].levels]
    assert ohms == sorted(ohms, reverse=levels[-1] > levels[0]), "a warmer sensor has less resistance"


def test_a_staircase_of_more_than_two_hundred_levels_is_refused():
    assert len([each for each in boxed("50 degC", "59.95 degC", "0.05 K").steps if each.levels][0].levels) == 200  # noqa: RUF015
    for step in ("0.05 K", "0 K"):
        with pytest.raises(SheetError, match="more than 200 levels"):
            boxed("50 degC", "60 degC", step)


def test_a_level_outside_of_the_sensors_table_is_refused_and_not_made_up():
    table = "curve: {table: [[0 degC, 27.28 kohm], [50 degC, 4.16 kohm]]}"
    pack = DEMO_PACK.read_text(encoding="utf-8").replace("curve: {resistance_at_25: 10 kohm, b: 3435 K}", table)
    assert table in pack
    box = "substitute: {from: 45 degC, to: %s, step: 1 K, dwell: 4 s, until: stopped}"
    loop = f"repeat: {{each: sensor, steps: [{{confirm: {{say: In., box: in}}}}, {{{CHARGE}}}, {{{box}}}]}}"
    assert "outside the sensor's table" not in said([loop % "50 degC"], needs=BOXED, pack=pack)
    assert "outside the sensor's table" in said([loop % "51 degC"], needs=BOXED, pack=pack)


def test_every_sensor_has_its_own_group_and_what_is_outside_has_none():
    program = boxed("54 degC", "55 degC", "1 K")
    assert [(each.sensor, each.group) for each in program.steps][::4] == [("T1", 1), ("T2", 2)]
    plain = load(user_file("own.yaml", procedure([charge()])), read_file(DEMO_PACK), user_file("b.yaml", BOTH)).program
    assert [each.group for each in plain.steps] == [0]


def test_turns_are_numbered_from_one_and_name_their_value():
    text = procedure(
        [
            f"repeat: {{each: pace, values: [1 K/min, 3 K/min], steps: [{{{CHARGE}}}, {{{HEAT.replace('2 K/min', 'pace')}}}]}}"
        ]
    )
    program = load(user_file("own.yaml", text), read_file(DEMO_PACK), user_file("b.yaml", BOTH)).program
    heats = [each for each in program.steps if each.kind == "heat"]
    assert [each.cycle for each in heats] == [1, 2]
    assert [each.values["rate"] * 60 for each in heats] == pytest.approx([1.0, 3.0])
    text = procedure(["repeat: {times: 3, steps: [off]}"])
    program = load(user_file("own.yaml", text), read_file(DEMO_PACK), user_file("b.yaml", BOTH)).program
    assert [each.cycle for each in program.steps] == [1, 2, 3]


def test_a_procedure_has_at_most_two_thousand_steps():
    most = "repeat: {times: 50, steps: [{repeat: {times: 40, steps: [off]}}]}"
    assert said([most]) == ""
    assert "more than 2000 steps" in said([most, "off"])


def test_a_value_that_comes_to_nothing_or_to_no_number_is_refused():
    assert "has no value on this pack" in said([charge(current="4 A / (delay / delay - 1)")])
    assert "must be greater than 0" in said([charge(current="0 A * delay / delay")])
    assert "must be greater than 0" in said([stairs(step="0 A * delay / delay")], **CHARGE_CURRENT)


def test_a_pack_is_not_woken_while_a_charge_is_left_on():
    """Found by a random procedure: an awake pack needs no waking, the charge stayed on, and the discharge after it could not begin."""
    wake = "wake: {voltage: full charge voltage, current: 0.05 C, for: 30 s, give_up: 5 min}"
    assert "wake comes while the charge is on" in said([CHARGE, wake])
    assert said([CHARGE, "off", wake]) == ""
