"""Modbus over a network or a serial line, through pymodbus, which is an extra and is loaded when such a line is opened.

A message is one line of text that stands for one exchange: ``1 read holding 16 u32 high``, ``1 read coil 3``,
``1 write holding 0 u16 high 2960``, ``1 write coil 3 1``; the first number is the unit's.
The reply to a question is the number, as text.

Rule 1: nothing is written but what a message says to write; a reply that does not fit its question in function, place and count
        is a fault. Over a network the library compares transaction numbers. A serial line has none: before a question nothing
        may be waiting there, and after a fault the line has to be silent first.
Rule 2: nothing is asked or written a second time by the library.
Rule 3: on a serial line, a reply with so much glued to it that this could be another reply is a fault: without 3.5 characters of
        silence between them the two are no frames (MODBUS over Serial Line Specification V1.02, 2.5.1.1), and the library would
        take the first. One to three stray bytes behind it, as of a driver that is switched over, are passed over.
Rule 4: a write goes out whatever is waiting: it may be what switches something off.
"""

from __future__ import annotations

import importlib.util
import logging
import struct
import time
from collections.abc import Mapping
from typing import Any

from runner.bench.line import Refused, stops_sending
from runner.bench.transports.serial_port import Port
from runner.errors import MissingExtra

PREFIX = "MODBUS::"
FORMATS: Mapping[str, str] = {"u16": ">H", "s16": ">h", "u32": ">I", "s32": ">i", "f32": ">f"}
PARITIES = {"none": "N", "odd": "O", "even": "E", "mark": "M", "space": "S"}
SHORTEST = 4  # bytes of a frame: unit, function, check sum (MODBUS over Serial Line Specification V1.02, 2.5.1)
# MODBUS Application Protocol Specification V1.1b3, section 7
EXCEPTIONS = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "device failure",
    6: "device busy",
}


class ModbusTransport:
    """A client of all units on a line. ``timeout`` in s is how long the library waits for a reply."""

    blocks = True
    sees_unread = False

    def __init__(self, address: str, timeout: float, port: Port) -> None:
        self._place = address[len(PREFIX) :]
        self._timeout, self._port = timeout, port
        self._client: Any = None
        self._reply = b""
        self._came = 0  # bytes of the last reply, with all that came glued to it

    @property
    def _on_a_serial_line(self) -> bool:
        return "::" not in self._place

    def open(self, seconds: float) -> None:
        """Raises MissingExtra, ConnectionRefusedError, or whatever the library raises."""
        if importlib.util.find_spec("pymodbus") is None:
            raise MissingExtra("modbus")
        logging.getLogger("pymodbus").addHandler(logging.NullHandler())
        logging.getLogger("pymodbus").propagate = False
        if self._on_a_serial_line:
            self._client = self._serial_client()
        else:
            from pymodbus.client import ModbusTcpClient

            host, _, number = self._place.partition("::")
            self._client = ModbusTcpClient(host, port=int(number), timeout=seconds, retries=0)
        if not self._client.connect():
            raise ConnectionRefusedError
        self._client.comm_params.timeout_connect = self._timeout
        if not self._on_a_serial_line:
            self._client.socket.settimeout(self._timeout)
            stops_sending(self._client.socket)

    def _serial_client(self) -> Any:
        if importlib.util.find_spec("serial") is None:
            raise MissingExtra("modbus")
        from pymodbus.client import ModbusSerialClient

        port = self._port
        return ModbusSerialClient(
            self._place,
            baudrate=port.baud,
            bytesize=port.data_bits,
            parity=PARITIES[port.parity],
            stopbits=port.stop_bits,  # type: ignore[arg-type]
            timeout=self._timeout,
            retries=0,
            trace_packet=self._packet,
        )

    def _packet(self, sending: bool, content: bytes) -> bytes:
        self._came = 0 if sending else len(content)
        return content

    def write(self, message: bytes) -> None:
        """Make the whole exchange; the reply of a question is there to be read then. Raises what went wrong."""
        from pymodbus.exceptions import ModbusIOException

        unit, kind, table, number, *rest = message.decode("ascii").split()
        if kind == "read" and self._on_a_serial_line and self._client.socket.in_waiting:
            self._client.socket.reset_input_buffer()
            raise ConnectionError("an old reply was waiting")
        began = time.monotonic()
        try:
            if kind == "read":
                self._reply += f"{self._read(int(unit), table, int(number), rest)}\n".encode()
            else:
                self._write(int(unit), table, int(number), rest)
        except ModbusIOException as error:
            if time.monotonic() - began >= 0.9 * self._timeout:  # the library has no error of its own for it
                raise TimeoutError from error
            raise ConnectionError(str(error)) from error

    def read(self, limit: int, seconds: float) -> bytes:
        """The reply of the exchange that was made; on a serial line, while there is none, what comes by itself."""
        if not self._reply and self._on_a_serial_line:
            return self._stray(limit, seconds)
        if not self._reply:
            raise TimeoutError
        came, self._reply = self._reply[:limit], self._reply[limit:]
        return came

    def close(self) -> None:
        """Close the connection."""
        if self._client is not None:
            self._client.close()

    def _stray(self, limit: int, seconds: float) -> bytes:
        until = time.monotonic() + seconds
        while not (waiting := self._client.socket.in_waiting):
            if time.monotonic() >= until:
                raise TimeoutError
            time.sleep(0.005)
        return bytes(self._client.socket.read(min(waiting, limit)))

    def _read(self, unit: int, table: str, number: int, rest: list[str]) -> str:
        client = self._client
        if table in ("coil", "discrete"):
            ask = client.read_coils if table == "coil" else client.read_discrete_inputs
            bits = self._checked(ask(number, count=1, device_id=unit), 1 if table == "coil" else 2, 6).bits
            if not bits:
                raise Refused("the reply has no bit")
            return str(int(bits[0]))
        kind, order = rest
        count = struct.calcsize(FORMATS[kind]) // 2
        ask = client.read_holding_registers if table == "holding" else client.read_input_registers
        function, length = (3 if table == "holding" else 4), 5 + 2 * count
        registers = self._checked(ask(number, count=count, device_id=unit), function, length).registers
        if len(registers) != count:
            raise Refused(f"{len(registers)} registers came, {count} were asked for")
        return _number(registers, kind, order)

    def _write(self, unit: int, table: str, number: int, rest: list[str]) -> None:
        client = self._client
        if table == "coil":
            done = self._checked(client.write_coil(number, rest[0] == "1", device_id=unit), 5, 8)
            if list(done.bits[:1]) != [rest[0] == "1"]:
                raise Refused("another value was confirmed than was written")
            return
        kind, order, value = rest[:3]
        registers = _registers(float(value), kind, order)
        if len(registers) == 1 and rest[3:] != ["multiple"]:
            done = self._checked(client.write_register(number, registers[0], device_id=unit), 6, 8)
            if list(done.registers[:1]) != registers:
                raise Refused("another value was confirmed than was written")
            return
        done = self._checked(client.write_registers(number, registers, device_id=unit), 16, 8)
        if done.count != len(registers):
            raise Refused("another number of registers was confirmed than was written")

    def _checked(self, response: Any, function: int, length: int) -> Any:
        """The response, if it fits its question and nothing is glued to it; ``length``: bytes of its frame on a serial line."""
        if self._on_a_serial_line and self._came - (5 if response.isError() else length) >= SHORTEST:
            raise ConnectionError(f"more came than one reply: {self._came} bytes")
        if response.isError():
            code = getattr(response, "exception_code", 0)
            raise Refused(f"{EXCEPTIONS.get(code, 'an exception')} (exception {code})")
        if response.function_code != function:
            raise Refused(f"the reply is to function {response.function_code}, asked was {function}")
        return response


def _number(registers: list[int], kind: str, order: str) -> str:
    """The number in registers, as text."""
    words = registers if order == "high" else registers[::-1]
    (value,) = struct.unpack(FORMATS[kind], struct.pack(f">{len(words)}H", *words))
    return f"{value:.9g}" if kind == "f32" else str(value)


def _registers(value: float, kind: str, order: str) -> list[int]:
    """A number as registers. Raises Refused if it does not fit."""
    try:
        content = struct.pack(FORMATS[kind], value if kind == "f32" else round(value))
    except (struct.error, OverflowError) as error:
        raise Refused(f"{value:g} does not fit into {kind}") from error
    words = list(struct.unpack(f">{len(content) // 2}H", content))
    return words if order == "high" else words[::-1]
