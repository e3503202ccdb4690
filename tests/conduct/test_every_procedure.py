"""Every procedure, through the whole program on the simulated bench: it fails a pack that deserves it.

That it passes one that does what is declared is in test_session.py, where all of them are run in one session; what is wrong with
charge over-temperature is in test_packs.py.

A row is (procedure, what is wrong with the pack, the finding that has to say so, its statement). What is right stays right.
"""

import re

import pytest

from runner.workspace.job import find_procedure
from tests.builders import rehearsed

AT = {
    "over-voltage": 0.97,
    "under-voltage": 0.10,
    "capacity": 0.95,
    "full-charge": 0.9,
    "partial-charge": 0.05,
}  # charge
THERMAL = [f"{path}-{way}-temperature" for path in ("charge", "discharge") for way in ("over", "under")]
BOXES = [f"{name}-box" for name in THERMAL]
CURRENTS = ["charge-over-current", "discharge-over-current"]

DESERVED = [
    *[
        (name, "trips-late", "trip", "fail")
        for name in (THERMAL[1], BOXES[0], BOXES[-1], *CURRENTS, "over-voltage", "under-voltage")
    ],
    *[
        (name, "no-protection", "trip", "fail")
        for name in (THERMAL[3], BOXES[1], *CURRENTS, "over-voltage", "under-voltage")
    ],
    *[(name, "no-release", "release", "fail") for name in (THERMAL[1], BOXES[2], "under-voltage")],
    *[(name, "no-release", "recovery time", "fail") for name in CURRENTS],
    *[(name, "slow", "delay", "fail") for name in CURRENTS],
    ("capacity", "low-capacity", "capacity and energy", "fail"),
    *[
        pytest.param(*each, marks=pytest.mark.long)  # more of the same kinds
        for each in (
            (THERMAL[2], "trips-late", "trip", "fail"),
            (BOXES[1], "trips-late", "trip", "fail"),
            (BOXES[2], "trips-late", "trip", "fail"),
            (BOXES[3], "no-release", "release", "fail"),
            ("over-voltage", "no-release", "release", "fail"),
        )
    ],
    ("under-voltage", "slow", "trip", "pass"),  # the threshold is as declared, however slow
]


def run(tmp_path, procedure, scenario="sound", sensors=("T1",)):
    has_sensors = "temperature" in procedure
    return rehearsed(
        tmp_path,
        scenario,
        procedure=find_procedure(procedure),
        sensors=sensors if has_sensors else (),
        state_of_charge=AT.get(procedure),
    )


def named(result, name):
    return [finding for finding in result.result.evaluation.findings if finding.name == name]


@pytest.mark.parametrize(("procedure", "scenario", "name", "conformity"), DESERVED)
def test_a_pack_that_deserves_it_fails(tmp_path, procedure, scenario, name, conformity):
    result = run(tmp_path, procedure, scenario)
    for each in name.split(" and "):
        found = named(result, each)
        assert found, "the finding is there"
        assert found[0].conformity == conformity, found[0].reason
    assert result.result.evaluation.exit_status == (1 if conformity == "fail" else 0)
    assert not result.truth["supply_on"]
    assert not result.truth["load_on"]


def test_one_bad_sensor_fails_the_pack_and_the_good_one_passes(tmp_path):
    result = run(tmp_path, THERMAL[-1], "one-bad-sensor", ("T1", "T2"))
    assert [each.conformity for each in named(result, "trip")] == ["pass", "fail"]
    assert result.result.evaluation.conformity == "fail"


@pytest.mark.long
def test_one_bad_sensor_of_five(tmp_path):
    from runner.workspace.job import DEMO_PACK, UserFile, read_file

    text = read_file(DEMO_PACK).text
    more = "".join(
        f'  - {{name: T{n}, place: "cell {n}", curve: {{resistance_at_25: 10 kohm, b: 3435 K}}}}\n' for n in (3, 4, 5)
    )
    pack = UserFile("five.yaml", text.replace("\nprotections:", f"{more}\nprotections:", 1))
    procedure = find_procedure("charge-over-temperature-box")
    result = rehearsed(tmp_path, "one-bad-sensor", procedure=procedure, pack=pack, sensors=())
    trips = named(result, "trip")
    assert [each.sensor for each in trips] == ["T1", "T2", "T3", "T4", "T5"]
    assert [each.conformity for each in trips] == ["pass"] * 4 + ["fail"]


def test_a_pack_that_has_to_be_woken_is_woken_and_the_charge_is_kept_apart(tmp_path):
    result = run(tmp_path, "capacity", "no-release")
    (woken,) = named(result, "wake charge")
    (capacity,) = named(result, "capacity")
    assert 0 < woken.value < 0.01 * capacity.value
    assert abs(capacity.value - result.truth["charge_out_As"]) < capacity.expanded_uncertainty


def test_the_wrong_end_of_the_state_of_charge_is_not_measured_and_never_a_trip(tmp_path):
    result = rehearsed(tmp_path, procedure=find_procedure("charge-over-current"), sensors=(), state_of_charge=0.995)
    (trip,) = named(result, "trip")
    assert trip.conformity == "not measured"


def test_while_waiting_for_a_pack_to_come_back_it_is_foreseen_when(tmp_path):
    result = run(tmp_path, "under-voltage")
    said = [(t, say) for t, say in result.result.evaluation.story.remarks if "Recovery expected in about" in say]
    (back,) = [each.at for each in result.result.evaluation.recording.attempts if each.outcome == "returned"]
    assert said
    assert all(t < back for t, _ in said)


def test_what_the_pack_itself_shows_is_recorded_beside_the_reference(tmp_path):
    result = run(tmp_path, "charge-over-temperature-box")
    notes = {note.name: note for note in result.result.evaluation.story.notes}
    assert notes["T1: alarm at the trip"].text == "charge over-temperature"
    trip = named(result, "trip")[0].value
    assert abs(notes["T1: pack display at the trip"].quantity - trip) < 1.0
    direct = run(tmp_path, "charge-over-temperature", sensors=("T1", "T2"))
    notes = [each for each in direct.result.evaluation.story.notes if "pack display before" in each.name]
    assert [note.name[:2] for note in notes] == ["T1", "T2"]
    for note in notes:
        shown, reference = (float(part) for part in re.findall(r"(-?[\d.]+) °C", note.text))
        assert abs(shown - reference) < 1.0, note.text
