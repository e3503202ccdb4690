"""Packs of other sizes and chemistries: valid, planned, and a short rehearsal of each against its truth.

The long rehearsals are in tests/benchmarks/six_packs.py. The data are invented.
"""

from collections import Counter

import pytest

from runner.rehearsal.bench_size import size_for
from runner.rehearsal.truth import truth_of
from runner.sheets.pack import parse_pack
from runner.workspace.job import check_file, find_procedure, read_file
from tests.benchmarks.six_packs import PACKS
from tests.builders import rehearsed

# one procedure each that takes a second, and the state of charge it begins with
SHORT = {
    "lfp-16s-280ah": ("charge-over-current", 0.5),
    "lfp-4s-100ah": ("discharge-over-current", 0.5),
    "li-ion-3s": ("charge-over-temperature-box", 0.5),
    "na-ion-4s": ("over-voltage", 0.97),
    "nmc-10s-15ah": ("discharge-over-current", 0.5),
    "range-only": ("discharge-over-current", 0.5),
}


@pytest.mark.parametrize("pack", PACKS, ids=lambda each: each.stem)
def test_the_sheet_is_valid_and_nothing_on_it_is_doubtful(pack):
    kind, notes = check_file(pack)
    assert kind == "pack"
    assert not [note for note in notes if note.startswith("doubtful")]


@pytest.mark.parametrize("pack", PACKS, ids=lambda each: each.stem)
def test_a_short_rehearsal_finds_what_the_simulated_pack_does(tmp_path, pack):
    name, charge = SHORT[pack.stem]
    run = rehearsed(
        tmp_path, seed=2, procedure=find_procedure(name), pack=read_file(pack), sensors=(), state_of_charge=charge
    )
    found = [each.as_json() for each in run.result.evaluation.findings]
    assert not [each["reason"] for each in found if each["value"] is None]
    assert {each["conformity"] for each in found} <= {"pass", "conditional pass", None}
    checked = [(each, truth_of(each, run.truth)) for each in found]
    checked = [(each, true) for each, true in checked if true is not None]
    assert len(checked) >= 2
    for each, true in checked:
        # how often U holds is counted on demand; here nothing is far off
        assert abs(each["value"] - true) < 2.0 * each["expanded_uncertainty"], (each["name"], each["value"], true)
    assert not run.truth["supply_on"]
    assert not run.truth["load_on"]


def test_the_table_of_packs_is_whole():
    assert set(SHORT) == {pack.stem for pack in PACKS}
    kinds = Counter(parse_pack(read_file(pack).text, "p").chemistry for pack in PACKS)
    assert set(kinds) >= {"LFP", "NMC", "Na-ion"}


def test_the_simulated_bench_is_as_large_as_the_pack_needs_and_no_smaller_than_usual():
    sizes = {pack.stem: size_for(parse_pack(read_file(pack).text, "p")) for pack in PACKS}
    assert sizes["lfp-16s-280ah"].supply >= (60.0, 184.0)
    assert sizes["lfp-16s-280ah"].load[1] >= 249.0
    assert sizes["li-ion-3s"].supply == (31.0, 18.0)
