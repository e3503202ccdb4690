"""What a bench file says of an instrument's connection, as the transports need it."""

from __future__ import annotations

from runner.bench.framing import Framing
from runner.bench.transports.choose import Wiring
from runner.bench.transports.serial_port import Port
from runner.sheets.instrument_parts import InstrumentSheet
from runner.sheets.reach.line import SerialLine

QUIET = 2.0  # times the time-out: so long a line has to be silent after a fault where nobody says how long


def wiring(instrument: InstrumentSheet, backend: str) -> Wiring:
    """How an instrument is reached."""
    plain = Wiring(instrument.address, backend, instrument.timeout)
    line = instrument.line or (SerialLine() if plain.is_serial else None)
    if line is None:
        return plain
    quiet = 0.0
    if plain.is_serial:
        quiet = QUIET * instrument.timeout if line.quiet is None else line.quiet
    framing = Framing(
        line.write_end, line.read_end, line.length, line.silence, line.echo, line.gap, line.wake, line.quiet or quiet
    )
    port = Port(line.baud, line.data_bits, line.parity, line.stop_bits, line.flow)
    return Wiring(instrument.address, backend, instrument.timeout, framing, port)
