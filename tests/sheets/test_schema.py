"""The JSON Schema takes what ``check`` takes, and refuses what ``check`` refuses for the form of it (jsonschema, Draft 2020-12)."""

import random

import pytest

from tests.benchmarks.mutated_files import mutated
from tests.benchmarks.schema_both_ways import shipped, verdicts

FILES = shipped()
TEXTS = {name: (kind, text) for name, kind, text in FILES}
DEMO, CHARGE, BENCH = TEXTS["tim-840"][1], TEXTS["full-charge"][1], TEXTS["bench by hand: ()"][1]
BY_HAND = TEXTS["bench by hand: ('probe', 'meter', 'load')"][1]


@pytest.mark.parametrize("name", TEXTS)
def test_every_file_that_travels_with_the_program_is_valid_by_both(name):
    found = verdicts(*TEXTS[name])
    assert (found.check, found.schema) == (True, True), found.why


@pytest.mark.parametrize("seed", range(4))
def test_what_check_takes_after_accidents_the_schema_takes_too(seed):
    dice = random.Random(seed)
    for _ in range(30):
        name, kind, text = dice.choice(FILES)
        changed = mutated(text, dice)
        found = verdicts(kind, changed)
        assert not (found.check and found.schema is False), (name, found.why, changed)


SPELLED = [
    ("pack", DEMO, "cells_in_series: 8", 'cells in series: "8"'),
    ("pack", DEMO, "charge over-temperature:", "charge_over_temperature:"),
    ("pack", DEMO, "chemistry: LFP", "chemistry: l-f-p"),
    ("pack", DEMO, "serial: TI-0417", "serial: 417"),
    ("pack", DEMO, "state_of_charge_on_arrival: 50 %", "state_of_charge_on_arrival: 0.5"),
    ("pack", DEMO, "trip: 20.4 V\n    tolerance: 0.5 V", "between: [19.9 V, 20.9 V]"),
    ("pack", DEMO, "    delay: 1 s\n", ""),
    ("pack", DEMO, "trip: 0 degC", "trip: -1.5e0 °C"),
    ("procedure", CHARGE, "findings: [charge put in]", "findings: [charge-put-in]"),
    ("procedure", CHARGE, "\nsteps:\n", "\nsteps:\n  - off\n"),
    ("bench", BENCH, "simulated: true", "simulated: yes"),
    ("bench", BENCH, "coverage: 95 %", "coverage: 0.95"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "old", "new"), SPELLED)
def test_other_ways_to_write_the_same_are_valid_by_both(kind, text, old, new):
    found = verdicts(kind, text.replace(old, new))
    assert (found.check, found.schema) == (True, True), found.why


WRONG = [
    ("pack", DEMO, "name: TIM-840\n", ""),
    ("pack", DEMO, "rated_capacity: 40 Ah\n", ""),
    ("pack", DEMO, "chemistry: LFP", "chemistry: cheese"),
    ("pack", DEMO, "chemistry: LFP", "chemistry: other"),
    ("pack", DEMO, "chemistry: LFP", "chemistry: LFP\ncell: {never_below: 2 V, nominal: 3.2 V, never_above: 3.7 V}"),
    ("pack", DEMO, "cells_in_series: 8", "cells_in_series: 0"),
    ("pack", DEMO, "cells_in_series: 8", "cells_in_series: eight"),
    ("pack", DEMO, "nominal_voltage: 25.6 V", "nominal_voltage: 25.6"),
    ("pack", DEMO, "nominal_voltage: 25.6 V", "nominal_voltage: 25.6 A"),
    ("pack", DEMO, "nominal_voltage: 25.6 V", "nominal_voltage: -25.6 V"),
    ("pack", DEMO, "nominal_voltage: 25.6 V", "nominal_voltage: 0 V"),
    ("pack", DEMO, "    trip: 55 degC\n", ""),
    ("pack", DEMO, "    trip: 55 degC\n", "    trip: 55 degC\n    between: [53 degC, 57 degC]\n"),
    ("pack", DEMO, "    trip: 55 degC\n", "    tripp: 55 degC\n"),
    ("pack", DEMO, "b: 3435 K", ""),
    ("procedure", CHARGE, "kind: procedure", "kind: pack"),
    ("procedure", CHARGE, "needs: [supply]", "needs: [toaster]"),
    ("procedure", CHARGE.replace("needs: [supply]", "needs: [supply, probe]"), "  temperature: 50 degC\n", ""),
    ("procedure", CHARGE, "      end_current: 0.05 C\n", ""),
    ("procedure", CHARGE, "      until: full\n", "      until: bored\n"),
    ("procedure", CHARGE, "  - charge:", "  - charge: {}\n    drain:"),
    ("procedure", CHARGE, "      below: 35 degC\n", "      below: 35 degC\n      for: 3 s\n"),
    ("bench", BENCH, "limits: {voltage: 31 V, current: 18 A}", "limits: {voltage: 31 V}"),
    ("bench", BENCH, "    address: TCPIP::127.0.0.1::1::SOCKET\n", ""),
    ("bench", BENCH, "    address: TCPIP::127.0.0.1::1::SOCKET\n", "    by_hand: true\n"),
    ("bench", BY_HAND, "    draws: 10 A\n", ""),
    ("bench", BENCH, "expanded_uncertainty: 0.2 K", "expanded_uncertainty: 0.2 K, limit: 0.3 K"),
    ("bench", BENCH, "rule: guard band with conditions", "rule: maximum risk"),
    ("answers", TEXTS["answers"][1], "then: go on", "then: perhaps"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "text", "old", "new"), WRONG)
def test_what_is_wrong_by_its_form_is_wrong_by_both(kind, text, old, new):
    assert old in text
    found = verdicts(kind, text.replace(old, new, 1))
    assert (found.check, found.schema) == (False, False), found.why
