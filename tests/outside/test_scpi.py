"""The simulated instruments and the built-in dialect against SCPI-1999 and IEEE 488.2 (second-hand: two open parser
libraries that follow them clause by clause, and instrument manuals)."""

import pytest

from runner.bench.dialect import BUILT_IN
from runner.rehearsal.simulated_bench import build_world
from runner.twin.instruments import devices
from runner.twin.scpi import Device
from runner.workspace.job import DEMO_PACK, read_file


@pytest.fixture
def bench():
    clock = [0.0]
    world = build_world(read_file(DEMO_PACK), "sound", 1, lambda: clock[0])
    return devices(world)


def errors(device):
    found = []
    while True:
        reply = device.handle("SYST:ERR?")
        if reply.startswith("0,"):
            return found
        found.append(reply)


@pytest.mark.parametrize(
    "header",
    ["VOLT 5", "volt 5", "VOLTAGE 5", "SOUR:VOLT 5", ":SOURce:VOLTage:LEVel:IMMediate:AMPLitude 5", "VOLT:LEV 5"],
)
def test_long_short_optional_and_any_case(bench, header):
    assert bench["supply"].handle(header) is None
    assert errors(bench["supply"]) == []
    assert float(bench["supply"].handle("VOLT?")) == 5.0


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("VOLTA 5", -113),
        ("NONSENSE?", -113),
        ("VOLT", -109),
        ("VOLT 1,2", -108),
        ("VOLT many", -104),
        ("VOLT 999", -222),
        ("OUTP PERHAPS", -104),
    ],
)
def test_what_is_wrong_goes_to_the_error_queue_with_the_standards_number(bench, message, code):
    assert bench["supply"].handle(message) is None
    assert [int(each.split(",")[0]) for each in errors(bench["supply"])] == [code]


def test_the_queue_is_first_in_first_out_and_cleared_by_cls(bench):
    supply = bench["supply"]
    supply.handle("VOLT 999;NONSENSE")
    assert supply.handle("SYST:ERR?").startswith("-222")
    supply.handle("*CLS")
    assert supply.handle("SYSTem:ERRor:NEXT?") == '0,"No error"'


def test_a_full_queue_says_overflow(bench):
    for _ in range(40):
        bench["supply"].handle("NONSENSE")
    assert errors(bench["supply"])[-1] == '-350,"Queue overflow"'


def test_several_units_in_a_message_follow_the_path_unless_they_begin_with_a_colon(bench):
    supply = bench["supply"]
    assert supply.handle("VOLT 3;:CURR 2;*OPC?") == "1"
    assert supply.handle("VOLT?;CURR?") == "3.0000;2.0000"
    supply.handle("SOUR:VOLT 4;CURR 1")  # the second unit is read as SOUR:CURR
    assert supply.handle("VOLT?;:CURR?") == "4.0000;1.0000"
    assert errors(supply) == []
    supply.handle("VOLT:PROT 30;OUTP ON")  # read as VOLT:OUTP, which there is not
    assert errors(supply)[0].startswith("-113")


def test_reset_leaves_the_output_off(bench):
    supply = bench["supply"]
    supply.handle("OUTP ON;*RST")
    assert supply.handle("OUTP?") == "0"


def test_identity_has_four_fields(bench):
    for device in bench.values():
        assert len(device.handle("*IDN?").split(",")) == 4


def test_every_word_of_the_built_in_dialect_is_understood(bench):
    for role, dialect in BUILT_IN.items():
        device: Device = bench[role]
        for name, command in dialect.commands.items():
            if name == "select_channel":
                continue  # the simulated supply has one output
            device.handle(command.text.format(value="1", channel="T1", place="T1"))
        for name, query in dialect.queries.items():
            if (role, name) == ("probe", "voltage"):
                continue  # the simulated thermometer has no thermocouple
            assert device.handle(query.ask.format(channel="")) is not None
        if dialect.mode:
            assert device.handle(dialect.mode.ask) is not None
        assert errors(device) == [], role
