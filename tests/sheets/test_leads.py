"""What lies between an instrument and the pack: measured, sensed at the pack, or not said."""

import pytest

from runner.errors import SheetError
from runner.evaluation.specification import declare
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.sheets.procedure import parse_procedure
from runner.vocabulary import Role
from tests.builders import BENCH, PACK, SHORT_PROCEDURE

LOAD = """\
  load:
    address: TCPIP::127.0.0.1::2::SOCKET
    limits: {voltage: 30 V, current: 20 A}
"""
COUNTER = """\
  counter:
    by_hand: true
"""


def leads(*lines, to_counter=""):
    """The leads of a bench file in which these lines stand at the load."""
    text = BENCH.format(port=1) + LOAD + "".join(f"    {line}\n" for line in lines) + COUNTER + to_counter
    bench, pack = parse_bench(text, "bench.yaml"), parse_pack(PACK, "pack.yaml")
    return declare(parse_procedure(SHORT_PROCEDURE, "short.yaml"), pack, bench, ("T1",)).leads


def test_leads_are_as_they_are_said_and_unknown_where_nothing_is():
    assert leads() == {}
    assert leads("leads: {resistance: 12 mohm, uncertainty: 1 mohm}") == {"discharge": (0.012, 0.001)}
    assert leads("sense: remote") == {"discharge": (0.0, 0.0)}
    assert leads("sense: local") == {}
    counter = leads(to_counter="    leads: {resistance: 5 mohm, uncertainty: 2 mohm}\n")
    assert counter == {Role.COUNTER: (0.005, 0.002)}


@pytest.mark.parametrize(
    ("lines", "part"),
    [
        (["sense: remote", "leads: {resistance: 12 mohm, uncertainty: 1 mohm}"], "sensed at the pack"),
        (["sense: maybe"], "write one of them"),
    ],
)
def test_leads_and_sense_leads_exclude_each_other(lines, part):
    with pytest.raises(SheetError) as caught:
        leads(*lines)
    (problem,) = caught.value.problems
    assert part in f"{problem}"
    assert problem.line >= 10
