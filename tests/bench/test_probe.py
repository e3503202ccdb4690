"""A thermometer that gives a resistance or a voltage."""

import pytest

from runner.bench.dialect import BUILT_IN
from runner.bench.probe import Probe
from runner.bench.thermometry import platinum_resistance, thermocouple_voltage
from runner.errors import NotAReading, SheetError
from runner.sheets.bench import parse_bench
from runner.sheets.instrument_parts import less_its_error
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


def test_what_a_certificate_says_is_taken_off_straight_between_its_points():
    """JCGM 100:2008, 3.2.3: a known systematic error is corrected for; worked by hand: at 35 °C 0.1 K + 0.2 K × 15/20."""
    points = ((20.0, 0.1, 0.03), (40.0, 0.3, 0.03), (80.0, -0.1, 0.03))
    corrected = [less_its_error(points, reading) for reading in (0.0, 20.0, 35.0, 60.0, 80.0, 99.0)]
    assert corrected == pytest.approx([-0.1, 19.9, 34.75, 59.9, 80.1, 99.1])
    assert less_its_error((), 35.0) == 35.0


@pytest.mark.parametrize("source", ["itself", "block"])
def test_terminals_are_measured_by_the_instrument_itself_or_by_a_further_probe(source):
    """23 °C at the terminals: K gives 1.317 mV at 55 °C (2.230 − 0.919, NIST SRD 60 tables), within the digits of the table.

    The further probe reads 4 K too much, as its certificate says.
    """
    text = BENCH.format(port=1).replace(
        "    coupling: 0.15 K",
        f"    coupling: 0.15 K\n    reads: voltage\n    sensor: K\n    terminals_from: {source}\n"
        "  probes:\n    block: {place: terminal block, address: 'TCPIP::192.0.2.1::1::SOCKET', "
        "accuracy: {corrections: [{reads: 25 degC, error: 4 K, expanded_uncertainty: 0.1 K}]}}",
    )
    instruments = parse_bench(text, "bench.yaml").instruments
    own = Says(None)
    own.number = lambda query: {"voltage": 1.311e-3, "terminals": 23.0}[query]
    block = Probe(Says(27.0), instruments.probes["block"])
    reader = Probe(own, instruments.probe, {"probe block": block})
    assert reader.read() == pytest.approx(55.0, abs=0.05)
    assert reader.asks == (("voltage", "terminals") if source == "itself" else ("voltage",))


def test_a_broken_lead_is_no_temperature():
    with pytest.raises(NotAReading, match="is no resistance of a platinum thermometer"):
        probe("reads: resistance\n    sensor: pt100", 1e6).read()


def test_a_person_reads_degrees_and_no_raw_value():
    text = BENCH.partition("  probe:")[0].format(port=1)
    said = "  probe: {by_hand: true, reads: resistance, sensor: pt100, accuracy: {limit: 1 K}, coupling: 1 K}\n"
    with pytest.raises(SheetError, match="a person reads degrees, and this probe reads a resistance"):
        parse_bench(text + said, "bench.yaml")


@pytest.mark.parametrize(
    ("more", "what"),
    [
        ("reads: resistance", "a resistance needs either sensor: pt100 or pt1000"),
        ("reads: voltage\n    sensor: K", "a thermocouple needs sensor: B, E, J, K, N, R, S, T, and terminals"),
        ("reads: voltage\n    sensor: J\n    terminals: 23 degC\n    terminals_from: itself", "one of the two"),
        ("reads: voltage\n    sensor: J\n    terminals_from: block", "terminals_from: block is no further probe"),
    ],
)
def test_what_is_missing_to_make_degrees_of_it_is_said(more, what):
    with pytest.raises(SheetError, match=what):
        probe(more, 1.0)
