"""A HiSLIP server of the tests, written from IVI-6.1 (rev. 1.0, sections 3 and 6: messages, initialization, data transfer).

Synchronized mode, no locks, no overlap. It shares nothing with the library that the program uses.
"""

import itertools
import socket
import struct
import time

from tests.instruments.sockets import Listening

HEADER = struct.Struct(">2sBBIQ")  # prologue, type, control code, parameter, length of the payload
INITIALIZE, INITIALIZE_RESPONSE, FATAL = 0, 1, 2
DATA, DATA_END, CLEAR_COMPLETE, CLEAR_ACKNOWLEDGE = 6, 7, 8, 9
MAX_SIZE, MAX_SIZE_RESPONSE = 15, 16
ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE, ASYNC_CLEAR = 17, 18, 19
STATUS_QUERY, STATUS_RESPONSE, ASYNC_CLEAR_ACKNOWLEDGE = 21, 22, 23
VERSION, LARGEST = 0x0100, 4096
SMALL = 16  # bytes of a piece of a reply: a whole one is DATA messages and one DATA_END


class HiSlip:
    """Answers messages with ``answer(text)``: bytes, None, or a tuple with pauses in s, as OnATerminal takes them.

    ``drops``: after so many messages both channels are closed without a word.
    """

    def __init__(self, answer, drops=None):
        self.answer, self.drops, self.dropped, self.messages = answer, drops, 0, 0
        self._sessions = itertools.count(1)
        self._sync = {}
        self.listening = Listening(self._talk)
        self.address = f"TCPIP::127.0.0.1::hislip0,{self.listening.port}::INSTR"
        self.plug, self.unplug = self.listening.plug, self.listening.unplug

    def close(self):
        self.listening.close()

    def _talk(self, connection):
        kind, _, parameter, _ = self._message(connection)
        if kind == INITIALIZE:
            number = next(self._sessions)
            self._sync[number] = connection
            self._send(connection, INITIALIZE_RESPONSE, 0, VERSION << 16 | number)
            self._synchronous(connection)
        elif kind == ASYNC_INITIALIZE and parameter in self._sync:
            self._send(connection, ASYNC_INITIALIZE_RESPONSE, 0, 0)
            self._asynchronous(connection)
        else:
            self._send(connection, FATAL, 3, 0)

    def _synchronous(self, connection):
        text = b""
        while True:
            kind, _, number, payload = self._message(connection)
            if kind == CLEAR_COMPLETE:
                self._send(connection, CLEAR_ACKNOWLEDGE, 0, 0)
                text = b""
            if kind not in (DATA, DATA_END):
                continue
            text += payload
            if kind == DATA_END:
                message, text = text.decode("latin1").strip(), b""
                self.messages += 1
                if self.drops and self.messages % self.drops == 0:
                    self.dropped += 1
                    self.unplug()
                    self.plug()
                    return
                self._reply(connection, number, self.answer(message))

    def _reply(self, connection, number, answer):
        for part in answer if isinstance(answer, tuple) else (answer,):
            if isinstance(part, float):
                time.sleep(part)
            elif part is not None:
                *firsts, last = [part[n : n + SMALL] for n in range(0, len(part), SMALL)] or [b""]
                for piece in firsts:
                    self._send(connection, DATA, 0, number, piece)
                whole = part.endswith(b"\n")  # half a reply has no end
                self._send(connection, DATA_END if whole else DATA, 0, number, last)

    def _asynchronous(self, connection):
        while True:
            kind, _, _, _ = self._message(connection)
            if kind == MAX_SIZE:
                self._send(connection, MAX_SIZE_RESPONSE, 0, 0, struct.pack(">Q", LARGEST))
            elif kind == ASYNC_CLEAR:
                self._send(connection, ASYNC_CLEAR_ACKNOWLEDGE, 0, 0)
            elif kind == STATUS_QUERY:
                self._send(connection, STATUS_RESPONSE, 0, 0)

    @staticmethod
    def _send(connection, kind, control, parameter, payload=b""):
        connection.sendall(HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload)

    @staticmethod
    def _message(connection):
        head = connection.recv(HEADER.size, socket.MSG_WAITALL)
        if len(head) < HEADER.size:
            raise ConnectionError("gone")
        prologue, kind, control, parameter, length = HEADER.unpack(head)
        if prologue != b"HS":
            raise ConnectionError("no HiSLIP")
        payload = connection.recv(length, socket.MSG_WAITALL) if length else b""
        return kind, control, parameter, payload
