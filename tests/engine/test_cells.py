"""Before cells are charged beyond full, the highest and the lowest are compared. Common practice, no source."""

import pytest

from runner.conduct.resume import where
from runner.engine.opening import CAUTIONS
from runner.engine.run import Run
from runner.events import Answered, OutputIsOff, Resumed, Sampled, Started
from runner.orders import Ask, BeginStep, End, Note, SetLimits
from runner.record.journal import JournalEntry
from runner.workspace.job import load
from tests.builders import BENCH, PACK, user_file

PROCEDURE = """\
kind: procedure
name: looks
title: Looks
purpose: to look
needs: [supply]
cautions: [Be careful.]
ceilings: {voltage: full charge voltage + 0.4 V, current: 0.15 C, time: 2 h}
steps:
  - cells: {say: Read the cells., within: 20 mV}
  - charge: {voltage: full charge voltage, current: 0.1 C, steady: 10 s}
"""
METERS = "  meters:\n" + "".join(
    f'    c{n}: {{place: cell, cell: {n}, address: "TCPIP::127.0.0.1::9::SOCKET"}}\n' for n in range(1, 9)
)
UTC = "2026-11-26T08:00:00+00:00"
WIDE = ["read", "3.46", "3.43"]


class Cells:
    """A run with a hold point on the cells, answered question by question."""

    def __init__(self, meters="", procedure=PROCEDURE):
        bench = BENCH.format(port=1) + meters
        job = load(user_file("p.yaml", procedure), user_file("k.yaml", PACK), user_file("b.yaml", bench))
        self.run, self.t, self.told, self.asked = Run(job.program), 0.0, [], ""
        self.has(Started(0.0, ""))
        self.has(OutputIsOff(0.0, True))
        self.answer("go on")

    def has(self, event):
        for order in self.run.receive(event):
            self.told.append(order)
            self.asked = order.question if isinstance(order, Ask) else self.asked

    def answer(self, *values, note=""):
        for value in values:
            self.t += 1
            self.has(Answered(self.t, self.asked, value, "me", note))
        return self

    @property
    def goes_on(self):
        return any(isinstance(order, SetLimits) for order in self.told)

    @property
    def choices(self):
        return next(order.choices for order in reversed(self.told) if isinstance(order, Ask))

    @property
    def end(self):
        """The end, once everything has said that it is off."""
        self.has(OutputIsOff(self.t + 1, True, everything=True))
        return next(order for order in self.told if isinstance(order, End))

    @property
    def note(self):
        return next((order.text, order.why) for order in self.told if isinstance(order, Note))


def test_cells_that_were_read_and_are_close_go_on():
    cells = Cells().answer("read", "3.4301", "3.4101")
    assert cells.goes_on
    assert cells.note == ("20 mV (highest 3.430 V, lowest 3.410 V), typed by me", "")


@pytest.mark.parametrize(
    ("answers", "said"), [(WIDE, "30 mV (highest 3.460 V, lowest 3.430 V)"), (["not seen"], "not seen")]
)
def test_cells_that_are_apart_or_were_not_seen_need_a_reason_that_is_recorded(answers, said):
    cells = Cells().answer(*answers)
    assert not cells.goes_on
    assert not cells.answer("agree", note=" ").goes_on
    assert cells.answer("agree", note="maker's advice").goes_on
    assert cells.note == (said, "accepted by me: maker's advice")


def test_millivolts_without_their_unit_are_no_cells_that_anybody_can_agree_to():
    """1900 and 1895 are 5 mV apart, and must not be charged: the number says neither."""
    cells = Cells().answer("read", "1900", "1900", "1895", "1895")
    assert "No cell can have 1900 V" in cells.told[-1].say
    assert cells.told[-1].choices == ("read again",)
    assert not cells.answer("agree", note="5 mV").goes_on
    assert cells.answer("read again", "read", "3.44", "3.43").goes_on


def test_a_cell_that_is_too_low_to_be_charged_goes_no_further():
    cells = Cells(
        procedure=PROCEDURE.replace("within: 20 mV", "within: 20 mV, lowest: 0.8 * cut-off voltage / cells in series")
    )
    cells.answer("read", "1.998", "1.990").answer("agree", note="maker's advice")
    assert not cells.goes_on
    assert "below 2 V" in cells.run.step.sentence()
    assert cells.answer("read again", "read", "2.02", "2.01").goes_on


@pytest.mark.parametrize(
    ("answers", "found"), [(WIDE, "30 mV (highest 3.460 V, lowest 3.430 V)"), (["not seen"], "not seen")]
)
def test_who_does_not_accept_the_cells_leaves_the_procedure_out_and_nothing_is_switched_on(answers, found):
    cells = Cells().answer(*answers).answer("leave out", note="to be balanced")
    end = cells.end
    assert (end.left_out, end.early, end.safe) == (True, False, True)
    assert end.reason == f"not accepted by me: to be balanced (spread of the cells {found})"
    assert not cells.goes_on


def test_a_cell_that_is_too_low_is_not_left_to_the_next_procedure_which_would_charge_it():
    cells = Cells(procedure=PROCEDURE.replace("within: 20 mV", "within: 20 mV, lowest: 2 V"))
    cells.answer("read", "1.998", "1.990")
    assert cells.choices == ("read again",)
    assert cells.answer("leave out").asked != CAUTIONS
    assert not any(isinstance(order, End) for order in cells.told)
    assert not cells.goes_on


def test_what_has_begun_to_flow_is_not_left_out_any_more():
    """Its findings would be lost: such a run is stopped, and resumed or not."""
    assert "leave out" in Cells().answer(*WIDE).choices
    assert "leave out" not in resumed(after=600.0).answer(*WIDE).choices


def test_cells_that_were_balanced_meanwhile_are_read_again():
    assert Cells().answer(*WIDE, "read again", "read", "3.44", "3.43").goes_on


@pytest.mark.parametrize(("last", "goes_on"), [(3.41, True), (3.40, False)])
def test_a_meter_at_every_cell_needs_no_person(last, goes_on):
    cells = Cells(METERS)
    assert cells.asked == CAUTIONS
    volts = {f"meter_c{n}_voltage_V": 3.43 for n in range(1, 8)}
    cells.has(Sampled(2.0, volts))
    assert not cells.goes_on
    cells.has(Sampled(3.0, {"meter_c8_voltage_V": last}))
    assert cells.goes_on is goes_on


def resumed(after, begin=1, rested=0.0):
    """A run that goes on after a break of so many seconds, at the charge, once the cautions are answered."""
    cells = Cells()
    cells.run, cells.told = Run(cells.run.program, begin, rested=rested), []
    cells.has(Resumed(1000.0, "", "power", after))
    cells.has(OutputIsOff(1000.0, True))
    cells.t = 1000.0
    return cells.answer("go on")


def test_after_a_long_break_the_cells_are_compared_again_before_current_flows():
    cells = resumed(after=600.0)
    assert not cells.goes_on
    assert cells.run.step.planned.kind == "cells"
    assert not cells.answer(*WIDE).goes_on
    assert cells.answer("read again", "read", "3.44", "3.43").goes_on
    assert cells.run.step.planned.index == 1


def test_after_a_short_break_they_are_not():
    assert resumed(after=60.0).goes_on


def test_a_comparison_after_a_break_takes_a_second_break_not_back_to_the_beginning(tmp_path):
    program = Cells().run.program
    begun = [(0, "cells"), (1, "charge"), (0, "cells")]  # the last one after a break
    entries = [JournalEntry(float(n), UTC, BeginStep(index, kind, "")) for n, (index, kind) in enumerate(begun)]
    assert where(entries, program, tmp_path).step == 1


BEGUN = [BeginStep(0, "cells", ""), BeginStep(1, "charge", "")]


@pytest.mark.parametrize(
    ("since", "goes_on"),
    [
        ([Resumed(0.0, "", "power", 7200.0), BeginStep(0, "cells", "")], False),  # broke off in the comparison
        ([Resumed(0.0, "", "power", 7200.0)], False),  # at the cautions
        ([Resumed(0.0, "", "power", 200.0), Resumed(0.0, "", "power", 200.0)], False),  # two of 200 s, and this one
        ([Resumed(0.0, "", "power", 7200.0), *BEGUN], True),  # compared, and gone on with
        ([], True),
    ],
)
def test_breaks_with_nothing_of_the_procedure_between_them_are_one(tmp_path, since, goes_on):
    program = Cells().run.program
    entries = [JournalEntry(float(n), UTC, what) for n, what in enumerate([*BEGUN, *since])]
    resumption = where(entries, program, tmp_path)
    assert resumption.step == 1
    assert resumed(after=60.0, begin=resumption.step, rested=resumption.rested).goes_on is goes_on


@pytest.mark.parametrize(
    ("now", "elapsed", "goes_on"),
    [
        ("2026-11-26T08:01:00+00:00", 661.0, True),
        ("2026-11-26T09:00:00+00:00", 4201.0, False),
        ("2026-11-26T07:59:00+00:00", 602.0, False),  # a computer whose clock has lost its battery
    ],
)
def test_a_break_is_what_the_clock_says_since_the_last_line_and_unknown_where_it_is_behind_it(
    tmp_path, now, elapsed, goes_on
):
    """The clock was set right in the run: its first line is of another day."""
    first, last = JournalEntry(0.0, "1970-01-01T00:00:00+00:00", BEGUN[0]), JournalEntry(601.0, UTC, BEGUN[1])
    resumption = where([first, last], Cells().run.program, tmp_path)
    assert resumption.elapsed(now) == elapsed
    again = where(
        [first, last, JournalEntry(elapsed, now, Resumed(elapsed, "", "", elapsed - 601.0))],
        Cells().run.program,
        tmp_path,
    )
    assert (again.rested <= 300.0) is goes_on, "a run that breaks off once more at once knows of it"
    assert resumed(resumption.elapsed(now) - 601.0, 1, resumption.rested_before(now)).goes_on is goes_on


def test_a_silent_meter_at_a_cell_leaves_it_to_a_person():
    cells = Cells(METERS)
    cells.has(Sampled(20.0, {"meter_c1_voltage_V": 3.4}))
    assert "No reading from meter c2" in cells.run.step.sentence()
    assert not cells.goes_on
