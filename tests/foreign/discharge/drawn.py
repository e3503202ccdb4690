"""The pack, the load and the meters of one discharge: every constant that is drawn, with its range.

All ranges are common practice, no source (from memory). Voltages are those of a cell, everything else of the whole pack.
"""

from dataclasses import dataclass, field
from random import Random

from tests.foreign.bench import Reading, log

LONGEST, SHORTEST_PAUSE = 60.0, 5.0  # s: of a gap; a pack or a load that went off by itself tries again 5 to 60 s later
PAUSES = 0.1  # of the gaps: in these the current paused too
MOST_IN_GAPS = 0.015  # of the discharge


@dataclass
class Pack:
    """``spread``: of the capacity, by how much the weakest cell has less; ``opens`` are (s, share of the current left) in turn."""

    chemistry: str
    cells: int
    capacity: float  # A·s
    resistance: float  # Ω, all that is inside of its terminals
    r_polar: float
    tau_polar: float
    spread: float
    cut_off: float
    polling: float
    delay: float
    opens: list[tuple[float, float]]
    left_over: float  # V at its terminals when its path is open


@dataclass
class Load:
    """``profile``: constant, power, resistive, steps or hunting; ``current``: A at the nominal voltage."""

    profile: str
    current: float
    nominal: float
    rise: float  # s to come on
    levels: list[tuple[float, float]] = field(default_factory=list)  # (s, share of the current), again and again
    hunts: tuple[float, float] = (0.0, 60.0)  # share, period in s
    ripple: tuple[float, float, float] = (0.0, 100.0, 0.0)  # share (amplitude), Hz, phase


@dataclass
class Instrument:
    """One reading and what the bench file says of it; ``drift``: by how much its offset changes until the end."""

    reading: Reading
    gain: float
    offset: float
    drift: float = 0.0

    @property
    def declared(self) -> tuple[float, float, float]:
        """± of the reading, ± V or A, resolution."""
        return self.gain, self.offset, self.reading.resolution


@dataclass
class Bench:
    """``lazy`` and ``fast``: (load, meter) polled every so many s, fast near the end; ``late``: s, and by how much more or less."""

    current: Instrument
    voltage: Instrument
    meter: Instrument | None
    leads: float  # Ω
    leads_declared: tuple[float, float] | None = None
    sensed: bool = False
    lazy: tuple[float, float] = (2.0, 4.0)
    fast: tuple[float, float] = (0.25, 0.5)
    late: tuple[float, float] = (0.0, 0.0)
    silent: str = ""  # in gaps: "bench", "load" or "current"
    gaps: list[tuple[float, float]] = field(default_factory=list)  # (share of the discharge, s)
    hole: float = 0.0  # s without a reading about the cut-off
    interrupted: tuple[float, float] | None = None  # (share of the discharge, s)


@dataclass
class Drawn:
    """Everything of one record."""

    pack: Pack
    load: Load
    bench: Bench

    @property
    def expected(self) -> float:
        """s that the discharge takes, about."""
        shares = self.load.levels or [(1.0, 1.0)]
        mean = sum(s * share for s, share in shares) / sum(s for s, _ in shares)
        return self.pack.capacity / (self.load.current * mean)


# chemistry -> lowest and nominal voltage of a cell, polarisation and path in mV at 1 C
CHEMISTRIES = {"LFP": (2.5, 3.2), "NMC": (3.0, 3.65), "LTO": (1.6, 2.3)}


def within(rng: Random, limit: float) -> float:
    """An error that is as likely anywhere within its ± limit."""
    return rng.uniform(-limit, limit)


def instrument(
    rng: Random, resolution: float, gain: float, digits: int, noise: float, aperture: float = 0.0
) -> Instrument:
    """A meter that is as wrong as its data sheet lets it be; ``noise`` in digits."""
    offset = digits * resolution
    reading = Reading(
        aperture=aperture,
        stamp=1.0,
        renewal=0.0,
        phase=0.0,
        resolution=resolution,
        gain=1 + within(rng, gain),
        offset=within(rng, offset),
        share_noise=0.0,
        noise=noise * resolution,
    )
    return Instrument(reading, gain, offset)


def _pack(rng: Random) -> Pack:
    chemistry = rng.choice(list(CHEMISTRIES))
    cells = rng.randint(4, 16)
    capacity = 3600 * log(rng, 2.0, 100.0)
    volts = cells * CHEMISTRIES[chemistry][1]
    one_c = capacity / 3600
    return Pack(
        chemistry,
        cells,
        capacity,
        volts * rng.uniform(0.01, 0.04) / one_c,
        volts * rng.uniform(0.003, 0.02) / one_c,
        log(rng, 10.0, 200.0),
        rng.uniform(0.0, 0.01),
        CHEMISTRIES[chemistry][0] + rng.uniform(0.0, 0.2),
        log(rng, 0.05, 1.0),
        log(rng, 0.05, 10.0),
        [(log(rng, 1e-3, 0.05), 0.0)],
        rng.uniform(0.0, 2.0),
    )


def plain(rng: Random) -> Drawn:
    """A bench without anything in its way: a voltmeter on the pack's terminals, no gaps, a steady current."""
    pack = _pack(rng)
    rate = log(rng, 0.3, 2.0)
    load = Load(
        "constant", rate * pack.capacity / 3600, pack.cells * CHEMISTRIES[pack.chemistry][1], log(rng, 5e-3, 0.5)
    )
    aperture = log(rng, 0.01, 0.2)
    bench = Bench(
        instrument(rng, 1e-3, log(rng, 5e-4, 5e-3), rng.randint(2, 20), rng.uniform(0.5, 3.0), aperture),
        instrument(rng, 1e-3, log(rng, 2e-4, 1e-3), rng.randint(2, 20), rng.uniform(0.5, 2.0), aperture),
        instrument(rng, 1e-3, log(rng, 1e-4, 5e-4), rng.randint(1, 5), rng.uniform(0.5, 1.5), log(rng, 0.02, 0.2)),
        # what the load's clamps and leads have: no more than is lost without a thought
        leads=min(rng.uniform(0.0, 0.050), 0.06 * load.nominal / load.current),
    )
    return Drawn(pack, load, bench)
