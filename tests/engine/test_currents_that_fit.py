"""A procedure takes the largest current that sheet, supply, load and leads allow within its range, or is left out at planning."""

import pytest

from runner.engine.fitting.duration import seconds
from runner.errors import SheetError
from runner.workspace.job import DEMO_PACK, find_procedure, load, procedure_names, read_file
from runner.workspace.session import agenda_for
from tests.builders import user_file

PLACE = "address: 'TCPIP::127.0.0.1::1::SOCKET'"
LEADS = "leads: {resistance: 5 mohm, uncertainty: 1 mohm, current: 40 A}"
LARGE = (
    DEMO_PACK.read_text(encoding="utf-8")
    .replace("40 Ah", "100 Ah")
    .replace("38.8 Ah", "97 Ah")
    .replace("1024 Wh", "2560 Wh")
    .replace("960 Wh", "2400 Wh")
    .replace("maximum_charge_current: 12 A", "maximum_charge_current: 50 A")
    .replace("maximum_discharge_current: 40 A", "maximum_discharge_current: 100 A")
    .replace("trip: 15 A", "trip: 60 A")
    .replace("trip: 48 A", "trip: 120 A")
)


def bench(supply=18, load=60, leads="", volts=31):
    more = f", {leads}" if leads else ""
    return user_file(
        "bench.yaml",
        f"kind: bench\nname: mine\ninstruments:\n"
        f"  supply: {{{PLACE}, limits: {{voltage: {volts} V, current: {supply} A}}}}\n"
        f"  load: {{{PLACE}, limits: {{voltage: {volts} V, current: {load} A}}{more}}}\n"
        f"  meter: {{{PLACE}}}\n  probe: {{{PLACE}, accuracy: {{limit: 0.3 K}}, coupling: 0.2 K}}\n"
        "  box: {by_hand: true, accuracy: 0.1 %}\n",
    )


def pack(text=LARGE):
    return user_file("pack.yaml", text)


def program(name, text=LARGE, **limits):
    return load(find_procedure(name), pack(text), bench(**limits)).program


def currents(program):
    return [step.values["current"] for step in program.steps if "current" in step.values]


def test_a_supply_that_gives_less_than_is_asked_for_is_used_just_below_its_limit():
    found = program("full-charge")
    assert currents(found) == [17.1]  # 0.95 of 18 A; 0.25 C would be 25 A
    assert found.fitted == ("charge current 17.1 A instead of 25 A: supply limit 18 A",)
    assert any(found.fitted[0][1:] in line for line in found.prepare)


def test_what_takes_longer_is_given_longer_and_the_ceiling_of_the_time_with_it():
    whole, fitted = (program("partial-charge", supply=amperes) for amperes in (40, 18))
    charge = [next(step.values for step in each.steps if step.kind == "charge") for each in (whole, fitted)]
    assert [each["current"] * each["for"] for each in charge] == [25 * 7200.0, pytest.approx(25 * 7200.0)]
    assert fitted.ceilings.time - whole.ceilings.time == pytest.approx(
        sum(charge[1][name] - charge[0][name] for name in ("for", "give_up"))
    )


@pytest.mark.parametrize(
    ("old", "new", "limits", "current"),
    [
        ("maximum_charge_current: 50 A", "maximum_charge_current: 20 A", {"supply": 60}, 20.0),
        ("", "", {"load": 30}, 28.5),
        ("", "", {"leads": LEADS}, 38.0),
        ("maximum_discharge_current: 100 A", "maximum_discharge_current: 44 A", {}, 44.0),
        ("maximum_charge_current: 50 A", "maximum_charge_current: 20 A", {"supply": 20}, 19.0),  # below its own limit
        ("maximum_charge_current: 50 A", "maximum_charge_current: 19.9 A", {"supply": 20}, 19.0),
        ("maximum_discharge_current: 100 A", "maximum_discharge_current: 44 A", {"load": 44}, 41.8),
        ("maximum_discharge_current: 100 A\n", "", {"load": 45}, 42.7),  # 42.75, never rounded upwards
    ],
)
def test_the_smallest_of_what_allows_it_decides(old, new, limits, current):
    assert current in currents(program("capacity", LARGE.replace(old, new) if old else LARGE, **limits))


def test_a_sheet_whose_over_current_may_trip_below_its_maximum_stays_below_that():
    text = LARGE.replace("maximum_charge_current: 50 A", "maximum_charge_current: 24 A").replace(
        "trip: 60 A\n    tolerance: 1 A", "trip: 25 A\n    tolerance: 5 A"
    )
    assert 19.0 in currents(program("full-charge", text, supply=60))


def test_below_its_range_a_procedure_is_left_out_with_the_reason():
    agenda = agenda_for(["full-charge", "meters"], pack(), bench(supply=9))
    assert [item.name for item in agenda.items] == ["meters"]
    ((name, why),) = agenda.left_out
    assert name == "full-charge"
    assert why == "charge needs at least 10 A, but not more than 8.55 A fits (supply limit 9 A) (full-charge.yaml:50)"


def test_a_load_that_the_pack_would_destroy_is_left_out():
    agenda = agenda_for(["meters"], pack(), bench(volts=25))
    assert not agenda.items
    assert "the load takes 25 V at most, the pack has up to 29.2 V (pack.yaml:" in agenda.left_out[0][1]


@pytest.mark.parametrize("supply", [5, 12, 18, 70])
@pytest.mark.parametrize("load_limit", [3, 30, 150])
@pytest.mark.parametrize("without", ["", "    sensors: all\n", "    release: 45 degC\n", "curve"])
def test_what_the_plan_accepts_the_run_does_not_refuse(supply, load_limit, without):
    text = (
        LARGE.replace(without, "")
        if without != "curve"
        else LARGE.replace(", curve: {resistance_at_25: 10 kohm, b: 3435 K}", "")
    )
    sheet, place = pack(text), bench(supply, load_limit)
    agenda = agenda_for([], sheet, place)
    assert {item.name for item in agenda.items} | {name for name, _ in agenda.left_out} >= set(procedure_names()) - {
        "full-charge",
        "partial-charge",
    }
    for item in agenda.items:
        assert load(find_procedure(item.source), sheet, place).program.steps


def test_a_procedure_without_a_range_is_refused_with_its_line():
    text = find_procedure("full-charge").text.replace("      at_least: 0.1 C\n", "")
    with pytest.raises(SheetError, match="charges with 25 A, but at most 18 A is allowed"):
        load(user_file("own.yaml", text), pack(), bench())


def test_nothing_changes_where_everything_fits():
    demo = read_file(DEMO_PACK)
    for name in procedure_names():
        assert not load(find_procedure(name), demo, bench()).program.fitted


def test_an_inspection_takes_minutes():
    """Six things and two at each sensor: eight or ten looks, none of which takes as long as all of them."""
    assert 60 < seconds(program("inspection", LARGE), 0.5) < 30 * 60


def test_times_follow_from_sensors_capacity_and_current():
    slow, fast = (seconds(program("full-charge", supply=amperes), 0.5) for amperes in (18, 40))
    # half of 100 Ah at 17.1 A and at 25 A; the taper is the same
    assert slow - fast == pytest.approx(50 * 3600 * (1 / 17.1 - 1 / 25))
    two = LARGE
    one = LARGE.replace("sensors: all", "sensors: [T1]")
    times = [seconds(program("charge-over-temperature", each), 0.5) for each in (one, two)]
    assert 1.6 < times[1] / times[0] < 2.0


def test_a_current_that_its_reading_cannot_tell_from_none_is_left_out():
    text = bench().text.replace("current: 18 A}}", "current: 18 A}, current_accuracy: {offset: 1 A}}", 1)
    agenda = agenda_for(["charge-over-temperature", "capacity"], read_file(DEMO_PACK), user_file("bench.yaml", text))
    assert [name for name, _ in agenda.left_out] == ["capacity"]
    assert "sets 2 A, the supply cannot tell 3 A from none" in agenda.left_out[0][1]
