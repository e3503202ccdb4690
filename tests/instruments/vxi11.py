"""A VXI-11 device of the tests, written from the VXI-11 TCP/IP Instrument Protocol Specification (rev. 1.0, section B.6, the core
channel), with the messages of RFC 5531 (RPC, record marking) and RFC 4506 (XDR). It shares nothing with the library that the program uses.

Its port stands in its address, so that no port mapper is needed. A new message clears what is left of an old reply, as IEEE 488.2 asks.
"""

import contextlib
import itertools
import socket
import struct
import time

from tests.instruments.sockets import Listening

CORE, VERSION = 0x0607AF, 1
CREATE_LINK, WRITE, READ, CLEAR, DESTROY_LINK = 10, 11, 12, 15, 23
NO_ERROR, INVALID_LINK, NOT_SUPPORTED, OUT_OF_RESOURCES, IO_TIMEOUT = 0, 4, 8, 9, 15
END, TERMCHAR_SET = 8, 128  # flags of a call
COUNT_REACHED, CHARACTER, WHOLE = 1, 2, 4  # reasons why a reading ends
LAST, LONGEST = 0x80000000, 1 << 16  # of a fragment: the bit of the last one; bytes that are taken
LARGEST = 1024  # bytes of a message that are taken at a time


def opaque(content):
    """Bytes as XDR has them: their number, they, and zeros up to a multiple of four."""
    return struct.pack(">I", len(content)) + content + bytes(-len(content) % 4)


class Vxi11:
    """Answers messages with ``answer(text)``: bytes, None, or a tuple with pauses in s, as OnATerminal takes them.

    ``spoil(reply)`` gives what is sent in place of a record of RPC: records, pauses in s, and ``Raw`` for what is no record.
    ``most``: so many links at a time; one ends when it is destroyed, and not with its connection. ``stuck`` is by how many s it
    comes back late from a reading that found nothing.
    """

    def __init__(self, answer, spoil=lambda reply: (reply,), most=None, stuck=0.0):
        self.answer, self.spoil, self.most, self.stuck = answer, spoil, most, stuck
        self.messages, self.links = 0, set()
        self.numbers = itertools.count(1)
        self.listening = Listening(self._talk)
        self.address = f"TCPIP::127.0.0.1,{self.listening.port}::inst0::INSTR"
        self.plug, self.unplug = self.listening.plug, self.listening.unplug

    def close(self):
        self.listening.close()

    def _talk(self, connection):
        channel = Channel(self)
        with contextlib.suppress(struct.error):
            while call := self._record(connection):
                xid, _, _, program, version, procedure = struct.unpack(">6I", call[:24])
                arguments = call[24:]
                for _ in range(2):  # credentials and verifier
                    length = struct.unpack(">I", arguments[4:8])[0]
                    arguments = arguments[8 + length + -length % 4 :]
                known = (program, version) == (CORE, VERSION)
                head = struct.pack(">6I", xid, 1, 0, 0, 0, 0 if known else 1)  # a reply, accepted, no verifier
                self._send(connection, head + (channel.call(procedure, arguments) if known else b""))

    def _send(self, connection, reply):
        for part in self.spoil(reply):
            if isinstance(part, float):
                time.sleep(part)
            elif isinstance(part, Raw):
                connection.sendall(part)
            else:
                connection.sendall(record(part))

    @staticmethod
    def _record(connection):
        whole, last = b"", False
        while not last:
            head = connection.recv(4, socket.MSG_WAITALL)
            mark = struct.unpack(">I", head)[0]
            last, length = bool(mark & LAST), min(mark & ~LAST, LONGEST)
            whole += connection.recv(length, socket.MSG_WAITALL)
        return whole


class Raw(bytes):
    """Bytes that are sent as they are."""


def record(content, last=True):
    """Bytes as a fragment of a record."""
    return struct.pack(">I", LAST * last | len(content)) + content


class Channel:
    """What one connection is to the device: what was written, and the parts of the reply with the times from which on they are there."""

    def __init__(self, device):
        self._device, self._written, self._reply = device, b"", []

    def call(self, procedure, arguments):
        """The results of one procedure."""
        if procedure == CREATE_LINK:
            if self._device.most is not None and len(self._device.links) >= self._device.most:
                return struct.pack(">4I", OUT_OF_RESOURCES, 0, 0, 0)
            number = next(self._device.numbers)
            self._device.links.add(number)
            return struct.pack(">4I", NO_ERROR, number, 0, LARGEST)
        (number,) = struct.unpack(">I", arguments[:4])
        known = number in self._device.links
        if procedure == WRITE:
            return self._write(arguments[4:]) if known else struct.pack(">2I", INVALID_LINK, 0)
        if procedure == READ:
            error, why, content = (
                self._read(*struct.unpack(">5I", arguments[4:24])) if known else (INVALID_LINK, 0, b"")
            )
            return struct.pack(">2I", error, why) + opaque(content)
        if procedure == DESTROY_LINK:
            self._device.links.discard(number)
        elif procedure == CLEAR:
            self._written, self._reply = b"", []
        else:
            return struct.pack(">I", NOT_SUPPORTED)
        return struct.pack(">I", NO_ERROR if known else INVALID_LINK)

    def _write(self, arguments):
        _, _, flags, length = struct.unpack(">4I", arguments[:16])
        self._written += arguments[16 : 16 + length]
        if flags & END:
            text, self._written = self._written.decode("latin1").strip(), b""
            self._device.messages += 1
            answer, at = self._device.answer(text), time.monotonic()
            self._reply = []
            for part in answer if isinstance(answer, tuple) else (answer,):
                if isinstance(part, float):
                    at += part
                elif part:
                    self._reply.append((at, part))
        return struct.pack(">2I", NO_ERROR, length)

    def _read(self, most, milliseconds, _, flags, character):
        until, found = time.monotonic() + milliseconds / 1000, b""
        while self._reply and self._reply[0][0] <= until:
            at, part = self._reply.pop(0)
            time.sleep(max(0.0, at - time.monotonic()))
            found += part
            stop = found.find(bytes([character & 255])) + 1 if flags & TERMCHAR_SET else 0
            end = min(stop or len(found), most)
            whole = part.endswith(b"\n") and end == len(found)  # half a reply has no end
            if stop or whole or len(found) >= most:
                if rest := found[end:]:
                    self._reply.insert(0, (at, rest))
                return NO_ERROR, COUNT_REACHED * (end == most) | CHARACTER * (end == stop) | WHOLE * whole, found[:end]
        time.sleep(max(0.0, until - time.monotonic()) + self._device.stuck)
        return IO_TIMEOUT, 0, found
