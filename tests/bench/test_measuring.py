"""The check of the instruments measures what they are like: round trips, age, steps between readings, limits in force."""

import datetime
import time

import pytest

from runner.bench.assembly import Bench
from runner.bench.checks.measuring import measured, step_of
from runner.bench.checks.self_check import call
from runner.conduct.clock import ScaledClock
from runner.errors import SheetError
from runner.sheets.bench import parse_bench
from runner.sheets.dialect import parse_dialect
from tests.instruments.bench import STREAMING
from tests.instruments.sockets import Listening
from tests.instruments.terminal import OnATerminal

SUPPLY = """\
kind: bench
name: one
instruments:
  supply: {{address: "TCPIP::127.0.0.1::{port}::SOCKET", limits: {{voltage: 30 V, current: 10 A}}}}
"""
PROBE = """\
kind: bench
name: one
instruments:
  probe: {{address: "{address}", dialect: s.yaml, serial: {{read_end: CR LF}}, accuracy: {{limit: 1 K}}, coupling: 0.1 K}}
"""


class Supply:
    """Takes 20 ms for each answer and reads in steps of 10 mV; its over-voltage limit is at 31 V."""

    def __init__(self):
        self.count = 0

    def talk(self, connection):
        for line in connection.makefile("rb"):
            replies = [self.answer(text.strip().lstrip(":")) for text in line.decode().split(";")]
            time.sleep(0.02)
            connection.sendall((";".join(filter(None, replies)) + "\n").encode())

    def answer(self, text):
        self.count += 1
        known = {"*IDN?": "MADE UP,1", "SYST:ERR?": "0", "*OPC?": "1", "VOLT:PROT?": "31.0", "CURR:PROT?": "9.5"}
        return known.get(text, f"{26 + 0.01 * (self.count % 7):.2f}" if text == "MEAS:VOLT?" else "0")


class On(Supply):
    """Somebody left its output on."""

    def answer(self, text):
        return "1" if text == "OUTP?" else super().answer(text)


@pytest.mark.parametrize(
    ("dates", "warned"),
    [
        ("", "no calibration stated; maker's accuracy used"),
        (", calibrated: 2026-01-05, calibration_due: 2026-11-01", "calibration was due on 2026-11-01"),
        (", calibrated: 2062-01-05", "calibrated on 2062-01-05, which is in the future: correct the bench file or"),
    ],
)
def test_an_output_that_is_on_and_dates_that_cannot_be_are_said(dates, warned):
    text = SUPPLY.replace("}}}}", f"}}}}{dates}}}}}", 1) if dates else SUPPLY
    with Listening(On().talk) as server:
        bench = Bench(parse_bench(text.format(port=server.port), "b"), {}, ScaledClock())
        (present,) = call(bench, datetime.date(2026, 11, 26))
        bench.close()
    assert present.warning.startswith(f"its output is on, and this check leaves it on; {warned}")


def test_a_calibration_that_was_due_before_it_was_done_is_refused():
    with pytest.raises(SheetError) as refused:
        parse_bench(
            SUPPLY.replace("}}}}", "}}, calibrated: 2026-05-01, calibration_due: 2025-05-01}}").format(port=1), "b"
        )
    (problem,) = refused.value.problems
    assert problem.what == "calibration_due is not after calibrated"


def test_round_trips_steps_and_limits_in_force_are_measured_and_said():
    with Listening(Supply().talk) as server:
        bench = Bench(parse_bench(SUPPLY.format(port=server.port), "b"), {}, ScaledClock())
        (present,) = call(bench, datetime.date(2026, 11, 26), measure=True)
        bench.close()
    found = present.measured.as_json()
    assert present.fault is None
    assert 0.02 <= found["round_trip_s"][0] <= found["round_trip_s"][1]
    assert found["steps"] == {"voltage": pytest.approx(0.01)}  # the current stands at 0: no step is seen
    assert found["limits_in_force"] == {"overvoltage_setting": 31.0, "overcurrent_setting": 9.5}
    said = "\n".join(present.details())
    assert "answers in " in said
    assert "steps between readings: voltage 0.01 V" in said
    assert "limits in force: over-voltage 31 V, over-current 9.5 A" in said


def test_what_talks_unasked_has_an_age_and_no_round_trip():
    with OnATerminal(lambda text: None) as instrument:
        dialect = parse_dialect(STREAMING, "s")
        bench = Bench(parse_bench(PROBE.format(address=instrument.address), "b"), {"probe": dialect}, ScaledClock())
        bench.speakers["probe"].link._listen()
        for number in range(8):
            instrument.send(f"T1 +0{20 + 0.5 * number:05.2f} C\r\n".encode())
            time.sleep(0.03)
        found = measured(bench, "probe").as_json()
        bench.close()
    assert found["round_trip_s"] is None
    assert 0.0 < found["age_s"] < 1.0


def test_a_step_is_what_all_differences_are_multiples_of():
    assert step_of([26.37, 26.40, 26.35]) == pytest.approx(0.01)
    assert step_of([1.0, 1.25, 1.75]) == pytest.approx(0.25)
    assert step_of([5.0, 5.0]) == step_of([5.0]) == 0.0
