"""A thermometer that gives a resistance or a voltage."""

import pytest

from runner.bench.dialect import BUILT_IN
from runner.bench.probe import Probe
from runner.errors import NotAReading, SheetError
from runner.measure.thermometry import platinum_resistance, thermocouple_voltage
from runner.sheets.bench import parse_bench
from tests.builders import BENCH


class Link:
    instrument = "probe"


class Says:
    """An instrument that says one number, and remembers what it was asked for."""

    def __init__(self, value):
        self.value, self.dialect, self.link, self.asked = value, BUILT_IN["probe"], Link(), []

    def number(self, name):
        self.asked.append(name)
        return self.value


def probe(more, value):
    text = BENCH.format(port=1).replace("    coupling: 0.15 K", f"    coupling: 0.15 K\n    {more}")
    return Probe(Says(value), parse_bench(text, "bench.yaml").instruments.probe)


@pytest.mark.parametrize(
    ("more", "value", "asked"),
    [
        ("reads: temperature", 55.0, "temperature"),
        ("{reads: resistance, sensor: pt100}", platinum_resistance(55.0), "resistance"),
        ("{reads: resistance, sensor: pt1000}", platinum_resistance(55.0, 1000.0), "resistance"),
        ("{reads: voltage, sensor: K, terminals: 23 degC}", thermocouple_voltage("K", 55.0, 23.0), "voltage"),
        ("{reads: voltage, sensor: T, terminals: 23 degC}", thermocouple_voltage("T", 55.0, 23.0), "voltage"),
        ("{reads: resistance, curve: {resistance_at_25: 10 kohm, b: 3435 K}}", 3486.6, "resistance"),
    ],
)
def test_whatever_it_reads_comes_out_in_degrees(more, value, asked):
    lines = more.strip("{}") if "curve" not in more else more[1:-1]
    reader = probe(
        lines.replace(", ", "\n    ") if "curve" not in more else lines.replace(", curve", "\n    curve"), value
    )
    assert reader.read() == pytest.approx(55.0, abs=0.02)
    assert reader.speaker.asked == [asked]


def test_a_broken_lead_is_no_temperature():
    with pytest.raises(NotAReading, match="is no resistance of a platinum thermometer"):
        probe("reads: resistance\n    sensor: pt100", 1e6).read()


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ("reads: resistance", "a resistance needs either sensor: pt100 or pt1000"),
        ("reads: voltage\n    sensor: K", "a thermocouple needs sensor: K or T, and terminals"),
    ],
)
def test_what_is_missing_to_make_degrees_of_it_is_said(more, what):
    with pytest.raises(SheetError, match=what):
        probe(more, 1.0)
