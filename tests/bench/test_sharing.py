"""Roles that share an address or a session: one connection, whose start commands, whose identity, and nothing mixed up."""

import threading

import pytest

from runner.bench.assembly import Bench
from runner.bench.dialect import Driver
from runner.bench.framing import Framing
from runner.bench.link import Link
from runner.bench.sessions.session import Session
from runner.conduct.clock import ScaledClock
from runner.errors import LinkError, SheetError
from runner.sheets.bench import parse_bench
from runner.sheets.dialect import parse_dialect
from tests.instruments.wires import BENCH, Wire


def test_two_who_share_a_session_never_mix_what_they_say():
    """Each chooses its channel and reads: a word of the other's in between would give it the other's reading."""
    chosen, said = [""], []

    class Scanner(Wire):
        def write(self, message):
            text = message.decode().strip()
            if text.startswith("ROUT"):
                chosen[0] = text[-1]
            else:
                self.reply = f"{chosen[0]}.0\n".encode()

    session = Session()
    dialect = {
        role: parse_dialect(
            f"kind: dialect\nname: s\nrole: {role}\nacknowledge: null\nidentity: null\nerrors: null\njoin: null\n"
            f"commands: {{select_channel: 'ROUT {{channel}}'}}\nqueries: {{{name}: 'READ?'}}\n",
            "d",
        )
        for role, name in (("meter", "voltage"), ("probe", "temperature"))
    }
    wrong = []

    def read(role, name, channel):
        link = Link(lambda: Scanner({}, said), "A", role, timeout=0.2, session=session)
        speaker = Driver(link, dialect[role], channel)
        wrong.extend(value for _ in range(500) if (value := speaker.number(name)) != float(channel))

    threads = [
        threading.Thread(target=read, args=each) for each in (("meter", "voltage", "1"), ("probe", "temperature", "2"))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert session.openings == 1


def test_roles_at_one_address_use_one_connection():
    text = BENCH + '  meter: {address: "TCPIP::192.0.2.2::1::SOCKET"}\n'
    opened = []

    def connect(role, sheet):
        opened.append(role)
        return Wire({"*IDN?": "A,B,C,D", "SYST:ERR?": "0,ok", "MEAS:VOLT?": "26.4"}, [])

    bench = Bench(parse_bench(text, "b"), {}, ScaledClock(), connect)
    for role in ("load", "meter"):
        assert bench.speakers[role].number("voltage") == 26.4
    assert len(opened) == 1
    with pytest.raises(LinkError, match=r"^meter"):
        bench.speakers["meter"].link.ask("NOTHING?")
    bench.close()


def sharing(said, *roles):
    """Links of (role, prefix, start, wanted identity) on one session of an instrument that says who it is."""
    session, wire = Session(), {"*IDN?": "A,B,C,D", "SYST:ERR?": "0,ok", "V?": "1"}
    for prefix in {each[1] for each in roles}:
        wire |= {prefix + ask: reply for ask, reply in wire.items()}
    return [
        Link(
            lambda: Wire(wire, said), "A", role, timeout=0.2, identity=identity, identify="*IDN?", session=session,
            queue=("SYST:ERR?", "0,.*"), framing=Framing(prefix=prefix), start=start,
        )
        for role, prefix, start, identity in roles
    ]  # fmt: skip


def test_each_role_at_one_address_begins_with_its_own_start_commands_once_for_an_opening():
    said = []
    first, second, third = sharing(
        said,
        ("supply", "", ("NSEL 1", "REM"), ""),
        ("meter", "", ("NSEL 2", "REM"), ""),
        ("load", "", ("NSEL 1", "REM"), ""),
    )
    for link in (first, second, third, first):
        link.ask("V?")
    assert [text for text in said if not text.endswith("?")] == ["NSEL 1", "REM", "NSEL 2", "REM"]
    assert said.count("*IDN?") == said.count("SYST:ERR?") == 1, "one instrument says who it is once"
    assert first.identity == second.identity == "A,B,C,D"
    first.close()
    second.ask("V?")
    assert said[-5:] == ["NSEL 2", "REM", "*IDN?", "SYST:ERR?", "V?"]


def test_a_second_unit_on_a_line_that_is_another_instrument_is_not_spoken_to_and_shuts_nobody_else_out():
    said = []
    supply, meter = sharing(said, ("supply", "1 ", (), "A,B"), ("meter", "2 ", (), "X,Y"))
    supply.ask("V?")
    with pytest.raises(LinkError, match="X,Y"):
        meter.ask("V?")
    assert "2 V?" not in said
    assert supply.ask("V?") == ["1"], "at once"
    with pytest.raises(LinkError, match="waiting to reconnect"):
        meter.ask("V?")
    assert supply.ask("V?") == ["1"]
    assert said.count("1 *IDN?") == 2, "once for each opening"


def test_roles_at_one_address_have_to_agree_on_its_line():
    port = '"ASRL/dev/ttyUSB0::INSTR", serial: {baud: %s}'
    text = BENCH.replace('"TCPIP::192.0.2.2::1::SOCKET"', port % 9600) + f"  meter: {{address: {port % 19200}}}\n"
    with pytest.raises(SheetError, match="share an address"):
        parse_bench(text, "b")


# ---- what is missing ---------------------------------------------------------------------------------------------
