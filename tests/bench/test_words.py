"""What a dialect can say: formats, scales, words, bits, what is missing; channels on one shared session."""

import pytest

from runner.bench.assembly import Bench
from runner.bench.dialect import BUILT_IN, Driver
from runner.bench.link import Link
from runner.bench.off import attempt
from runner.bench.transports.choose import Wiring
from runner.conduct.clock import ScaledClock
from runner.engine.opening import CAUTIONS, KNOBS
from runner.errors import LinkError, NotAReading, SettingError, SheetError
from runner.events import Answered
from runner.guard.plan import Plan, Target
from runner.orders import Ask, Remark
from runner.sheets.bench import parse_bench
from runner.sheets.dialect import parse_dialect
from runner.workspace.job import kept_as, load_bench
from runner.workspace.missing_words import with_words
from tests.builders import a_program
from tests.instruments.wires import BENCH, Wire, driver

LOAD = """\
kind: dialect
name: words
role: load
acknowledge: null
identity: null
errors: null
join: null
commands:
  set_current: {say: "CURR:{value}", scale: 0.001, form: 06d}
  input_on: "LOAD ON"
  input_off: "LOAD OFF"
queries:
  current_setting: {ask: "CURR:?", reply: '([0-9]+) mA', scale: 0.001}
  voltage: {ask: "U?", number: comma}
  current: {ask: "I?", number: hex, scale: 0.01, offset: -5}
  input: {ask: "STATE", on_word: LOAD IS ON, off_word: LOAD IS OFF}
"""


def test_a_number_goes_out_in_its_form_and_scale():
    load, said = driver(LOAD, {"CURR:?": "4000 mA"})
    assert load.set("current", 4.0, 0.001) == 4.0
    assert said == ["CURR:004000", "CURR:?"]


def test_decimal_commas_hexadecimals_and_words_are_read():
    load, _ = driver(LOAD, {"U?": " 26,37", "I?": "0x3E8", "STATE": "LOAD IS ON"})
    assert load.number("voltage") == 26.37
    assert load.number("current") == pytest.approx(5.0)  # 1000 · 0.01 − 5
    assert load.number("input") == 1.0


@pytest.mark.parametrize(("ask", "reply"), [("U?", "26.37"), ("I?", "XY"), ("STATE", "LOAD IS"), ("STATE", "1")])
def test_what_is_written_otherwise_is_no_reading(ask, reply):
    load, _ = driver(LOAD, {ask: reply})
    name = {"U?": "voltage", "I?": "current", "STATE": "input"}[ask]
    with pytest.raises(NotAReading):
        load.number(name)


def test_off_is_known_by_its_word():
    state = ["LOAD IS ON"]
    load, said = driver(LOAD, {"STATE": lambda: state[0]})
    words = load.off_words("input_off", "input")
    assert not attempt(load.link, words)
    state[0] = "LOAD IS OFF"
    assert attempt(load.link, words)
    assert said[:2] == ["LOAD OFF", "STATE"]


def test_an_instrument_that_confirms_every_command_is_believed_only_then():
    text = LOAD.replace("join: null", "join: null\nconfirms: 'OK'")
    load, _ = driver(text, {"LOAD ON": "OK", "STATE": "LOAD IS ON"})
    load.switch("input", True)
    load, _ = driver(text, {"LOAD ON": "ERR 3"})
    with pytest.raises(SettingError, match="ERR 3"):
        load.switch("input", True)


def test_lines_that_do_not_fit_are_passed_over_for_a_while():
    text = LOAD.replace('{ask: "U?", number: comma}', '{ask: "U?", reply: "U ([0-9.]+)", within: 0.3 s}')
    load, _ = driver(text, {"U?": "hello\nU 26.4"})
    assert load.number("voltage") == 26.4
    load, _ = driver(text, {"U?": "hello\nU nothing"})
    with pytest.raises(LinkError):
        load.number("voltage")


def test_lines_at_the_start_and_at_the_end_of_a_session():
    text = BENCH.replace("dialect: scpi", "dialect: own.yaml")
    dialect = parse_dialect(LOAD.replace("join: null", "join: null\nstart: [REMOTE]\nend: [LOCAL]"), "own.yaml")
    said = []
    bench = Bench(
        parse_bench(text, "b"), {"load": dialect}, ScaledClock(), lambda role, sheet: Wire({"U?": "1,0"}, said)
    )
    bench.speakers["load"].number("voltage")
    bench.close()
    assert said == ["REMOTE", "U?", "LOCAL"]


def test_off_and_the_guard_say_first_what_has_to_be_said_at_the_start():
    """An instrument that is in its local state may not listen to anything else."""
    load, said = driver(LOAD, {"STATE": "LOAD IS ON"}, start=["REMOTE"])
    words = load.off_words("input_off", "input")
    assert load.link.shout(*words.texts)
    assert said == ["REMOTE", "LOAD OFF"]
    target = Target("load", Wiring("A"), words, load.link.start)
    assert Plan.of(Plan(1, (target,), 0).line()).targets == (target,)


# ---- channels and shared sessions --------------------------------------------------------------------------------


def test_a_channel_is_chosen_before_every_exchange_whatever_was_chosen_at_the_front():
    supply, said = driver(
        BUILT_IN["supply"], {"MEAS:VOLT?": "26.4", "VOLT?": "29.2", "*OPC?": "1", "SYST:ERR?": "0,ok"}, "2"
    )
    supply.number("voltage")
    supply.set("voltage", 29.2, 0.01)
    assert said[0] == "INST:NSEL 2;:MEAS:VOLT?"
    assert said[1] == "INST:NSEL 2;:VOLT 29.2;*OPC?"
    assert said[-1] == "INST:NSEL 2;:VOLT?"


def test_off_chooses_its_channel_first():
    state = {"1": 1, "2": 1}
    chosen = ["1"]
    said = []

    class Two(Wire):
        def write(self, message):
            text = message.decode().strip()
            said.append(text)
            if "INST:NSEL" in text:
                chosen[0] = text.split("INST:NSEL ")[1][0]
            if "OUTP OFF" in text:
                state[chosen[0]] = 0
            known = {"OUTP?": str(state[chosen[0]]), "MEAS:CURR?": str(3.0 * state[chosen[0]])}
            self.reply = known.get(text.split(";:")[-1], "1").encode() + b"\n"
            chosen[0] = "1"  # somebody at the front, between any two messages

    link = Link(lambda: Two({}, said), "A", "supply", timeout=0.2)
    words = Driver(link, BUILT_IN["supply"], "2").off_words("output_off", "output")
    assert attempt(link, words)
    assert state == {"1": 1, "2": 0}


FEW = """\
kind: dialect
name: few words
role: supply
acknowledge: null
identity: null
errors: null
join: null
commands: {set_voltage: "V{value}", set_current: "I{value}", output_on: O1, output_off: O0}
queries: {voltage: "V?", current: "I?"}
"""


def test_what_no_command_sets_is_a_hold_point_and_what_cannot_be_read_back_is_said():
    program = with_words(a_program(), {"supply": parse_dialect(FEW, "d")})
    from runner.engine.opening import Opening

    opening = Opening(program, guarded=True, agreed="")
    (asked,), begins = opening.answered(Answered(1.0, CAUTIONS, "go on", "me"))
    assert isinstance(asked, Ask)
    assert asked.question == KNOBS
    assert not begins
    over_voltage, over_current = program.protect
    assert f"over-voltage limit of the supply to {over_voltage:.1f} V by hand" in asked.say
    assert f"over-current limit of the supply to {over_current:.1f} A by hand" in asked.say
    assert asked.record
    said, begins = opening.answered(Answered(2.0, KNOBS, "go on", "me"))
    assert begins
    assert any(isinstance(each, Remark) and "whether its output is off" in each.say for each in said)


def test_a_supply_with_all_its_words_asks_for_no_knob():
    program = with_words(a_program(), {"supply": BUILT_IN["supply"]})
    assert program.knobs == program.unread == ()


def test_a_supply_of_few_words_sets_switches_and_reads():
    from runner.bench.supply import Supply

    speaker, said = driver(FEW, {"V?": "26.4", "I?": "4.0"})
    sheet = parse_bench(BENCH.replace("load:", "supply:"), "b").instruments.supply
    supply = Supply(speaker, sheet)
    assert supply.limit(29.6, 4.4) == (29.6, 4.4)
    assert supply.set(29.2, 4.0) == (29.2, 4.0)
    supply.on()
    reading = supply.read()
    assert (reading.voltage, reading.current, reading.output, reading.mode) == (26.4, 4.0, None, "")
    assert said == ["V29.2", "I4", "O1", "V?", "I?"]
    words = speaker.off_words("output_off", "output", below=0.05)
    assert (words.command, words.ask) == ("O0", "I?")  # it cannot say whether it is on: its current says so
    assert not attempt(speaker.link, words)
    assert said[-2:] == ["O0", "I?"]
    replies = ("0.051", "-0.049", "junk", "9.91E37")
    assert [words.current.shows_off(reply) for reply in replies] == [False, True, False, False]


def test_settings_that_are_lost_while_nobody_could_ask_are_found():
    from runner.bench.supply import Supply

    replies = {"V?": "26.4", "I?": "4.0", "OV?": "29.6"}
    text = FEW.replace("queries: {", 'queries: {overvoltage_setting: "OV?", ')
    text = text.replace("commands: {", 'commands: {set_overvoltage: "P{value}", ')
    speaker, _ = driver(text, replies)
    supply = Supply(speaker, parse_bench(BENCH.replace("load:", "supply:"), "b").instruments.supply)
    supply.limit(29.6, 4.4)
    supply.settings.ordered = True
    assert supply.read().current == 4.0
    replies["OV?"] = "33.0"
    assert supply.read().current == 4.0  # nobody asks while the connection stands
    speaker.link.close()
    reading = supply.read()
    assert "its overvoltage was set to 29.6 and reads 33 since the connection came back" in reading.fault
    assert reading.current == 4.0, "what was read counts all the same: the ceilings go by it"


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("form: 06d", "form: 6q", "is not the form of a number"),
        ("scale: 0.001, form", "scale: 0, form", "a scale of 0"),
        ("scale: 0.001, form", "scale: -0.001, form", "a scale of -0.001 cannot be sent"),
        ('input_off: "LOAD OFF"', 'input_off: "load  on"', "input_off: sends the same as input_on, 'load  on'"),
        ("off_word: LOAD IS OFF", "off_word: LOAD IS ON", "on_word and off_word are both 'LOAD IS ON'"),
        ("number: comma", "number: roman", "is not one of"),
        ("on_word: LOAD IS ON", "bit: 3, on_word: LOAD IS ON", "are words"),
        ("on_word: LOAD IS ON, ", "", "only one of"),
        ("join: null", "join: null\nstart: [\"A\\nB\"]", "cannot be sent"),
        ("acknowledge: null", "acknowledge: '*OPC?'\nconfirms: OK", "both given"),
        ("  input_on:", "  switch_on:", "needs more words and does not know switch_on; add commands: input_on"),
        ("{ask: \"STATE\",", "{register: 0,", "unknown key 'register'; allowed here: ask, bit, coil,"),
        ("join: null", "jion: null", "did you mean join?"),
    ],
)  # fmt: skip
def test_what_is_wrong_in_a_word_is_said(old, new, part):
    assert LOAD.count(old) == 1
    with pytest.raises(SheetError) as caught:
        parse_dialect(LOAD.replace(old, new), "own.yaml")
    assert part in str(caught.value)


def test_a_channel_that_the_built_in_words_can_choose_is_taken(tmp_path):
    path = tmp_path / "bench.yaml"
    path.write_text(BENCH.replace("load:", "supply:").replace("dialect: scpi", "channel: 2"))
    assert load_bench(path)[1].instruments.supply.channel == "2"
    path.write_text(BENCH.replace("dialect: scpi", "channel: 2"))
    with pytest.raises(SheetError, match="cannot select a channel"):
        load_bench(path)


def test_a_run_folder_is_read_again_with_the_dialect_that_it_keeps(tmp_path):
    """The dialect stands beside the bench file, and the folder of a run keeps it under the name of its role."""
    inputs = tmp_path / "inputs"
    inputs.mkdir()
    (inputs / "bench.yaml").write_text(BENCH.replace("load:", "supply:").replace("dialect: scpi", "dialect: few.yaml"))
    (inputs / kept_as("supply")).write_text(FEW)
    _, _, dialects = load_bench(inputs / "bench.yaml")
    assert dialects["supply"].name == "few words"
