"""A Modbus unit of the tests, written from the MODBUS Application Protocol Specification V1.1b3 and, for serial lines, the
MODBUS over Serial Line Specification V1.02; it shares nothing with the library that the program uses.
"""

import contextlib
import socket
import struct
import threading
import time

from tests.instruments.sockets import Listening
from tests.instruments.terminal import Pty


def crc(content):
    """CRC-16 of a serial frame, low byte first (serial line specification, 6.2.2)."""
    value = 0xFFFF
    for byte in content:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ 0xA001 if value & 1 else value >> 1
    return struct.pack("<H", value)


class Unit:
    """Answers requests from tables of functions: ``read`` and ``write`` by (table, number); a missing one is exception 2.

    ``delay`` in s before each reply; ``spoil(reply)`` may change the frame; ``written`` is all that was written; nothing is heard
    as long as ``deaf()`` says so.
    """

    def __init__(self, number=1):
        self.number, self.read, self.write, self.written = number, {}, {}, []
        self.delay, self.spoil, self.deaf = 0.0, lambda frame: frame, lambda: False

    def answer(self, request):
        function = request[0]
        try:
            return self._answer(function, request)
        except KeyError:
            return bytes([function | 0x80, 2])
        except ValueError:
            return bytes([function | 0x80, 3])

    def _answer(self, function, request):
        number, count = struct.unpack(">HH", request[1:5])
        if function in (1, 2):
            table = {1: "coil", 2: "discrete"}[function]
            bits = sum(int(self.read[table, number + n]()) << n for n in range(count))
            content = bits.to_bytes((count + 7) // 8, "little")
            return bytes([function, len(content)]) + content
        if function in (3, 4):
            table = {3: "holding", 4: "input"}[function]
            words = [self.read[table, number + n]() & 0xFFFF for n in range(count)]
            return bytes([function, 2 * count]) + struct.pack(f">{count}H", *words)
        if function == 5:
            self._set("coil", number, int(count == 0xFF00))
            return request[:5]
        if function == 6:
            self._set("holding", number, count)
            return request[:5]
        if function == 16:
            for n, value in enumerate(struct.unpack(f">{count}H", request[6 : 6 + 2 * count])):
                self._set("holding", number + n, value)
            return request[:5]
        return bytes([function | 0x80, 1])

    def _set(self, table, number, value):
        self.write[table, number](value)
        self.written.append((table, number, value))


class OverTcp:
    """Units on a TCP port."""

    def __init__(self, *units):
        self.units = {unit.number: unit for unit in units}
        self._listening = Listening(self._talk)
        self.plug, self.unplug = self._listening.plug, self._listening.unplug
        self.address = f"MODBUS::127.0.0.1::{self._listening.port}"

    def _talk(self, connection):
        with contextlib.suppress(struct.error):
            while head := connection.recv(7, socket.MSG_WAITALL):
                transaction, _, length, number = struct.unpack(">HHHB", head)
                request = connection.recv(length - 1, socket.MSG_WAITALL)
                unit = self.units.get(number)
                if unit is None or unit.deaf():
                    continue
                reply = unit.answer(request)
                time.sleep(unit.delay)
                frame = struct.pack(">HHHB", transaction, 0, len(reply) + 1, number) + reply
                self.send(unit.spoil(frame), connection.sendall)

    @staticmethod
    def send(content, onward):
        onward(content)

    def close(self):
        self._listening.close()

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()


class OverSerial:
    """Units on a pseudo terminal. A frame is whole when nothing more comes for 3 ms. ``link`` as for Pty."""

    def __init__(self, *units, link=None):
        self.units = {unit.number: unit for unit in units}
        self._pty = Pty(link)
        self.path, self.plug, self.unplug = self._pty.path, self._pty.plug, self._pty.unplug
        self.address = f"MODBUS::{self.path}"
        self._over = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def send(self, content):
        """Bytes that nobody asked for."""
        self._pty.write(content)

    def _run(self):
        frame = b""
        while not self._over:
            if came := self._pty.read(0.003):
                frame += came
                continue
            unit = self.units.get(frame[0]) if len(frame) >= 4 and crc(frame[:-2]) == frame[-2:] else None
            if unit is not None and not unit.deaf():
                reply = frame[:1] + unit.answer(frame[1:-2])
                time.sleep(unit.delay)
                self.send(unit.spoil(reply + crc(reply)))
            frame = b""

    def close(self):
        self._over = True
        self._thread.join(1.0)
        self._pty.close()

    def __enter__(self):
        return self

    def __exit__(self, *error):
        self.close()
