"""The line of ceilings: an alarm that is always on is not read."""

import pytest

from runner.engine.ceilings import Ceilings, Headroom
from runner.engine.program import CeilingValues
from runner.events import CHARGE, SUPPLY_VOLTAGE, Sampled
from runner.screen.widgets.headroom import is_near


@pytest.mark.parametrize(
    ("value", "wanted", "near"),
    [(29.2, 29.2, False), (29.45, 29.2, True), (29.2, None, True), (28.0, None, False), (None, 29.2, False)],
)
def test_what_the_supply_holds_on_purpose_is_no_alarm(value, wanted, near):
    assert is_near(Headroom("voltage", value, 29.6, "V", wanted)) is near


def test_the_ceilings_say_what_was_set():
    ceilings = Ceilings(CeilingValues(None, 29.6, 6.0, 3600.0))
    ceilings.armed(0.0, CHARGE)
    ceilings.set_to(29.2)
    ceilings.passed(Sampled(1.0, {SUPPLY_VOLTAGE: 29.2}))
    voltage = next(each for each in ceilings.headroom() if each.name == "voltage")
    assert (voltage.value, voltage.wanted) == (29.2, 29.2)
