"""A person rehearses by hand: they read what the simulated displays show, and what they say they did is done at the bench."""

import re

import pytest

from runner.conduct.answer_parsing import understood
from runner.conduct.clock import VirtualClock
from runner.conduct.execute import execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.site import Site
from runner.events import METER_VOLTAGE, PROBE_TEMPERATURE, Answered
from runner.orders import Ask, Withdraw
from runner.rehearsal.displays import AtSimulatedDisplays
from runner.rehearsal.simulated_bench import Rehearsal
from runner.vocabulary import Wants
from runner.workspace.job import DEMO_PACK, find_procedure, read_file

BY_HAND = ("probe", "meter", "load")


class Person:
    """Does what they are told, and looks at nothing but what is shown and said to them."""

    def __init__(self):
        self.asked, self.view, self.said = None, None, []

    def told(self, order, t):
        if isinstance(order, Ask):
            self.asked = order
            self.said.append(order.say)
        if isinstance(order, Withdraw):
            self.asked = None

    def show(self, look, t):
        self.view = look()

    def answers(self, t):
        ask = self.asked
        if ask is None or not self._sees(ask):
            return []
        shown = re.search(r"The simulated display shows (.*)\.$", ask.say)
        text = shown[1] if shown else ask.choices[0] if ask.choices else "go on"
        self.asked = None
        return [Answered(t, ask.question, understood(ask, text).value, "Test Person")]

    def _sees(self, ask):
        voltage = self.view.readings.get(METER_VOLTAGE) if self.view is not None else None
        if ask.record == "load stopped":
            return voltage is not None and voltage < 2.0
        if ask.record == "pack came back":
            return voltage is not None and voltage > 15.0
        return True


@pytest.mark.parametrize(
    ("of", "said", "on"), [("load off", "draws", True), ("load off", "go on", False), ("load stopped", "off", False)]
)
def test_what_a_person_says_of_the_load_is_done_at_the_simulated_bench(of, said, on):
    person = Person()
    with Rehearsal(read_file(DEMO_PACK), "sound", 3, VirtualClock(), BY_HAND, sockets=False) as rehearsal:
        rehearsal.world.load_current = 5.0
        rehearsal.world.switch_load(True)
        displays = AtSimulatedDisplays(person, rehearsal.eyes, BY_HAND)
        displays.told(Ask("q", "", wants=Wants.MARK, of=of), 0.0)
        person.answers = lambda t: [Answered(t, "q", said, "me")]
        displays.answers(1.0)
        assert rehearsal.world.load_on is on


def test_a_cut_off_is_found_by_a_person_with_nothing_but_the_displays(tmp_path):
    clock, person = VirtualClock(), Person()
    with Rehearsal(read_file(DEMO_PACK), "sound", 3, clock, BY_HAND, sockets=False) as rehearsal:
        world = rehearsal.world
        world.pack.cell_socs = [soc - world.truth.pack.soc + 0.1 for soc in world.pack.cell_socs]
        job = rehearsal.job(find_procedure("under-voltage"))
        operator = AtSimulatedDisplays(person, rehearsal.eyes, job.program.by_hand)
        result = execute(job, operator, Site(clock, rehearsal.connect, simulated=True), tmp_path, StopFlag())
        assert not world.load_on
        assert not world.supply_on
    trip = next(finding for finding in result.evaluation.findings if finding.name == "trip")
    true = [change["stack_V"] for change in world.report()["changes"] if change["change"] == "trip"][-1]
    assert result.outcome.safe
    assert abs(trip.value - true) < 0.3  # the key here is as late as the loop looks: the number is another test's
    assert any("simulated display shows" in say for say in person.said)
    assert PROBE_TEMPERATURE in person.view.readings
