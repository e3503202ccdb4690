"""An actuator with several outputs goes off at all of them, by run and by guard; whatever one of its calls does, nothing heats on."""

import pytest

from runner.bench.actuator import OVERSHOOT, Actuator
from runner.bench.dialect import BUILT_IN, Driver
from runner.bench.link import Link
from runner.bench.off import attempt
from runner.bench.transports.choose import Wiring
from runner.errors import BenchError, LinkError, NotAReading, SettingError
from runner.guard.plan import Plan, Target
from runner.sheets.instruments import ActuatorSheet
from runner.workspace.job import find_procedure
from tests.builders import rehearsed, short_rehearsal

SHEET = {
    "address": "TCPIP::127.0.0.1::9::SOCKET",
    "limits": {"lowest": "-10 degC", "highest": "70 degC"},
    "fastest": "5 K/min",
    "places": {"T1": "left", "T2": "right"},
}


class Outputs:
    """Two outputs, one of them chosen; a new connection finds the first one chosen, as a fresh session does on some."""

    blocks, sees_unread = False, False

    def __init__(self):
        self.on, self.chosen, self.reply, self.mute = {"left": False, "right": False}, "left", b"", False
        self.kept = {"TEMP:SPO": "0", "TEMP:RATE": "0", "TEMP:PROT:HIGH": "0", "MEAS:TEMP": "41.7"}

    def open(self, seconds):
        self.chosen = "left"

    def write(self, message):
        for line in message.decode().strip().split("\n"):
            for text in line.split(";"):
                self._hear(text)

    def _hear(self, text):
        word, _, value = text.rstrip("?").partition(" ")
        if text.endswith("?"):
            known = {
                "*IDN": "A,B,C,D",
                "*OPC": "1",
                "SYST:ERR": '0,"No error"',
                "OUTP": str(int(self.on[self.chosen])),
                **self.kept,
            }
            self.reply = known[word].encode() + b"\n"
        elif word == "INST:SEL":
            self.chosen = value.strip('"')
        elif word == "OUTP":
            self.on[self.chosen] = value == "ON"
        else:
            self.kept[word] = value

    def read(self, limit, seconds):
        if self.mute:
            raise TimeoutError
        reply, self.reply = self.reply, b""
        return reply

    def close(self):
        pass


@pytest.fixture
def outputs():
    return Outputs()


def driver(outputs):
    link = Link(lambda: outputs, SHEET["address"], "actuator", timeout=0.2, queue=("SYST:ERR?", '0,"No error"'))
    return Driver(link, BUILT_IN["actuator"])


def the_words(outputs):
    return driver(outputs).off_words("output_off", "output", ActuatorSheet.model_validate(SHEET).outputs)


def test_off_is_off_at_every_output_also_on_a_connection_that_has_chosen_another(outputs):
    plate = Actuator(driver(outputs), ActuatorSheet.model_validate(SHEET))
    plate.guide("heat", "T1", 0.05)
    plate.guide("heat", "T2", 0.05)
    assert outputs.on == {"left": True, "right": True}
    words = the_words(outputs)
    plan = Plan(1, (Target("actuator", Wiring(SHEET["address"], "@py", 0.2), words),), 0)
    assert Plan.of(plan.line()) == plan, "the guard is told the same"
    assert attempt(driver(outputs).link, words)
    assert outputs.on == {"left": False, "right": False}


def test_one_that_stays_on_is_not_confirmed_whichever_it_is(outputs):
    words = the_words(outputs)
    hear = outputs._hear
    for stuck in ("left", "right"):
        outputs.on = {"left": True, "right": True}
        outputs._hear = lambda text, stuck=stuck: (text == "OUTP OFF" and outputs.chosen == stuck) or hear(text)
        assert not attempt(driver(outputs).link, words)
        assert outputs.on[stuck]


def test_the_last_resort_goes_to_every_output(outputs):
    outputs.on, outputs.mute = {"left": True, "right": True}, True
    assert not attempt(driver(outputs).link, the_words(outputs)), "nothing has confirmed it"
    assert outputs.on == {"left": False, "right": False}


def test_one_that_is_on_sensors_is_still_while_the_pack_takes_the_temperature_of_the_room(outputs, tmp_path):
    plate = Actuator(driver(outputs), ActuatorSheet.model_validate({**SHEET, "rest": "23 degC"}))
    plate.guide("heat", "T2", 0.05)
    assert plate.guide("still", "", 0.0) is None
    assert outputs.on == {"left": False, "right": False}
    run = rehearsed(tmp_path, procedure=find_procedure("partial-charge"), actuator=True)
    assert not run.result.outcome.early, run.result.outcome.reason


@pytest.mark.parametrize(("reads", "held"), [(69.0, 69.0), (70.0 + OVERSHOOT, 70.0), (-40.0, -10.0), (850.0, None)])
def test_a_temperature_that_cannot_be_is_not_held_at_the_highest(outputs, reads, held):
    """An open thermocouple reads hundreds of degrees; held, it would be heated to its limit."""
    outputs.kept["MEAS:TEMP"] = str(reads)
    plate = Actuator(driver(outputs), ActuatorSheet.model_validate(SHEET))
    if held is not None:
        assert plate.guide("hold", "T1", 0.0)[0] == held
        return
    with pytest.raises(BenchError, match="cannot be held"):
        plate.guide("hold", "T1", 0.0)
    assert not outputs.on["left"]


# ---- every call of a run fails in its turn --------------------------------------------------------------------------

ERRORS = {
    "silent": LinkError.timed_out("actuator", "?", 0.5),
    "nonsense": NotAReading.reply("actuator", "MEAS:TEMP?", "hot"),
    "refuses": SettingError.complained("actuator", "OUTP ON", '-221,"Settings conflict"'),
    "defect": RuntimeError("put in by the test"),
}


@pytest.mark.parametrize("kind", ERRORS)
@pytest.mark.parametrize("number", [1, 8, 200, 1200])
@pytest.mark.parametrize("lasts", [1, 10**9])
def test_whichever_call_fails_nothing_heats_on_and_nothing_is_claimed(tmp_path, monkeypatch, kind, number, lasts):
    """Commands and questions of the actuator are counted through; the one of this number fails, or all from there on."""
    real_command, real_number = Driver.command, Driver.number
    calls = [0]

    def fails(self):
        if self.link.instrument != "actuator":
            return
        calls[0] += 1
        if number <= calls[0] < number + lasts:
            raise ERRORS[kind]

    def command(self, *given, **named):
        fails(self)
        return real_command(self, *given, **named)

    def ask(self, name):
        fails(self)
        return real_number(self, name)

    monkeypatch.setattr(Driver, "command", command)
    monkeypatch.setattr(Driver, "number", ask)
    try:
        run = short_rehearsal(tmp_path, actuator=True)
    except (BenchError, RuntimeError):
        assert number < 10, "before the run, and nothing was switched on"
        return
    assert calls[0] >= number, "a failure that never came"
    outcome = run.result.outcome
    assert outcome.safe, outcome.reason
    assert run.world.hands.action == "still"
    assert not run.truth["supply_on"]
    for found in run.result.evaluation.findings:
        assert found.conformity in ("pass", "conditional pass", "not measured"), found
