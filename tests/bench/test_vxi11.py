"""VXI-11 through PyVISA, against a device written from its specification: no swapped reading, no line that lives on, off on one link."""

import gc
import threading
import time

import pytest

from runner.bench.link import Link
from runner.bench.off import Asked, OffWords, insist
from runner.bench.replies import Reading
from runner.bench.transports.choose import Wiring
from runner.errors import LinkError
from tests.instruments.patience import ANSWERED, SILENT, silence
from tests.instruments.vxi11 import LAST, Raw, Vxi11
from tests.processes import until

OFF = OffWords("OUTP OFF", None, Asked("OUTP?", Reading("([01])")))


@pytest.fixture(autouse=True)
def _an_opening_may_take_its_time(monkeypatch):
    Wiring("TCPIP::192.0.2.1::INSTR").load()  # not within the first opening
    monkeypatch.setattr("runner.bench.link.OPEN_TIMEOUT", ANSWERED)


@pytest.fixture
def linked():
    made = []

    def make(answer, waits=None, **more):
        """``waits``: s that the device is told to wait for a reply, the time-out of the link without."""
        device = Vxi11(answer, **more)
        made.append(device)
        link = Link(
            lambda: Wiring(device.address, timeout=waits or link.timeout).transport(),
            device.address,
            "meter",
            timeout=ANSWERED,
        )
        made.append(link)
        return link, device

    yield make
    for each in reversed(made):
        each.close()


def test_questions_get_their_answers_on_one_link(linked):
    link, device = linked(lambda text: f"{text.strip('?')}.5\n".encode())
    assert [link.ask(f"{n}?") for n in range(20)] == [[f"{n}.5"] for n in range(20)]
    assert len(device.links) == link.openings == 1
    link.close()
    until(lambda: not device.links, ANSWERED, "the link to be destroyed")


def test_a_reply_longer_than_one_reading_and_in_two_fragments_is_whole(linked):
    long = b"8" * 5000 + b"\n"
    link, _ = linked(lambda text: long, spoil=lambda reply: (Raw(_in_two(reply)),))
    assert link.ask("A?") == ["8" * 5000]


def _in_two(reply):
    """RFC 5531, section 11: a record is fragments, of which the last has its highest bit set."""
    first, second = reply[:10], reply[10:]
    return len(first).to_bytes(4, "big") + first + (LAST | len(second)).to_bytes(4, "big") + second


def test_after_half_a_reply_and_after_none_the_next_answer_belongs_to_the_next_question(linked):
    acts = iter((b"12.3", None, b"7.5\n", b"8.5\n"))
    link, _ = linked(lambda text: next(acts))
    for _ in range(2):
        with silence(link):
            link.ask("A?")
    assert [link.ask("B?"), link.ask("C?")] == [["7.5"], ["8.5"]]


def test_the_record_of_an_earlier_call_answers_no_later_one(linked):
    kept = []

    def spoil(reply):
        kept.append(reply)
        return (*kept[-3:-1], reply)

    link, _ = linked(lambda text: f"{text.strip('?')}.5\n".encode(), spoil=spoil)
    assert [link.ask(f"{n}?") for n in range(9)] == [[f"{n}.5"] for n in range(9)]


def test_a_line_on_which_bytes_never_end_is_cut_and_reads_no_further(linked):
    """The library looks at the time only while nothing comes."""
    floods = threading.Event()

    class Endless:
        def __iter__(self):
            yield Raw(b"\xff\xff\xff\xff")
            while floods.is_set():
                yield Raw(b"8" * 4096)
                yield 0.001

    link, _ = linked(lambda text: b"1.5\n", spoil=lambda reply: Endless() if floods.is_set() else (reply,))
    assert link.ask("A?") == ["1.5"]
    floods.set()
    try:
        with silence(link):
            link.ask("A?")
        names = ("line meter", "closing meter")
        until(lambda: not [each for each in threading.enumerate() if each.name in names], 60.0, "the line to end")
    finally:
        floods.clear()
    assert link.ask("A?") == ["1.5"]


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"
)  # the library's, of a link that was refused
def test_one_that_has_a_single_link_and_hangs_is_switched_off_as_soon_as_it_hears_again(linked):
    """It was given up in a reading; without its link nothing can be sent to it."""
    state, acts = {"on": True}, iter((b"1.5\n",))

    def answer(text):
        if text == "OUTP OFF":
            state["on"] = False
        return b"%d\n" % state["on"] if text == "OUTP?" else next(acts, None)

    link, device = linked(answer, most=1, waits=2 * SILENT, stuck=0.5)
    assert link.ask("A?") == ["1.5"]
    with silence(link):
        link.ask("A?")
    assert insist(link, OFF, time.sleep)
    assert not state["on"]
    assert len(device.links) == 1
    gc.collect()  # so that what the library left open is found here


@pytest.mark.parametrize("error", [3, 4, 9, 11, 15, 17, 23])
def test_an_error_of_the_device_is_a_fault_and_off_goes_out_on_a_new_link(linked, error):
    """Errors of device_write, VXI-11 rev. 1.0, B.6."""
    bad, state = [False], {"on": True}

    def spoil(reply):
        spoilt, bad[0] = bad[0], False
        return (reply[:24] + error.to_bytes(4, "big") + reply[28:] if spoilt else reply,)

    def answer(text):
        if text == "OUTP OFF":
            state["on"] = False
        return b"%d\n" % state["on"] if text == "OUTP?" else b"1.5\n"

    link, _ = linked(answer, spoil=spoil)
    assert link.ask("A?") == ["1.5"]
    bad[0], link.timeout = True, SILENT
    with pytest.raises(LinkError):
        link.ask("A?")
    link.timeout = ANSWERED
    assert insist(link, OFF, time.sleep)
    assert not state["on"]
