"""One path is on at a time, and what is provoked is looked for on the path of its protection: refused with its line."""

import pytest

from runner.errors import SheetError
from runner.sheets.answers import parse_answers
from runner.sheets.pack import parse_pack
from runner.sheets.procedure import parse_procedure
from runner.workspace.job import DEMO_PACK, UserFile, load, read_file
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, user_file

BOTH = (
    BENCH.format(port=1).replace("voltage: 30 V", "voltage: 45 V").replace("current: 10 A", "current: 20 A")
    + "  load: {address: 'TCPIP::127.0.0.1::1::SOCKET', limits: {voltage: 31 V, current: 60 A}}\n"
    + "  meter: {address: 'TCPIP::127.0.0.1::1::SOCKET'}\n  box: {by_hand: true, accuracy: 0.1 %}\n"
)
CHARGE = "charge: {voltage: full charge voltage, current: 0.1 C, until: steady, steady: 10 s}"
DRAIN = "drain: {current: 0.1 C, until: steady, steady: 10 s, floor: cut-off voltage + 1 V}"


def procedure(steps, protection="charge over-temperature", needs="[supply, load, probe]", findings="[]"):
    lines = "\n".join(f"  - {step}" for step in steps)
    return f"""\
kind: procedure
name: own
title: own
purpose: to be checked
protection: {protection}
needs: {needs}
cautions: [Be careful.]
ceilings: {{temperature: 70 degC, voltage: full charge voltage + 0.4 V, current: 60 A, time: 2 h}}
steps:
{lines}
findings: {findings}
"""


def refused(text, pack=None):
    with pytest.raises(SheetError) as caught:
        load(user_file("own.yaml", text), pack or read_file(DEMO_PACK), user_file("bench.yaml", BOTH))
    return caught.value.problems


HEAT = "heat: {say: Heat., rate: 2 K/min, approach: trip - 5 K, give_up: trip + 8 K}"
BOX = "substitute: {from: trip - 3 K, to: trip + 3 K, step: 0.5 K, dwell: 4 s, until: stopped}"
BOXED = "[supply, box, probe]"
STAGE = "stage: {path: discharge, floor: 20 V, from: 5 A, to: 20 A, step: 5 A, dwell: 5 s}"

REFUSED = [
    ("beyond full before the cells were compared",
     ["charge: {voltage: 30.5 V, current: 2 A, until: stopped, give_up: 2 h, beyond: voltage}"], {"protection": "over-voltage"}, 10,
     "the cells have not been compared before it"),
    ("both on", [CHARGE, DRAIN], {}, 11, "drain switches the discharge on while the charge is still on"),
    ("both on, the other way", [DRAIN, CHARGE], {}, 11, "charge switches the charge on while the discharge is still on"),
    ("heated on the wrong path", [DRAIN, HEAT], {}, 11, "opens the path of the charge"),
    ("staged on the wrong path", [STAGE], {"protection": "charge over-current"}, 10, "opens that of the charge"),
    ("beyond without waiting for the protection",
     ["charge: {voltage: 30.5 V, current: 2 A, until: time, for: 10 min, beyond: voltage}"], {"protection": "over-voltage"}, 10,
     "a step that goes on until time"),
    ("a current that the pack sheet does not allow",
     ["drain: {current: 46 A, until: time, for: 10 s, floor: 21 V}"], {"protection": "discharge over-temperature"}, 10,
     "the pack sheet allows 40 A"),
    ("a box that is never plugged in", [f"repeat: {{each: sensor, steps: [{{{CHARGE}}}, {{{BOX}}}]}}"], {"needs": BOXED}, 10,
     "the decade box is not in the place of T1"),
    ("a box that is plugged in once", ["confirm: {say: In., box: in}", f"repeat: {{each: sensor, steps: [{{{CHARGE}}}, {{{BOX}}}]}}"],
     {"needs": BOXED}, 11, "the decade box is not in the place of T1"),
    ("a box that is left", [f"repeat: {{each: sensor, steps: [{{confirm: {{say: In., box: in}}}}, {{{CHARGE}}}, {{{BOX}}}]}}"],
     {"needs": BOXED}, 10, "the decade box is left in the place of T2"),
    ("heat with the box in", [f"repeat: {{each: sensor, steps: [{{confirm: {{say: In., box: in}}}}, {{{CHARGE}}}, {{{HEAT}}}, "
                              "{confirm: {say: Out., box: out}}]}"], {"needs": BOXED}, 10, "the sensor is unplugged then"),
    ("heat of no sensor", [CHARGE, HEAT], {"findings": "[trip]"}, 11, "heat has no sensor"),
    ("heat beyond the ceiling", [CHARGE, HEAT.replace("trip + 8 K", "75 degC")], {}, 11, "but the procedure's ceiling is 70 °C"),
    ("a wait beyond the ceiling", ["wait: {above: 80 degC, give_up: 1 h}"], {}, 10, "but the procedure's ceiling is 70 °C"),
    ("drained below the cut-off", ["drain: {current: 10 A, until: time, for: 10 s, floor: 17 V}"], {}, 10, "below the 20 V that the pack sheet allows"),
    ("too long at too much", ["stage: {path: charge, voltage: full charge voltage, from: 10 A, to: 16 A, step: 1 A, dwell: 60 min, "
                              "beyond: current}"], {"protection": "charge over-current"}, 10, "last at most 120 s"),
    ("levels beyond that are not ended by the trip",
     ["stage: {path: charge, voltage: full charge voltage, from: 10 A, to: 16 A, step: 1 A, dwell: 5 s, until: done, "
      "beyond: current}"], {"protection": "charge over-current"}, 10, "must stop at a trip"),
    ("a capacity from half", ["charge: {voltage: 26.6 V, current: 4 A, until: full, end_current: 1 A, give_up: 9 h}"],
     {"protection": "under-voltage", "findings": "[capacity]"}, 10, "must charge to the full charge voltage of 29.2 V"),
    ("a capacity from no taper",
     ["charge: {voltage: full charge voltage, current: 10 A, until: full, end_current: 9 A, give_up: 9 h}"],
     {"protection": "under-voltage", "findings": "[capacity]"}, 10, "end_current 9 A is too high"),
    ("nothing to do", ["repeat: {each: sensor, steps: [off]}"], {"protection": "under-voltage"}, 9, "no step of this procedure applies"),
    ("repeats without an end", ["repeat: {times: 50, steps: [{repeat: {times: 50, steps: [{repeat: {times: 50, steps: "
                                "[{repeat: {each: sensor, steps: [off]}}]}}]}}]}"], {"protection": "under-voltage"}, 10,
     "more than 2000 steps"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("steps", "more", "line", "part"), [each[1:] for each in REFUSED], ids=[each[0] for each in REFUSED]
)
def test_what_cannot_be_meant_is_refused_with_its_line(steps, more, line, part):
    said = [each for each in refused(procedure(steps, **more)) if part in each.what]
    assert said
    assert said[0].line == line


def test_of_two_limits_of_a_current_the_lower_one_is_named():
    """The demo pack allows 40 A and may trip from 45 A; with 46 A allowed, the trip comes first."""
    pack = read_file(DEMO_PACK)
    more = UserFile(pack.name, pack.text.replace("maximum_discharge_current: 40 A", "maximum_discharge_current: 46 A"))
    text = procedure(
        ["drain: {current: 70 A, until: time, for: 10 s, floor: 21 V}"], protection="discharge over-temperature"
    )
    allowed = [each.what for each in refused(text) if "sets 70 A" in each.what]
    trips = [each.what for each in refused(text, more) if "sets 70 A" in each.what]
    assert len(allowed) == len(trips) == 1
    assert "the pack sheet allows 40 A" in allowed[0]
    assert "the pack's own discharge over-current may trip" in trips[0]


def test_a_test_of_a_temperature_waits_the_right_way():
    text = SHORT_PROCEDURE.replace("over-temperature", "under-temperature")
    said = [each.remedy for each in refused(text, user_file("p", PACK.replace("over-temperature", "under-temperature").replace("release: 45", "release: 60")))]  # fmt: skip
    assert "write until: returned" in said
    assert "write until: stopped" in said


PARSED = [
    ("needs: [supply, probe]", "needs: [load, probe]", "needs has no supply, which charge uses"),
    ("needs: [supply, probe]", "needs: [supply]", "needs has no probe"),
    ("say: Ready?", 'say: "{trip:.1f}"', "a brace holds more than a name"),
    ("say: Ready?", 'say: "{sensor:>99999999999}"', "a brace holds more than a name"),
    ("[Be careful.]", '["Up to {x}."]', "{x} is not a known name"),
    ("time: 2 h", f"time: {'(' * 4000}2 h{')' * 4000}", "is longer than 200 characters"),
    ("time: 2 h", f"time: {'-' * 4000}2 h", "is longer than 200 characters"),
    ("cautions:", "state_of_charge: {lowest: 80 %, highest: 20 %}\ncautions:", "lowest is more than highest"),
    ("  - confirm: {say: Ready?}\n", "  - confirm: {say: Ready?}\n  - wait: {above: 99 degC, give_up: 2 h}\n", ""),
]


@pytest.mark.parametrize(("old", "new", "part"), PARSED)
def test_a_procedure_that_could_not_run_is_wrong_as_it_is_read(old, new, part):
    text = SHORT_PROCEDURE.replace(old, new, 1)
    if not part:  # heat without a thermometer in the hall's corner
        text, part = text.replace("needs: [supply, probe]", "needs: [supply]"), "needs has no probe"
    with pytest.raises(SheetError) as caught:
        parse_procedure(text, "p")
    assert any(part in each.what for each in caught.value.problems), caught.value.problems
    assert all(each.line > 1 for each in caught.value.problems)


def test_an_old_procedure_of_that_kind_is_still_read():
    text = SHORT_PROCEDURE.replace("needs: [supply, probe]", "needs: [probe]").replace(
        "say: Ready?", 'say: "At {trip:.1f}?"'
    )
    assert parse_procedure(text, "p", as_it_was=True).needs == ("probe",)


def test_a_current_protection_that_trips_below_the_maximum_current_is_a_contradiction():
    text = DEMO_PACK.read_text(encoding="utf-8").replace("trip: 15 A", "trip: 3.5 A")
    with pytest.raises(SheetError, match=r"trips at 3\.5 A; it must be above the maximum current of 12 A"):
        parse_pack(text, "p")


@pytest.mark.parametrize("cells", [7, 10])
def test_cells_of_another_chemistry_are_counted_against_the_nominal_voltage(cells):
    cell = "chemistry: other\ncell: {never_below: 1.5 V, nominal: 3.2 V, never_above: 3.9 V}"
    text = PACK.replace("chemistry: LFP", cell).replace("cells_in_series: 8", f"cells_in_series: {cells}")
    with pytest.raises(SheetError, match="V per cell"):
        parse_pack(text, "p")


def test_an_empty_reason_to_agree_is_none():
    with pytest.raises(SheetError, match="agree is empty"):
        parse_answers('kind: answers\nagree: "  "\n', "a")


@pytest.mark.parametrize("unit", ["degF", "°F"])
def test_degrees_of_another_scale_are_refused_and_not_converted_as_differences(unit):
    """Seen: a tolerance of 2 degF was taken as ±512 K, and everything passed."""
    with pytest.raises(SheetError, match="write degC for a temperature and K for a difference"):
        parse_pack(PACK.replace("tolerance: 2 K", f"tolerance: 2 {unit}"), "p")


def test_a_sensor_that_is_named_twice_and_a_cold_limit_above_the_hot_one_are_wrong():
    with pytest.raises(SheetError, match="T1 is named twice"):
        parse_pack(PACK.replace("sensors: all", "sensors: [T1, T1]"), "p")
    text = DEMO_PACK.read_text(encoding="utf-8")
    cold = text.replace("trip: 0 degC", "trip: 60 degC", 1).replace("release: 5 degC", "release: 65 degC", 1)
    assert cold != text
    with pytest.raises(SheetError, match="charge under-temperature trips at 60 °C, charge over-temperature at 55 °C"):
        parse_pack(cold, "p")


def test_a_loop_may_be_called_anything():
    text = SHORT_PROCEDURE.replace("rate: 3 K/min", "rate: Rate", 1).replace("      each: sensor\n      steps:\n", (
        "      each: sensor\n      steps:\n       - repeat:\n          each: Rate\n          values: [3 K/min]\n          steps:\n"
    )).replace("        - charge", "            - charge").replace("        - heat", "            - heat").replace("        - cool", "            - cool").replace("        - off", "            - off")  # fmt: skip
    assert load(user_file("s", text), user_file("k", PACK), user_file("b", BOTH)).program.steps


def test_a_ceiling_of_the_procedure_that_is_too_low_is_the_procedures():
    text = SHORT_PROCEDURE.replace("voltage: full charge voltage + 0.4 V", "voltage: 28 V")
    (problem,) = refused(text, user_file("k", PACK))
    assert problem.file == "own.yaml"
    assert "the procedure's own ceiling is 28 V" in problem.what
