"""What a program needs and no file says: the smallest current, where a run goes on after a break, when a pack may be empty."""

import re

import pytest

from runner.workspace.job import DEMO_PACK, find_procedure, load, read_file
from tests.builders import BENCH, PACK, user_file
from tests.sheets.test_planned_paths import BOTH, CHARGE, DRAIN, HEAT, procedure

ACCURATE = (
    "\n    voltage_accuracy: {gain: 0.1 %, offset: 20 mV, resolution: 10 mV}"
    "\n    current_accuracy: {gain: 0.2 %, offset: 10 mA, resolution: 1 mA}"
)


def bench(accuracy=True):
    """The bench of both paths, its load with known errors."""
    text = BOTH.replace(
        "  load: {address: 'TCPIP::127.0.0.1::1::SOCKET', limits: {voltage: 31 V, current: 60 A}}",
        "  load:\n    address: 'TCPIP::127.0.0.1::1::SOCKET'\n    limits: {voltage: 31 V, current: 60 A}"
        + (ACCURATE if accuracy else ""),
    )
    assert "load:\n" in text
    return text


def without_probe():
    """The same without a thermometer."""
    probe = next(part for part in re.split(r"(?m)^(?=  \w)", bench()) if part.startswith("  probe:"))
    return bench().replace(probe, "")


def program(text, pack=None, bench_text=None):
    sheet = read_file(DEMO_PACK) if pack is None else user_file("pack.yaml", pack)
    return load(user_file("own.yaml", text), sheet, user_file("bench.yaml", bench_text or bench())).program


def test_three_times_offset_and_resolution_can_be_told_from_no_current():
    """Three times: our own choice."""
    found = program(procedure([DRAIN], "under-voltage"))
    assert found.smallest_current["discharge"] == pytest.approx(3 * 0.011)
    assert set(found.smallest_current) == {"charge", "discharge"}


def test_the_voltmeter_is_three_times_as_wrong_as_it_may_be_at_the_trip():
    found = program(procedure([DRAIN], "under-voltage"))
    assert found.voltage_error == pytest.approx(3 * (0.020 + 0.010 + 0.001 * 20.4))
    thermal = load(
        *(find_procedure("charge-over-temperature"), read_file(DEMO_PACK), user_file("b", BENCH.format(port=1)))
    )
    assert thermal.program.voltage_error == 0.0, "no load"


def test_a_pack_may_be_empty_at_the_upper_limit_of_its_under_voltage():
    assert program(procedure([DRAIN], "discharge over-temperature")).empty_at == pytest.approx(20.9)
    assert program(procedure([DRAIN], "under-voltage")).empty_at == 0.0, "there it is what is tested"
    loose = DEMO_PACK.read_text(encoding="utf-8").replace("trip: 20.4 V\n    tolerance: 0.5 V", "trip: 20.4 V")
    assert program(procedure([DRAIN], "discharge over-temperature"), loose).empty_at == 20.4
    none = PACK + "maximum_discharge_current: 40 A\n"
    assert program(procedure([DRAIN]), none).empty_at == 20.0, "the cut-off voltage"


def test_the_thermometers_last_digit_is_a_tenth_where_nobody_says():
    assert program(procedure([CHARGE])).probe_resolution == 0.01
    silent = bench().replace("{expanded_uncertainty: 0.2 K, resolution: 0.01 K}", "{expanded_uncertainty: 0.2 K}")
    assert program(procedure([CHARGE]), bench_text=silent).probe_resolution == 0.1


def test_a_temperature_has_a_ceiling_only_where_a_thermometer_is_on_the_bench():
    """Without one it would be blind from the first reading on, and end every run."""
    text = procedure([CHARGE], "over-voltage", needs="[supply]")
    assert program(text).ceilings.temperature == 70.0
    assert program(text, bench_text=without_probe()).ceilings.temperature is None


def test_a_temperature_that_nobody_reads_is_not_waited_for_and_a_time_is():
    waits = ["wait: {below: 30 degC, give_up: 1 h}", "wait: {for: 10 s}"]
    text = procedure(waits, "over-voltage", needs="[supply]")
    for bench_text, values in ((bench(), ["below", "for"]), (without_probe(), ["for"])):
        steps = program(text, bench_text=bench_text).steps
        assert [next(iter(step.values)) for step in steps] == values


def restarts(steps, protection="charge over-temperature"):
    return [step.restart for step in program(procedure(steps, protection)).steps]


def test_a_run_goes_on_with_the_beginning_of_its_sensors_steps():
    loop = f"repeat: {{each: sensor, steps: [{{{CHARGE}}}, {{{HEAT}}}, off]}}"
    assert restarts(["off", loop, "off"]) == [0, 1, 1, 1, 4, 4, 4, 7]


def test_what_goes_on_with_what_is_on_begins_where_that_was_switched_on():
    assert restarts([CHARGE, HEAT, "off"]) == [0, 0, 2]
    assert restarts([CHARGE, "wait: {for: 10 s}", "wait: {for: 10 s}", "rest: {for: 5 min}"]) == [0, 0, 0, 3]
    assert restarts(["wait: {for: 10 s}", CHARGE]) == [0, 1]


def test_a_look_after_a_trip_by_current_belongs_to_it():
    stairs = "stage: {path: discharge, floor: 20 V, from: 40 A, to: 52 A, step: 1 A, dwell: 5 s, beyond: current}"
    look = "try: {path: discharge, floor: 20 V, current: 4 A, look: 5 s, pause: 10 s, give_up: 10 min}"
    assert restarts([stairs, look], "discharge over-current") == [0, 0]
    assert restarts(["off", look], "discharge over-current") == [0, 1]


def test_what_a_person_switches_draws_what_the_bench_file_says():
    text = BOTH.replace(
        "load: {address: 'TCPIP::127.0.0.1::1::SOCKET', limits: {voltage: 31 V, current: 60 A}}",
        "load: {by_hand: true, draws: 9 A, limits: {voltage: 31 V, current: 60 A}}",
    )
    by_hand = "drain: {current: 4 A, until: stopped, floor: 16 V, give_up: 9 h}"
    steps = program(procedure([CHARGE, "off", by_hand], "under-voltage"), bench_text=text).steps
    assert [step.values.get("current") for step in steps] == [4.0, None, 9.0]


TITLES = [
    (CHARGE, "Charge with 4 A"),
    (
        "charge: {voltage: 29.2 V, current: 4 A, until: full, end_current: 1 A, give_up: 9 h}",
        "Charge with 4 A until full",
    ),
    (DRAIN, "Discharge with 4 A"),
    ("wait: {for: 10 min}", "Wait 10 min"),
    ("wait: {below: 30 degC, give_up: 1 h}", "Wait until the probe is below 30.0 °C"),
    ("wait: {above: 30 degC, give_up: 1 h}", "Wait until the probe is above 30.0 °C"),
    ("rest: {for: 5 min}", "Rest 5 min"),
    ("off", "Switch everything off"),
    ("inspect: {say: Look., items: [case, seal]}", "Inspect: 2 items"),
    (HEAT, "Heat at 2 K/min"),
]


@pytest.mark.parametrize(("step", "title"), TITLES)
def test_a_step_is_called_by_what_it_does(step, title):
    steps = [CHARGE, step] if step == HEAT else [step]
    assert program(procedure(steps)).steps[-1].title == title


def test_a_text_names_sensor_place_and_values_and_what_is_not_declared():
    text = procedure(
        ["repeat: {each: sensor, steps: [{confirm: {say: 'At {sensor}, {place}: {trip}, {minimum_capacity}.'}}]}"]
    )
    says = [step.say for step in program(text).steps]
    assert says[0] == "At T1, between cells 2 and 3: 55.0 °C, 38.8 Ah."
    none = program(text, PACK.replace("charge_current: 20 A", "charge_current: 20 A\nmaximum_discharge_current: 40 A"))
    assert none.steps[0].say == "At T1, cell 2: 55.0 °C, (no minimum capacity declared)."
