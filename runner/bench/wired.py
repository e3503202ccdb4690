"""What a bench file says of an instrument's connection, as the transports need it."""

from __future__ import annotations

from dataclasses import replace

from runner.bench.framing import Framing
from runner.bench.transports.choose import Wiring
from runner.bench.transports.serial_port import Port
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.reach.line import SerialLine

QUIET = 2.0  # times the time-out: so long a line has to be silent after a fault where nobody says how long
BETWEEN = 3.5  # characters of silence that end a message: MODBUS over Serial Line Specification V1.02, 2.5.1.1
LEAST_BETWEEN = 1.75e-3  # s, of the same, above 19,200 bits a second
ADAPTER = 16e-3  # s that a USB adapter may keep what has come (from memory: the usual latency timer)


def default_gap(line: SerialLine, *, modbus: bool) -> float:
    """s between an exchange and the next question where the bench file says none.

    An instrument that answers twice has its second answer noticed then, before a question that it could be taken for. On Modbus
    that one begins after the silence that makes it a frame, so that its first character is waited for. With an echo, and
    where silence ends a reply, nothing is needed.
    """
    if not modbus and (line.echo or not (line.read_end or line.length)):
        return 0.0
    character = (1 + line.data_bits + (line.parity != "none") + line.stop_bits) / line.baud
    return max(BETWEEN * character, LEAST_BETWEEN) + modbus * character + ADAPTER


def wiring(instrument: InstrumentSheet, backend: str) -> Wiring:
    """How an instrument is reached."""
    plain = Wiring(instrument.address, backend, instrument.timeout)
    on_a_port = plain.is_serial or (plain.is_modbus and instrument.address.count("::") == 1)
    line = instrument.line or (SerialLine() if on_a_port else None)
    prefix = f"{instrument.unit} " if plain.is_modbus else ""
    if line is None:
        return replace(plain, framing=Framing(prefix=prefix))
    port = Port(line.baud, line.data_bits, line.parity, line.stop_bits, line.flow)
    quiet = QUIET * instrument.timeout if on_a_port else 0.0
    gap = default_gap(line, modbus=plain.is_modbus) if line.gap is None else line.gap
    if plain.is_modbus:
        framing = Framing(prefix=prefix, gap=gap, wake=line.wake, quiet=line.quiet or quiet)
        return replace(plain, framing=framing, port=port)
    framing = Framing(
        write_end=line.write_end,
        read_end=line.read_end,
        length=line.length,
        silence=line.silence,
        echo=line.echo,
        gap=gap,
        wake=line.wake,
        quiet=line.quiet or quiet,
    )
    return replace(plain, framing=framing, port=port)
