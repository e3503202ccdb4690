"""An instrument that talks unasked: the newest line and its age, never an old one."""

import threading
import time

import pytest

from runner.bench.dialect import Driver
from runner.bench.framing import Framing
from runner.bench.sessions.listening import Listener
from runner.bench.transports.choose import Wiring
from runner.errors import LinkError, SheetError
from runner.sheets.dialect import parse_dialect
from tests.instruments.terminal import OnATerminal

STREAM = """\
kind: dialect
name: talks
role: probe
listen: true
queries:
  temperature: {reply: 'T1 ([0-9.]+)', scale: 0.1}
"""


class Talking:
    """Counts up, a line every ``every`` s, until it is told to be silent."""

    def __init__(self, every):
        self.terminal = OnATerminal(lambda text: None)
        self.count, self.silent, self.over = 0, False, threading.Event()
        self.thread = threading.Thread(target=self._run, args=(every,), daemon=True)
        self.thread.start()

    def _run(self, every):
        while not self.over.wait(every):
            if not self.silent:
                self.count += 1
                self.terminal.send(f"T1 {self.count}\r\nT2 999\r\n".encode())

    def close(self):
        self.over.set()
        self.thread.join()
        self.terminal.close()


@pytest.fixture
def talking():
    made = []

    def make(every=0.02, timeout=0.3):
        instrument = Talking(every)
        wired = Wiring(instrument.terminal.address, "@py", timeout, Framing(read_end="\r\n"))
        link = Listener(wired.transport, wired.address, "probe", timeout=timeout, framing=wired.framing)
        made.extend([instrument, link])
        return instrument, Driver(link, parse_dialect(STREAM, "d"))

    yield make
    for each in reversed(made):
        each.finish() if isinstance(each, Listener) else each.close()


def test_the_newest_line_counts_however_rarely_it_is_looked_at(talking):
    instrument, driver = talking()
    driver.number("temperature")
    for _ in range(3):
        time.sleep(0.5)
        assert driver.number("temperature") * 10 >= instrument.count - 6  # 0.1 s each: a busy machine may be late
        assert driver.age < 0.1


def test_the_age_of_a_line_is_known(talking):
    _, driver = talking(every=0.2, timeout=1.0)
    ages = []
    for _ in range(20):
        driver.number("temperature")
        ages.append(driver.age)
        time.sleep(0.03)
    assert 0.0 <= min(ages) < 0.06
    assert 0.1 < max(ages) < 0.3


def test_an_old_line_is_no_reading(talking):
    instrument, driver = talking()
    driver.number("temperature")
    instrument.silent = True
    time.sleep(0.4)
    with pytest.raises(LinkError, match=r"no line that fits|no reply"):
        driver.number("temperature")
    instrument.silent = False
    time.sleep(1.2)
    assert driver.number("temperature") * 10 >= instrument.count - 6  # 0.1 s each: a busy machine may be late


def test_what_talks_unasked_is_asked_nothing():
    with pytest.raises(SheetError, match="asked nothing"):
        parse_dialect(STREAM.replace("{reply:", "{ask: 'T?', reply:"), "d")
    with pytest.raises(SheetError, match="nothing to ask"):
        parse_dialect(STREAM.replace("listen: true\n", ""), "d")
