"""Dialects: strict replies, error queues, and a dialect file that a user wrote."""

import contextlib

import pytest

from runner.bench.dialect import BUILT_IN, Driver
from runner.errors import LinkError, NotAReading, SettingError, SheetError
from runner.sheets.dialect import CHANNELLED, parse_dialect
from runner.sheets.instruments import ON_A_CABLE, ROLE_FACTS
from runner.sheets.parts.meters import TERMINALS

OWN = """\
kind: dialect
name: an old supply with words of its own
role: supply
acknowledge: null
errors: null
identity: ID?
join: null
commands:
  set_voltage: "VSET{channel} {value}"
  set_current: "ISET{channel} {value}"
  set_overvoltage: "OVP{channel} {value}"
  set_overcurrent: "OCP{channel} {value}"
  output_on: "OUT{channel} 1"
  output_off: "OUT{channel} 0"
queries:
  voltage_setting: "VSET{channel}?"
  current_setting: "ISET{channel}?"
  overvoltage_setting: "OVP{channel}?"
  overcurrent_setting: "OCP{channel}?"
  output: {ask: "OUT{channel}?", reply: "OUT ([01])"}
  voltage: {ask: "VOUT{channel}?", reply: "([-0-9.]+) ?V"}
  current: {ask: "IOUT{channel}?", reply: "([-0-9.]+) ?mA", scale: 0.001}
mode: {ask: "STS{channel}?", constant_voltage_bit: 0, constant_current_bit: 1}
"""


class Wire:
    """A link that answers from a table and remembers what it was told."""

    instrument = "supply"

    def __init__(self, answers):
        self.answers, self.said = answers, []

    def ask(self, message, fields=1):
        self.said.append(message)
        reply = self.answers[message]
        if isinstance(reply, Exception):
            raise reply
        return reply.split(";") if fields > 1 else [reply]

    held = contextlib.nullcontext

    def tell(self, message, acknowledge=None):
        self.said.append(f"{message};{acknowledge}" if acknowledge else message)


# SCPI-1999: ±9.9E37 are the infinities and 9.91E37 is not-a-number (second-hand, several makers' manuals)
@pytest.mark.parametrize(
    "reply", ["9.91E37", "+9.9E+37", "-9.9E37", "NAN", "", "1.2.3", "12 V", "1,5", "--5", "1e", "INF"]
)
def test_what_is_no_finite_number_is_no_reading(reply):
    with pytest.raises(NotAReading):
        Driver(Wire({"MEAS:VOLT?": reply}), BUILT_IN["meter"]).number("voltage")


@pytest.mark.parametrize(
    ("reply", "value"), [("+2.500000E+01", 25.0), (" 7 ", 7.0), ("-.5", -0.5), ("3.", 3.0), ("1E-3", 0.001)]
)
def test_the_standards_forms_of_a_number_are_read(reply, value):
    assert Driver(Wire({"MEAS:VOLT?": reply}), BUILT_IN["meter"]).number("voltage") == pytest.approx(value)


def test_one_bad_number_of_several_does_not_spoil_the_others():
    wire = Wire({"MEAS:VOLT?;:MEAS:CURR?;:OUTP?": "26.5;9.91E37;1"})
    voltage, current, output = Driver(wire, BUILT_IN["supply"]).numbers("voltage", "current", "output")
    assert (voltage, output) == (26.5, 1.0)
    assert isinstance(current, NotAReading)


def test_a_setting_the_instrument_complains_about_is_an_error_and_the_queue_is_emptied():
    complaints = iter(['-222,"Data out of range"', '-113,"Undefined header"', '0,"No error"'])
    wire = Wire({})
    wire.ask = lambda message, fields=1: [next(complaints)]
    with pytest.raises(SettingError, match="Data out of range"):
        Driver(wire, BUILT_IN["supply"]).command("set_voltage", 999)
    assert next(complaints, "empty") == "empty"


def test_the_short_forms_are_sent():
    wire = Wire({"SYST:ERR?": '0,"No error"'})
    Driver(wire, BUILT_IN["supply"]).command("set_voltage", 29.2)
    assert wire.said == ["VOLT 29.2;*OPC?", "SYST:ERR?"]


def test_a_users_own_dialect_needs_no_code():
    dialect = parse_dialect(OWN, "own.yaml")
    wire = Wire({"VOUT2?": "26.51V", "IOUT2?": "3999 mA", "OUT2?": "OUT 1", "STS2?": "2"})
    speaker = Driver(wire, dialect, channel="2")
    speaker.command("set_voltage", 29.2)
    assert wire.said == ["VSET2 29.2"]
    assert speaker.numbers("voltage", "current", "output") == [26.51, pytest.approx(3.999), 1.0]
    assert speaker.mode() == "CC"
    assert speaker.number("voltage") == 26.51


def test_a_dialect_that_lacks_a_word_says_which():
    with pytest.raises(SheetError, match="commands: output_off"):
        parse_dialect(OWN.replace('  output_off: "OUT{channel} 0"\n', ""), "own.yaml")
    with pytest.raises(SheetError, match="0 groups"):
        parse_dialect(OWN.replace("OUT ([01])", "OUT [01]"), "own.yaml")


def test_every_built_in_dialect_has_every_word_its_role_needs():
    assert set(BUILT_IN) == set(ON_A_CABLE)
    for role, dialect in BUILT_IN.items():
        facts = ROLE_FACTS[role]
        assert set(facts.commands) <= set(dialect.commands) <= {*facts.commands, *facts.optional, CHANNELLED}
        needs = {*facts.queries, *facts.choices, *facts.optional_queries} - {TERMINALS}  # no word of the standard
        assert set(dialect.queries) == needs


def test_a_broken_link_is_passed_on_and_never_a_number():
    wire = Wire({"MEAS:VOLT?": LinkError.timed_out("meter", "MEAS:VOLT?", 1.0)})
    with pytest.raises(LinkError):
        Driver(wire, BUILT_IN["meter"]).number("voltage")


# each is called valid by a program that only looks whether the words are there, and found out when the supply is on
@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        (
            'output_off: "OUT{channel} 0"',
            'output_off: "OUT{chan} 0"',
            "'OUT{chan} 0' has an unknown placeholder {chan}",
        ),
        ('output_off: "OUT{channel} 0"', 'output_off: "OUT{channel:d} 0"', "has an unknown placeholder {channel:d}"),
        ('output_off: "OUT{channel} 0"', 'output_off: "OUT{channel!r} 0"', "has an unknown placeholder {channel!r}"),
        ('output_off: "OUT{channel} 0"', 'output_off: "OUT{} 0"', "has an unknown placeholder {}"),
        ('output_off: "OUT{channel} 0"', 'output_off: "OUT{channel 0"', "close the brace"),
        (
            'output_off: "OUT{channel} 0"',
            'output_off: "OUT{channel} {value}"',
            "has {value}, which has no meaning here",
        ),
        ('output_off: "OUT{channel} 0"', 'output_off: ""', "cannot be sent"),
        ('output_off: "OUT{channel} 0"', 'output_off: "OUT 0\\nOUT 1"', "cannot be sent"),
        ('output_off: "OUT{channel} 0"', 'output_off: "OUT\u00a00"', "cannot be sent"),
        ('"VSET{channel} {value}"', '"VSET{channel} 29.2"', "set_voltage: 'VSET{channel} 29.2' carries no value"),
        ('"VSET{channel} {value}"', '"VSET{channel} {value:.3f}"', "has an unknown placeholder {value:.3f}"),
        ('voltage: {ask: "VOUT{channel}?"', 'voltage: {ask: "VOUT{value}?"', "has {value}, which has no meaning here"),
        ('reply: "OUT ([01])"', 'reply: "OUT(?: ([01]))?"', "also fits replies without the number"),
        ('reply: "OUT ([01])"', 'reply: "([01])|OFF"', "also fits replies without the number"),
        ('reply: "OUT ([01])"', 'reply: "(OUT"', "is not a pattern"),
        ("errors: null", "errors: {none: '(0'}", "is not a pattern"),
        ("errors: null", "errors: {ask: 'ERR{n}?'}", "has an unknown placeholder {n}"),
        ("acknowledge: null", "acknowledge: '{done}'", "has an unknown placeholder {done}"),
        ('mode: {ask: "STS{channel}?"', 'mode: {ask: "STS{chan}?"', "has an unknown placeholder {chan}"),
    ],
)
def test_every_text_and_pattern_of_a_dialect_is_tried_out_when_it_is_read(old, new, part):
    assert OWN.count(old) == 1
    text = OWN.replace(old, new)
    with pytest.raises(SheetError) as caught:
        parse_dialect(text, "own.yaml")
    (problem,) = caught.value.problems
    assert part in problem.what + problem.remedy
    assert problem.line > 1


@pytest.mark.parametrize("pattern", [r"OUT ([01])", r"(?:OUT|INP) ([01])", r"(?:([01])){1,2}", r"a*(?>([01]))"])
def test_a_pattern_that_always_finds_its_number_is_taken(pattern):
    parse_dialect(OWN.replace("OUT ([01])", pattern), "own.yaml")


def test_what_switches_off_is_ready_before_anything_is_on():
    words = Driver(Wire({}), parse_dialect(OWN, "own.yaml"), "2").off_words("output_off", "output")
    assert (words.command, words.acknowledge, words.ask) == ("OUT2 0", None, "OUT2?")
    assert words.state.shows_off("OUT 0")
    assert not any(words.state.shows_off(reply) for reply in ("OUT 1", "0", "", "OUT", "OUT 0" * 500))


def test_the_check_names_the_question_that_an_instrument_does_not_know_and_gives_its_own_words():
    """A status query that nobody tried out used to end a run after minutes of charging."""
    wire = Wire({"VOLT?": "1", "STAT:QUES:COND?": LinkError.timed_out("supply", "STAT:QUES:COND?", 1.0)})
    wire.hurry = lambda: None
    wire.take_old_errors = lambda: ['-113,"Undefined header"'] if "STAT:QUES:COND?" in wire.said else []
    wire.answers["SYST:ERR?"] = '0,"No error"'
    with pytest.raises(SettingError) as caught:
        Driver(wire, BUILT_IN["supply"]).try_out(["voltage_setting"])
    assert caught.value.command == "STAT:QUES:COND?"
    assert "Undefined header" in caught.value.what
