"""An order whose connection failed is tried again, unless another has taken its place meanwhile."""

import pytest

from runner.bench.actuator import Actuator
from runner.bench.probe import Probe
from runner.conduct.loop import _replaces
from runner.errors import LinkError
from runner.orders import Guide, LoadOn, SetLimits, SetLoad, SetSupply, SwitchOff, SwitchOn
from tests.builders import short_rehearsal

HEAT, STILL = Guide("heat", "T1", 0.05, ""), Guide("still", "T1", 0.0, "")


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
