"""A tolerance that the sheet does not declare is never invented: there is no statement, or the laboratory has assumed one."""

from runner.evaluation.specification import declare
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.sheets.procedure import parse_procedure
from runner.workspace.job import find_procedure
from tests.builders import BENCH, PACK, rehearsed, user_file

BARE = PACK.replace("    tolerance: 2 K\n", "")


def declared_by(bench_more=""):
    procedure = parse_procedure(find_procedure("charge-over-temperature").text, "p")
    return declare(procedure, parse_pack(BARE, "k"), parse_bench(BENCH.format(port=1) + bench_more, "b"), ("T1",))


def test_without_a_tolerance_a_threshold_is_measured_and_no_statement_is_made(tmp_path):
    run = rehearsed(tmp_path, pack=user_file("bare.yaml", BARE))
    trip = run.finding("trip")
    assert trip.value is not None
    assert (trip.conformity, trip.lower, trip.upper) == (None, None, None)


def test_the_laboratory_may_assume_one_and_it_is_said():
    found = declared_by("decision: {assumed_tolerance: {temperature: 3 K}}\n")
    assert found.trip_limits == (52.0, 58.0)
    assert found.release_limits == (42.0, 48.0)
    assert found.assumed == "a tolerance of ±3 K was assumed by the laboratory (none is declared)"


def test_what_the_sheet_declares_is_not_assumed_over():
    procedure = parse_procedure(find_procedure("charge-over-temperature").text, "p")
    bench = parse_bench(BENCH.format(port=1) + "decision: {assumed_tolerance: {temperature: 9 K}}\n", "b")
    found = declare(procedure, parse_pack(PACK, "k"), bench, ("T1",))
    assert (found.trip_limits, found.assumed) == ((53.0, 57.0), "")


def test_no_assumption_for_one_kind_is_none_for_another():
    found = declared_by("decision: {assumed_tolerance: {voltage: 0.3 V}}\n")
    assert (found.trip_limits, found.assumed) == (None, "")


def test_the_screen_has_the_same_limits_as_the_certificate():
    """Seen: an assumed tolerance drew no band on the screen and was printed on the certificate."""
    from runner.workspace.job import load
    from tests.builders import SHORT_PROCEDURE

    bench = BENCH.format(port=1) + "decision: {assumed_tolerance: {temperature: 3 K}}\n"
    files = user_file("s.yaml", SHORT_PROCEDURE), user_file("k.yaml", BARE), user_file("b.yaml", bench)
    assert load(*files).program.trip_limits == declared_by(bench.removeprefix(BENCH.format(port=1))).trip_limits
