"""What a bench file says of an instrument's connection, as the transports need it."""

from __future__ import annotations

from dataclasses import replace

from runner.bench.framing import Framing
from runner.bench.transports.choose import Wiring
from runner.bench.transports.serial_port import Port
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.reach.line import SerialLine

QUIET = 2.0  # times the time-out: so long a line has to be silent after a fault where nobody says how long


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
    if plain.is_modbus:
        framing = Framing(prefix=prefix, gap=line.gap, wake=line.wake, quiet=line.quiet or quiet)
        return replace(plain, framing=framing, port=port)
    framing = Framing(
        write_end=line.write_end,
        read_end=line.read_end,
        length=line.length,
        silence=line.silence,
        echo=line.echo,
        gap=line.gap,
        wake=line.wake,
        quiet=line.quiet or quiet,
    )
    return replace(plain, framing=framing, port=port)
