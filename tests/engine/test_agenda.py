"""The order of a session: what it needs, what it leaves, what it leaves out and why."""

import pytest

from runner.engine.schedule import propose
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.sheets.procedure import parse_procedure
from runner.workspace.job import find_procedure, procedure_names
from tests.builders import BENCH, PACK


def procedures(*names):
    return [parse_procedure(find_procedure(name).text, name) for name in names]


MOVERS = {each.name: each for each in procedures("full-charge", "partial-charge", "capacity")}
EVERYTHING = [each for each in procedures(*procedure_names()) if each.name not in ("full-charge", "partial-charge")]


def demo_pack():
    from runner.workspace.job import DEMO_PACK, read_file

    return parse_pack(read_file(DEMO_PACK).text, "pack")


def full_bench(without=()):
    roles = {
        "load": "  load: {address: 'TCPIP::127.0.0.1::1::SOCKET', limits: {voltage: 31 V, current: 60 A}}\n",
        "meter": "  meter: {address: 'TCPIP::127.0.0.1::1::SOCKET'}\n",
        "box": "  box: {by_hand: true, accuracy: 0.1 %}\n",
        "display": "  display: {by_hand: true}\n",
    }
    return parse_bench(
        BENCH.format(port=1) + "".join(text for role, text in roles.items() if role not in without), "bench"
    )


def names(agenda):
    return [item.name for item in agenda.items]


@pytest.mark.parametrize("charge", [0.0, 0.15, 0.5, 0.75, 0.9, 1.0, None])
def test_every_procedure_is_in_the_order_once_and_where_its_state_of_charge_is(charge):
    agenda = propose(EVERYTHING, MOVERS, demo_pack(), full_bench(), charge)
    asked = [name for name, item in zip(names(agenda), agenda.items, strict=True) if not item.added]
    assert sorted([*asked, *(name for name, _ in agenda.left_out)]) == sorted(each.name for each in EVERYTHING)
    assert agenda.left_out == ()
    now = 0.5 if charge is None else charge
    for item in agenda.items:
        procedure = next(each for each in [*EVERYTHING, *MOVERS.values()] if each.name == item.name)
        window = procedure.state_of_charge
        assert window is None or window.lowest <= now <= window.highest, (item.name, now)
        now = {"full": 1.0, "half": 0.5, "empty": 0.0}.get(procedure.ends, now)


def test_looking_comes_first_and_emptying_last():
    order = names(propose(EVERYTHING, MOVERS, demo_pack(), full_bench(), 0.5))
    assert order[:2] == ["arrival", "inspection"]
    assert order[-2:] == ["capacity", "under-voltage"]
    assert order.index("over-voltage") < order.index("capacity")
    assert order.index("charge-over-temperature-box") < order.index("charge-over-temperature")


def test_what_a_missing_instrument_excludes_is_named():
    left_out = dict(propose(EVERYTHING, MOVERS, demo_pack(), full_bench(("load", "meter")), 0.5).left_out)
    assert left_out["capacity"] == "the bench has no load"
    assert left_out["meters"] == "the bench has no load and no voltmeter (meter)"
    assert "charge-over-temperature" not in left_out


def test_what_the_pack_sheet_does_not_declare_is_named():
    pack = parse_pack(PACK, "pack")
    left_out = dict(propose(EVERYTHING, MOVERS, pack, full_bench(), 0.5).left_out)
    assert left_out["over-voltage"] == "the pack sheet declares no over-voltage"
    assert left_out["charge-over-temperature-box"] == "the pack sheet gives no curve of T1"


def test_a_pack_that_cannot_be_brought_to_where_a_procedure_fits_says_so():
    (thermal,) = procedures("charge-over-temperature")
    agenda = propose([thermal], {}, demo_pack(), full_bench(), 0.95)
    assert agenda.items == ()
    assert "no procedure can bring the pack from about 95 %" in agenda.left_out[0][1]


def test_a_second_full_discharge_is_never_put_in_unasked():
    order = names(propose(EVERYTHING, MOVERS, demo_pack(), full_bench(), 0.5))
    assert order.count("capacity") == 1
