"""The order of a session at its bounds: windows of charge, what is put in, how long it takes, how it reads."""

import pytest

from runner.engine.schedule import Agenda, Item, propose
from runner.sheets.procedure import parse_procedure
from tests.builders import SHORT_PROCEDURE
from tests.engine.test_agenda import MOVERS, demo_pack, full_bench, names, procedures


def own(name, *more, needs="[supply, probe]"):
    head = "\n".join(more)
    text = SHORT_PROCEDURE.replace("name: short", f"name: {name}").replace("needs: [supply, probe]", f"needs: {needs}")
    return parse_procedure(text.replace("cautions:", f"{head}\ncautions:" if head else "cautions:"), name)


def window(name, low, high, *more):
    return own(name, f"state_of_charge: {{lowest: {low} %, highest: {high} %}}", *more)


def proposed(*wanted, charge=0.5, movers=MOVERS):
    return propose(wanted, movers, demo_pack(), full_bench(), charge)


@pytest.mark.parametrize(("charge", "fits"), [(0.3, True), (0.7, True), (0.29, False), (0.71, False)])
def test_a_window_holds_its_own_ends(charge, fits):
    agenda = proposed(window("a", 30, 70), charge=charge, movers={})
    assert (names(agenda) == ["a"]) is fits
    assert (agenda.left_out == ()) is fits


def test_a_pack_that_nobody_knows_is_taken_to_be_half_full():
    agenda = proposed(window("a", 50, 50), charge=None, movers={})
    assert names(agenda) == ["a"]
    assert agenda.items[0].why == "needs 50 to 50 % charge; assumed: 50 %, not measured"


def test_what_wants_more_is_charged_to_full_and_what_wants_less_is_emptied():
    assert names(proposed(window("a", 95, 100), charge=0.5)) == ["full-charge", "a"]
    order = names(proposed(window("a", 0, 5), charge=0.9))
    assert order == ["capacity", "a"]
    assert names(proposed(window("a", 40, 60), charge=0.1)) == ["partial-charge", "a"]


def test_what_is_put_in_is_marked_and_what_was_asked_for_is_not():
    agenda = proposed(window("a", 95, 100), charge=0.5)
    assert [item.added for item in agenda.items] == [True, False]
    lines = agenda.lines()
    assert lines[1].endswith("(added)")
    assert not lines[2].endswith("(added)")
    assert lines[1].startswith("   1 full-charge")
    assert lines[2].startswith("   2 a")


def test_a_full_pack_cannot_be_charged_further():
    agenda = proposed(window("a", 100, 100), charge=1.0, movers=MOVERS)
    assert names(agenda) == ["a"]


def test_a_procedure_that_says_no_time_is_taken_to_need_an_hour():
    """An hour: our own choice."""
    agenda = proposed(own("a"), own("b", "duration: 30 min"))
    assert agenda.seconds == 5400.0
    assert agenda.lines()[0] == "PLAN: 2 procedures, about 1 h 30 min"
    assert " 1 h " in agenda.lines()[1]


def test_what_is_left_out_is_read_with_its_reason():
    agenda = Agenda((), (("a", "no load"),))
    assert agenda.lines()[-1].strip() == f"– {'a':31} left out: no load"
    assert Item("a", "A", "why", 60.0).added is False


def test_looking_comes_before_switching_cold_before_hot_and_emptying_last():
    wanted = procedures("capacity", "charge-over-temperature", "charge-under-temperature", "over-voltage", "inspection")
    order = names(proposed(*wanted, charge=0.5))
    assert order[0] == "inspection"
    assert order.index("charge-under-temperature") < order.index("charge-over-temperature")
    assert order[-1] == "capacity"


def test_why_a_procedure_stands_where_it_stands_is_said():
    agenda = proposed(*procedures("inspection", "capacity"), own("a"), charge=1.0)
    why = {item.name: item.why for item in agenda.items}
    assert why["inspection"] == "at the start: no current"
    assert why["capacity"] == "at the end: empties the pack"
    assert why["a"] == "any state of charge"


def test_emptying_waits_for_what_wants_more():
    order = names(proposed(window("a", 95, 100), own("drains", "ends: empty"), charge=0.5))
    assert order == ["full-charge", "a", "drains"]
