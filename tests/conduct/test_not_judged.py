"""What was not seen is not failed, what was seen to fail is; and what no limit is declared for is not judged, and no pass."""

from runner.cli import main
from runner.orders import Conclude
from runner.twin.parameters import Fault
from runner.twin.world import World
from runner.vocabulary import Exit
from runner.workspace.job import DEMO_PACK, UserFile, find_procedure
from tests.builders import PACK, a_file, rehearsed, short_rehearsal

NO_TOLERANCE = UserFile("pack.yaml", PACK.replace("    tolerance: 2 K\n", ""))


def test_a_run_in_which_nothing_is_judged_is_no_pass(tmp_path, capsys):
    from runner.console_output import print_findings

    run = short_rehearsal(tmp_path, pack=NO_TOLERANCE)
    evaluation = run.result.evaluation
    assert run.finding("trip").value is not None
    assert evaluation.conformity is None
    assert evaluation.as_json()["conformity"] is None
    assert evaluation.exit_status == 3
    print_findings(evaluation)
    assert "overall: not judged (no limit declared): charge over-temperature at T1" in capsys.readouterr().out


def test_check_says_early_that_nothing_will_be_judged(tmp_path, capsys):
    path = a_file(tmp_path / "pack.yaml", NO_TOLERANCE.text)
    assert main(["check", str(path)]) == 0
    assert "no tolerance for charge over-temperature" in capsys.readouterr().out
    assert main(["check", str(DEMO_PACK)]) == 0
    assert "tolerance" not in capsys.readouterr().out


def test_the_certificate_says_not_judged(tmp_path):
    from reports.certificate import render

    run = short_rehearsal(tmp_path, pack=NO_TOLERANCE)
    page = render([run.result.evaluation], "x", "2026-11-26")
    assert "not judged (no limit declared)" in page


def test_a_cut_off_that_is_seen_not_to_come_fails_before_the_floor(tmp_path):
    """Seen: a broken under-voltage protection drained half as much again as the pack holds, and was not measured."""
    ends = []
    run = rehearsed(
        tmp_path,
        "no-protection",
        procedure=find_procedure("under-voltage"),
        sensors=(),
        state_of_charge=0.05,
        tell=lambda order, t: ends.append(order) if isinstance(order, Conclude) else None,
    )
    assert run.finding("trip", None).conformity == "fail"
    drain = next(each for each in ends if each.kind == "drain")
    assert "below its lower limit" in drain.why or "did not cut off by" in drain.why
    assert not run.world.load_on
    lowest = min(run.world.pack.cell_socs)
    assert lowest > -0.02, "no cell is emptied beyond its end"


def test_more_than_any_sound_cell_holds_is_not_drawn(tmp_path, monkeypatch):
    """A voltage that does not come down: the charge that was drawn ends it."""
    monkeypatch.setattr(World, "load_voltage", lambda self: 26.0)
    monkeypatch.setattr(World, "terminal_voltage", lambda self: 26.0)
    ends = []
    run = rehearsed(
        tmp_path,
        "no-protection",
        procedure=find_procedure("under-voltage"),
        sensors=(),
        state_of_charge=0.9,
        tell=lambda order, t: ends.append(order) if isinstance(order, Conclude) else None,
    )
    drain = next(each for each in ends if each.kind == "drain")
    assert drain.outcome == "no end"
    assert run.world.charge_total < 1.35 * 40 * 3600
    assert run.finding("trip", None).conformity == "not measured"


def test_a_frozen_current_is_not_measured_and_never_fail(tmp_path, monkeypatch):
    """The reading stands still from 300 s on, while the pack trips and the supply goes to its set voltage."""
    from runner.twin import instruments

    reading, kept = instruments._reading, {}

    def frozen(value, noise, resolution, dice):
        shown = reading(value, noise, resolution, dice)
        if resolution == 0.001 and noise == 0.003 and kept.get("now"):
            return kept.setdefault("shown", shown)
        return shown

    catch_up = World.catch_up

    def timed(self):
        catch_up(self)
        kept["now"] = self.t > 300.0

    monkeypatch.setattr(instruments, "_reading", frozen)
    monkeypatch.setattr(World, "catch_up", timed)
    run = short_rehearsal(tmp_path)
    assert run.finding("trip").conformity == "not measured"
    evaluation = run.result.evaluation
    assert evaluation.conformity == "not measured"
    assert evaluation.exit_status == Exit.ENDED_EARLY, "a supply that goes on showing a current is not off for anybody"
    assert not run.result.outcome.safe
    assert any("has been exactly" in say for _, say in run.result.evaluation.story.remarks)


def test_a_supply_that_does_not_come_on_again_ends_the_run_early_and_fails_nothing(tmp_path):
    run = short_rehearsal(tmp_path, faults=(Fault("supply trips", 60.0),))
    assert run.finding("trip").conformity == "not measured"
    assert run.result.evaluation.exit_status == 4


def test_an_old_folder_is_evaluated_and_says_what_would_be_refused_today(tmp_path, capsys):
    from reports.certificate import render
    from runner.console_output import print_findings
    from runner.evaluation.evaluate import evaluate

    run = short_rehearsal(tmp_path)
    sheet = run.result.folder.path / "inputs" / "pack.yaml"
    sheet.write_text(sheet.read_text().replace("full_charge_voltage: 29.2 V", "full_charge_voltage: 39.2 V"))
    evaluation = evaluate(run.result.folder)
    assert [each.value for each in evaluation.findings] == [each.value for each in run.result.evaluation.findings]
    print_findings(evaluation)
    assert "this version would reject this input: pack.yaml:" in capsys.readouterr().out
    assert "this version would reject this input: pack.yaml:" in render([evaluation], "x", "2026-11-26")


def test_where_only_the_packs_voltage_is_watched_the_record_has_the_cells(tmp_path):
    run = rehearsed(tmp_path, procedure=find_procedure("under-voltage"), sensors=(), state_of_charge=0.05)
    assert any(
        note.name == "spread of the cell voltages before the charge" for note in run.result.evaluation.story.notes
    )
