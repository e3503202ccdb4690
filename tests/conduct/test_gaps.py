"""Readings that stop for up to ten seconds cost no ramp; what cannot go on ends early and is resumed to all its findings."""

import pytest

from runner.conduct.resume import where
from runner.orders import BeginStep, Conclude, Guide
from runner.record.folder import EVENTS
from runner.record.journal import read_journal
from runner.twin.parameters import Fault
from tests.broken_off import broken_run, gone_on
from tests.builders import SHORT_PROCEDURE, rehearsed, short_rehearsal, user_file

SHORT = user_file("short.yaml", SHORT_PROCEDURE)


def true_threshold(run, name):
    return run.truth["thresholds"]["charge_over_temperature"]["T1"][name]


# at 60 s the sensor is warmed quickly, at 305 s the slow ramp is on, at 365 s the trip comes, at 480 s the release is near
@pytest.mark.parametrize(
    ("what", "at"),
    [
        *(("supply silent", at) for at in (60.0, 305.0, 362.0, 480.0)),
        *(("supply hangs up", at) for at in (305.0, 480.0)),
        *(("probe silent", at) for at in (60.0, 362.0)),
    ],
)
def test_a_ramp_with_a_gap_is_repeated_and_the_threshold_is_the_true_one(tmp_path, what, at):
    told = []
    run = short_rehearsal(tmp_path, faults=(Fault(what, at, 10.0),), tell=lambda order, t: told.append(order))
    assert not run.result.outcome.early, run.result.outcome.reason
    assert run.result.evaluation.exit_status == 0
    for name in ("trip", "release"):
        found = run.finding(name)
        assert abs(found.value - true_threshold(run, name)) < 1.5 * found.expanded_uncertainty
    if at > 300.0 or what != "probe silent":
        assert any(isinstance(each, Conclude) and each.outcome == "lost" for each in told)
        assert any(isinstance(each, Guide) and "A reading is missing. Keep heat" in each.say for each in told)
        assert any(isinstance(each, BeginStep) and each.kind == "bring back" for each in told)


@pytest.mark.parametrize(("at", "lasts"), [(310.0, 0.3), (310.0, 0.45), (310.1, 0.45)])
def test_a_hiccup_shorter_than_a_time_out_repeats_nothing(tmp_path, at, lasts):
    told = []
    run = short_rehearsal(
        tmp_path, faults=(Fault("supply silent", at, lasts),), tell=lambda order, t: told.append(order)
    )
    assert run.result.evaluation.exit_status == 0
    assert not any(isinstance(each, Conclude) and each.outcome == "lost" for each in told)


def test_readings_that_stay_away_end_the_run_early(tmp_path):
    """An instrument that needs its plug pulled: the run ends early, nothing is concluded, and it goes on later."""
    run = short_rehearsal(tmp_path, faults=(Fault("supply silent", 310.0, 60.0),))
    assert run.result.outcome.early
    assert "no valid voltage for 15 s with the output on" in run.result.outcome.reason
    assert run.result.evaluation.exit_status == 4
    assert not run.world.supply_on


def test_readings_that_go_again_and_again_are_not_repeated_for_ever(tmp_path):
    faults = tuple(Fault("supply silent", at, 4.0) for at in range(300, 20000, 60))
    run = short_rehearsal(tmp_path, faults=faults)
    assert run.result.evaluation.exit_status in (3, 4)
    assert run.finding("trip").conformity == "not measured"


def test_after_the_supply_went_off_by_itself_nothing_goes_on_before_a_person_has_looked(tmp_path):
    told = []
    run = short_rehearsal(
        tmp_path, faults=(Fault("supply trips", 310.0, 0.5),), tell=lambda order, t: told.append(order)
    )
    assert run.result.evaluation.exit_status == 0
    kinds = [getattr(each, "kind", "") or type(each).__name__ for each in told]
    spoiled = next(n for n, each in enumerate(told) if isinstance(each, Conclude) and each.outcome == "limited")
    after = [each for each in kinds[spoiled:] if each in ("Ask", "SwitchOn", "confirm", "charge")]
    assert after.index("Ask") < after.index("charge")
    assert len(run.finding("trip").repeats) == 1


@pytest.mark.parametrize("instant", [400.0, 440.0, 470.0])  # between the trip and the release
@pytest.mark.parametrize("after", [2.0, 60.0])
def test_a_run_that_goes_on_while_the_pack_is_still_tripped_brings_the_sensor_past_its_release(
    tmp_path, instant, after
):
    broken = broken_run(tmp_path, SHORT, instant)
    assert broken.world.pack.system.charge_open, "a test of a tripped pack has to have one"
    evaluation = gone_on(broken, after).evaluation
    assert evaluation.exit_status == 0
    assert {each.name: each.conformity for each in evaluation.findings} == {"trip": "pass", "release": "pass"}
    assert evaluation.story.end.undone == 0


def test_a_pack_that_has_latched_is_not_waited_for_for_ever_and_what_is_left_undone_is_no_pass(tmp_path):
    procedure = SHORT_PROCEDURE.replace("findings: [trip, release]", "findings: [trip]")
    run = rehearsed(tmp_path, "no-release", procedure=user_file("short.yaml", procedure), sensors=("T1", "T2"))
    assert run.finding("trip").conformity == "pass"
    assert run.finding("trip", "T2").conformity == "not measured"
    assert run.result.evaluation.story.end.undone > 0
    assert run.result.evaluation.exit_status == 3


def test_planned_work_that_is_left_undone_is_never_exit_0(tmp_path):
    """Two of three ramps measured and the third dropped used to be a pass without a word."""
    latch = SHORT_PROCEDURE.replace("findings: [trip, release]", "findings: [trip]")
    run = rehearsed(tmp_path, "no-release", procedure=user_file("short.yaml", latch))
    assert run.finding("trip").conformity == "pass"
    assert run.result.evaluation.exit_status == 3


def test_a_supply_that_shows_nothing_while_it_is_off_never_makes_a_pack_unwakeable(tmp_path, monkeypatch):
    """Seen: charged twenty times and called unwakeable, because two instruments were looked at by turns."""
    from runner.twin.world import World
    from runner.workspace.job import find_procedure

    shown = World.output_voltage
    monkeypatch.setattr(World, "output_voltage", lambda self: shown(self) if self.supply_on else 0.0)
    told = []
    run = rehearsed(
        tmp_path,
        "no-release",
        procedure=find_procedure("under-voltage"),
        sensors=(),
        state_of_charge=0.06,
        tell=lambda order, t: told.append(order),
    )
    ends = {each.kind: each.outcome for each in told if isinstance(each, Conclude)}
    assert ends["wake"] in ("returned", "gave up")
    on = [each for each in run.truth["switched"] if each["what"] == "supply" and each["on"]]
    if ends["wake"] == "returned":
        assert len(on) <= 3


def test_a_thermometer_that_stands_still_is_no_threshold_and_the_run_can_be_resumed(tmp_path, monkeypatch):
    """Seen: a probe frozen at 52.26 °C while the sensor was heated to its trip gave a threshold of 52.26 °C, fail."""
    from runner.twin.world import World

    displayed = World.displayed
    frozen = {}

    def still(self):
        return frozen.setdefault("at", displayed(self)) if self.t > 310.0 else displayed(self)

    monkeypatch.setattr(World, "displayed", still)
    monkeypatch.setattr("runner.twin.instruments._reading", lambda value, noise, resolution, dice: f"{value:+.6E}")
    run = short_rehearsal(tmp_path)
    assert run.result.outcome.early
    assert "has shown exactly" in run.result.outcome.reason
    assert run.finding("trip").conformity == "not measured"
    assert not run.world.supply_on


@pytest.mark.parametrize("order", ["VOLT ", "OUTP ON"])
def test_a_connection_that_fails_while_something_is_set_is_tried_again(tmp_path, monkeypatch, order):
    """Ten seconds of silence in the middle of switching on used to end the run."""
    from runner.twin.server import Connection

    write, lost = Connection.write, {}

    def deaf(self, message):
        if order.encode() in message and not lost:
            lost["at"] = self._instrument._world.t
        if lost and self._instrument.role == "supply" and self._instrument._world.t < lost["at"] + 8.0:
            self._sleep(0.01)
            return
        write(self, message)

    monkeypatch.setattr(Connection, "write", deaf)
    run = short_rehearsal(tmp_path)
    assert lost
    assert run.result.evaluation.exit_status == 0, run.result.outcome.reason


def test_a_fault_of_the_bench_in_a_step_of_the_whole_pack_ends_the_run_early_so_that_it_can_be_resumed(tmp_path):
    """Seen: a supply that rebooted in a staircase left the trip unmeasured in a run that counted as complete."""
    from runner.workspace.job import find_procedure

    faults = (Fault("supply trips", 20.0, 0.5),)
    run = rehearsed(tmp_path, procedure=find_procedure("charge-over-current"), sensors=(), faults=faults)
    assert run.result.outcome.early
    assert "switched off by itself" in run.result.outcome.reason
    assert run.finding("trip", None).conformity == "not measured"
    goes_on = where(list(read_journal(run.result.folder.path / EVENTS)), run.job.program, run.result.folder.path)
    assert run.job.program.steps[goes_on.step].kind == "stage", "what a fault of the bench spoiled is done again"
    assert not run.world.supply_on
