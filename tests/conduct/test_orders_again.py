"""An order whose connection failed is tried again, unless another has taken its place meanwhile."""

from collections import deque
from types import SimpleNamespace

import pytest

from runner.bench.actuator import Actuator
from runner.bench.probe import Probe
from runner.conduct.loop import Loop, _replaces
from runner.engine.states import State
from runner.errors import LinkError
from runner.orders import Guide, LoadOn, SetLimits, SetLoad, SetSupply, SwitchOff, SwitchOn
from tests.builders import short_rehearsal

HEAT, STILL = Guide("heat", "T1", 0.05, ""), Guide("still", "T1", 0.0, "")
ELSEWHERE = Guide("heat", "T2", 0.05, "")


@pytest.mark.parametrize(
    ("order", "waiting", "replaced"),
    [
        (STILL, HEAT, True),
        (SetSupply(29.2, 2.0), SetSupply(29.2, 9.0), True),
        (SetSupply(29.2, 2.0), HEAT, False),
        (SwitchOff(), SwitchOn(), True),
        (SwitchOff(), SetSupply(29.2, 9.0), True),
        (SwitchOff(), SetLimits(30.0, 9.0), True),
        (SwitchOff(), SetLoad(9.0), True),
        (SwitchOff(), LoadOn(), True),
        (SwitchOff(), STILL, False),
        (SwitchOff(everything=True), HEAT, True),
        (ELSEWHERE, STILL, False),
        (ELSEWHERE, HEAT, False),
    ],
)
def test_what_is_out_of_date_is_not_tried_again(order, waiting, replaced):
    assert _replaces(order, waiting) is replaced


def test_heat_that_could_not_be_switched_on_stays_off_once_it_is_to_be_taken_away(tmp_path, monkeypatch):
    """The actuator does not answer as the slow ramp begins; the thermometer falls silent, and nobody is to heat meanwhile."""
    real_guide, real_read = Actuator.guide, Probe.read
    tried, silent = [], []

    def guide(self, action, sensor, rate):
        tried.append(action)
        if action == "heat" and rate == pytest.approx(0.05) and "still" not in tried:
            silent.append(8)
            raise LinkError.timed_out("actuator", "TEMP:SPO 90", 0.5)
        return real_guide(self, action, sensor, rate)

    def read(self):
        if silent and silent[0]:
            silent[0] -= 1
            raise LinkError.timed_out("probe", "MEAS:TEMP?", 0.5)
        return real_read(self)

    monkeypatch.setattr(Actuator, "guide", guide)
    monkeypatch.setattr(Probe, "read", read)
    run = short_rehearsal(tmp_path, actuator=True)
    assert not run.result.outcome.early, run.result.outcome.reason
    gone = tried.index("still")
    assert tried.count("heat") > 2, "it was tried again"
    assert tried[gone + 1] == "cool", "the sensor is brought back"


def test_a_place_that_did_not_take_still_is_left_before_another_is_heated():
    """The actuator does not answer as T1 is to be left; T2 is not heated before it has."""
    done, silent = [], [3]

    def carry_out(order):
        silent[0] -= 1
        if silent[0] >= 0:
            raise LinkError.timed_out("actuator", "OUTP OFF", 0.5)
        done.append((order.action, order.sensor))

    ignored = SimpleNamespace(told=lambda *_: None)
    loop = Loop.__new__(Loop)
    loop._again, loop._happened = deque(), deque()
    loop._carrying = SimpleNamespace(carry_out=carry_out)
    loop.clock, loop.start = SimpleNamespace(now=lambda: clock[0]), 0.0
    loop.run = SimpleNamespace(state=State.WATCHING)
    loop.aside = loop.operator = ignored
    loop.sampler = SimpleNamespace(ordered=lambda: None)
    clock = [0.0]
    loop._do(STILL)
    loop._do(ELSEWHERE)
    assert done == []
    for clock[0] in (1.1, 2.2, 3.3, 4.4):
        loop._retry()
    assert done == [("still", "T1"), ("heat", "T2")]
