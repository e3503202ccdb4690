"""A typing slip in a value is said with its place before it is carried out to the letter."""

import pytest

from runner.errors import SheetError
from runner.notation.source import MOST_VALUES, read
from runner.sheets.bench import parse_bench
from runner.sheets.pack import parse_pack
from runner.workspace.job import load, read_file
from tests.builders import BENCH, PACK, SHORT_PROCEDURE, a_file, user_file

BENCH_TEXT = BENCH.format(port=1)

# (file, what is replaced, by what, line, part of the message)
SLIPS = [
    ("pack", "tolerance: 2 K", "tolerance: -2 K", 16, "-2 K is not more than 0 K"),
    ("pack", "tolerance: 2 K", "tolerance: 0 K", 16, "0 K is not more than 0 K"),
    ("pack", "polling: 1 s", "polling: -1 s", 19, "-1 s is less than 0 s"),
    ("pack", "delay: 1 s", "delay: 1e999 s", 18, "1e999 is not a usable number"),
    ("pack", "trip: 55 degC", "trip: -400 degC", 15, "is less than −273.1"),
    ("pack", "rated_capacity: 40 Ah", "rated_capacity: 0 Ah", 9, "is not more than 0 Ah"),
    ("pack", "full_charge_voltage: 29.2 V", "full_charge_voltage: -29.2 V", 7, "is not more than 0 V"),
    ("pack", "cells_in_series: 8", "cells_in_series: 8000", 5, "cells in series"),
    ("pack", "name: TIM-840", "name: TIM-840\nresidual_current: 60", 3, "has no unit"),
    ("pack", "name: TIM-840", "name: TIM-840\nresidual_current: -1 mA", 3, "-1 mA is less than 0 A"),
    ("pack", "name: TIM-840", "name: TIM-840\nresidual_current: 6 A", 3, "residual current 6 A is no open path"),
    ("pack", "name: TIM-840", "name: TIM-840\nretry_every: 1 s", 3, "1 s is less than 3 s"),
    ("pack", "name: TIM-840", "name: TIM-840\nretry_every: often", 3, "often"),
    ("pack", "    delay: 1 s", "    derates: 56 degC\n    delay: 1 s", 18, "not before the trip"),
    (
        "pack",
        "    delay: 1 s",
        "    derates: [50 degC, 55 degC]\n    delay: 1 s",
        18,
        "derates at 55, which is not before",
    ),
    ("pack", "    delay: 1 s", "    derates: 5 V\n    delay: 1 s", 18, "5 V"),
    ("pack", "    delay: 1 s", "    derates: warm\n    delay: 1 s", 18, "warm"),
    ("bench", "current: 10 A", "current: -10 A", 6, "is not more than 0 A"),
    ("bench", "name: test bench", "name: b\ndecision: {coverage: 150 %}", 3, "a coverage of 150 % makes no sense"),
    ("bench", "name: test bench", "name: b\ndecision: {coverage: 20 %}", 3, "a coverage of 20 % makes no sense"),
    ("bench", "name: test bench", "name: b\ndecision: {coverage: 100 %}", 3, "a coverage of 100 % makes no sense"),
    ("bench", "name: test bench", "name: b\ndecision: {coverage: 49.9 %}", 3, "a coverage of 49.9 % makes no sense"),
    ("bench", "name: test bench", "name: b\ndecision: {rule: maximum consumer risk}", 3, "needs a risk"),
    (
        "bench",
        "name: test bench",
        "name: b\ndecision:\n  rule: guard band\n  risk: 5 %",
        5,
        "not for the rule guard band",
    ),
    (
        "bench",
        "name: test bench",
        "name: b\ndecision:\n  rule: maximum producer risk\n  risk: 60 %",
        5,
        "a maximum risk of 60 % makes no sense",
    ),
    ("bench", "name: test bench", "name: b\nspeed: .inf", 3, "speed"),
    ("bench", "name: test bench", "name: b\nguard_patience: 90 s", 3, "90 s is more than 30 s"),
    ("bench", "resolution: 0.01 K", "resolution: -0.01 K", 9, "less than 0 K"),
    ("bench", "    limits:", "    timeout: 0 s\n    limits:", 6, "0 s is less than 0.01 s"),
]


@pytest.mark.parametrize(("which", "old", "new", "line", "part"), SLIPS)
def test_a_value_with_a_wrong_sign_or_beyond_sense_is_wrong_where_it_stands(which, old, new, line, part):
    text, parse = {"pack": (PACK, parse_pack), "bench": (BENCH_TEXT, parse_bench)}[which]
    assert old in text
    with pytest.raises(SheetError) as caught:
        parse(text.replace(old, new, 1), f"{which}.yaml")
    (problem,) = caught.value.problems
    assert part in problem.what
    assert problem.line == line


T1 = "{name: T1, place: cell 2"
NOT_OF_A_SENSOR = [  # (curve, part of the message)
    ("coefficients: [1.1e-3, 2.3e-8, 0]", "no resistance at 25 °C by coefficients"),
    ("coefficients: [1.1e-3, 0, 0]", "B is 0"),
    ("coefficients: [1.1e-3, -2.3e-4, 8.8e-8]", "B is −0.00023"),
    ("coefficients: [1.1e-3, 2.3e-4, -1e-300]", "no resistance at 25 °C by coefficients"),
    ("coefficients: [1e400, 2.3e-4, 8.8e-8]", "not all numbers"),
    ("coefficients: [1.1e-3, nan, 8.8e-8]", "not all numbers"),
    ("coefficients: [1.1, 2.3e-4, 8.8e-8]", "at 25 °C by coefficients: no sensor has that"),
    ("coefficients: [1.2e-3, 2.3e-4, -2.4e-7]", "no resistance at −40 °C by coefficients"),  # its bend is at −19 °C
    ("resistance_at_25: 10 kohm, b: 34350 K", "more than 10 GΩ at −40 °C by b"),
    ("resistance_at_25: 10 kohm, b: 1e7 K", "no resistance at −40 °C by b"),
]


@pytest.mark.parametrize(("curve", "part"), NOT_OF_A_SENSOR)
def test_a_curve_that_no_thermistor_has_is_wrong_where_it_stands(curve, part):
    """10 kΩ thermistors have about 1 Ω to 1 GΩ from −40 to 100 °C (the tables in tests/outside/test_ntc.py)."""
    text = PACK.replace(T1, f"{T1}, curve: {{{curve}}}")
    with pytest.raises(SheetError) as caught:
        parse_pack(text, "pack.yaml")
    (problem,) = caught.value.problems
    assert part in problem.what
    assert problem.remedy
    assert (problem.line, problem.column) == next(
        (number, line.index(value) + 1)
        for number, line in enumerate(text.splitlines(), 1)
        for value in [curve.partition(": ")[2] if curve.startswith("c") else curve.rpartition(": ")[2]]
        if value in line
    )
    assert parse_pack(text, "pack.yaml", as_it_was=True).sensors[0].curve is not None


def test_a_curve_that_ends_outside_the_declared_limits_of_its_sensor_is_right():
    text = PACK.replace(T1, f"{T1}, curve: {{coefficients: [1.2e-3, 2.3e-4, -2.4e-7]}}")
    assert parse_pack(f"{text}sensor_limits: [-10 degC, 90 degC]\n", "pack.yaml").sensors[0].curve is not None


def planned(old, new):
    assert old in SHORT_PROCEDURE
    files = (
        user_file("short.yaml", SHORT_PROCEDURE.replace(old, new, 1)),
        user_file("pack.yaml", PACK),
        user_file("bench.yaml", BENCH_TEXT),
    )
    with pytest.raises(SheetError) as caught:
        load(*files)
    return caught.value.problems


@pytest.mark.parametrize(
    ("old", "new", "part"),
    [
        ("time: 2 h", "time: 1e999 h - 1e999 h", "1e999 is not a usable number"),
        ("time: 2 h", "time: 2 h / (1 - 1)", "has no value on this pack"),
        ("time: 2 h", "time: 1 h - 2 h", "is not more than 0 s"),
        ("current: 0.1 C", "current: 0.1 C - 0.2 C", "must be greater than 0"),
        ("rate: 3 K/min", "rate: 0 K/min", "is not more than 0 K/min"),
    ],
)
def test_what_a_sum_comes_to_is_looked_at_on_this_pack(old, new, part):
    problems = planned(old, new)
    assert any(part in problem.what for problem in problems)
    assert all(problem.file == "short.yaml" and problem.line > 1 for problem in problems)


def test_repeats_that_would_never_end_are_said_in_one_sentence():
    inner = "      - repeat:\n          times: 50\n          steps:\n"
    steps = "  - repeat:\n      times: 50\n      steps:\n" + inner + "            - wait: {for: 1 s}\n"
    (problem,) = planned("  - confirm: {say: Ready?}\n", steps)
    assert "more than 2000 steps" in problem.what


def test_a_bomb_of_aliases_is_said_in_one_sentence():
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 9)]
    (problem,) = read("\n".join(lines), "bomb.yaml").problems
    assert f"more than {MOST_VALUES} values" in problem.what


@pytest.mark.parametrize("depth", [100, 100_000])
def test_what_is_nested_too_deeply_is_said_in_one_sentence(depth):
    problems = read("a: " + "[" * depth + "]" * depth, "deep.yaml").problems
    assert len(problems) == 1
    assert "levels" in problems[0].what


def test_a_file_that_no_person_has_written_is_not_read(tmp_path):
    path = a_file(tmp_path / "big.yaml", "x" * 1_100_000)
    with pytest.raises(SheetError, match="at most 1 MB are read"):
        read_file(path)
