"""A transport that answers from a table, for drivers of text instruments."""

from runner.bench.dialect import Driver
from runner.bench.link import Link
from runner.sheets.dialect import parse_dialect

BENCH = """\
kind: bench
name: one
instruments:
  load: {address: "TCPIP::192.0.2.2::1::SOCKET", dialect: scpi, limits: {voltage: 30 V, current: 40 A}}
"""


class Wire:
    """A transport that answers from a table and remembers what it was told, each opening by itself."""

    blocks, sees_unread = False, False

    def __init__(self, answers, said):
        self.answers, self.said, self.reply = answers, said, b""

    def open(self, seconds): ...

    def close(self): ...

    def write(self, message):
        text = message.decode().strip()
        self.said.append(text)
        for name, answer in self.answers.items():
            if text.endswith(name):
                self.reply = (answer() if callable(answer) else answer).encode() + b"\n"

    def read(self, limit, seconds):
        if not self.reply:
            raise TimeoutError
        reply, self.reply = self.reply, b""
        return reply


def driver(text, answers, channel="", **more):
    said = []
    dialect = parse_dialect(text, "own.yaml") if isinstance(text, str) else text
    link = Link(lambda: Wire(answers, said), "A", dialect.role, timeout=0.2, **more)
    return Driver(link, dialect, channel), said
