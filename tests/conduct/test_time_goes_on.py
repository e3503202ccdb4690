"""A bench by hand where time runs by itself, as at a real bench: nothing is read by a cable, and the run asks, waits and ends all the same."""

import threading

from runner.conduct.answer_parsing import understood
from runner.conduct.clock import ScaledClock
from runner.conduct.execute import execute
from runner.conduct.interfaces import StopFlag
from runner.conduct.site import Site
from runner.events import Answered
from runner.orders import Ask, End, Withdraw
from runner.vocabulary import Observed, Wants
from runner.workspace.job import DEMO_PACK, find_procedure, load, read_file

BENCH = DEMO_PACK.parent / "by-hand-bench.yaml"
SPEED, PATIENCE = 600.0, 60.0  # times; s of real time after which the test gives up


class Person:
    """Answers what is asked, until the charger is on; then they have gone."""

    def __init__(self, stop):
        self.asked, self.said, self.gone, self.end = [], [], False, None
        self.watchdog = threading.Timer(PATIENCE, lambda: stop.press("the test's own patience"))
        self.watchdog.daemon = True
        self.watchdog.start()

    def told(self, order, t):
        if isinstance(order, Ask):
            self.asked.append(order)
            self.said.append(order)
        if isinstance(order, Withdraw):
            self.asked = [each for each in self.asked if each.question != order.question]
        if isinstance(order, End):
            self.end = order
            self.watchdog.cancel()

    def show(self, look, t):
        pass

    def answers(self, t):
        found = []
        while self.asked and not self.gone:
            ask = self.asked.pop(0)
            text = ask.choices[0] if ask.choices else "3.30 V" if ask.wants == Wants.NUMBER else "go on"
            if ask.wants == Wants.NUMBER and ask.dimension == "temperature":
                text = "25 degC"
            found.append(Answered(t, ask.question, understood(ask, text).value, "Test Person"))
            self.gone = ask.of == Observed.CHARGER_ON
        return found


def test_whoever_leaves_a_charger_on_is_asked_for_its_current_and_not_waited_for_without_end(tmp_path):
    stop = StopFlag()
    person = Person(stop)
    files = [read_file(each) for each in (DEMO_PACK, BENCH)]
    job = load(find_procedure("full-charge"), *files)
    result = execute(job, person, Site(ScaledClock(SPEED), locks=None, guarded=False), tmp_path, stop)
    assert person.gone, [each.say for each in person.said]
    after = person.said[[each.of for each in person.said].index(Observed.CHARGER_ON) + 1 :]
    assert any("clamp" in each.say for each in after), [each.say for each in after]
    assert not stop.pressed
    assert result.outcome.early
    assert "no answer" in result.outcome.reason
    assert "CHARGER" in result.outcome.urgent
    assert not result.outcome.safe
