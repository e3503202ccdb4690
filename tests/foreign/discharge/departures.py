"""What departs from a plain discharge: written into what was drawn for it.

All ranges are common practice, no source (from memory).
"""

from random import Random

from tests.foreign.bench import log
from tests.foreign.discharge.drawn import LONGEST, MOST_IN_GAPS, SHORTEST_PAUSE, Drawn, instrument, plain, within
from tests.foreign.trial import Change, changed

FROM_ONE_LEVEL_TO_THE_NEXT = (5.0, 300.0)  # s


def _leads_unknown(rng: Random, drawn: Drawn) -> None:
    drawn.bench.meter = None


def _leads_declared(rng: Random, drawn: Drawn) -> None:
    """As somebody measured them, with a standard uncertainty."""
    _leads_unknown(rng, drawn)
    bench = drawn.bench
    u = log(rng, 0.05, 0.3) * max(bench.leads, 2e-3)
    bench.leads_declared = (max(bench.leads + rng.gauss(0.0, u), 0.0), u)


def _sense_leads(rng: Random, drawn: Drawn) -> None:
    _leads_unknown(rng, drawn)
    drawn.bench.sensed = True


def _coarse(rng: Random, drawn: Drawn) -> None:
    """A display of few digits on a current that stands still: up to a twentieth of it."""
    drawn.bench.current = instrument(
        rng, _digit(rng, drawn, 20), log(rng, 5e-4, 5e-3), rng.choice((0, 1)), rng.choice((0.0, 0.1, 0.3, 0.6))
    )


def _coarse_both(rng: Random, drawn: Drawn) -> None:
    _coarse(rng, drawn)
    for name in ("voltage", "meter"):
        if getattr(drawn.bench, name) is not None:
            coarse = instrument(rng, rng.choice((0.01, 0.1)), log(rng, 5e-4, 5e-3), rng.choice((0, 1, 2)), 0.1)
            setattr(drawn.bench, name, coarse)


def _digit(rng: Random, drawn: Drawn, fewest: float) -> float:
    """A last digit of which the current has ``fewest`` or more."""
    fitting = [each for each in (0.01, 0.1, 1.0) if each < drawn.load.current / fewest]
    return fitting[-1] if fitting and rng.random() < 0.7 else rng.choice(fitting or [0.01])


def _noisy(rng: Random, drawn: Drawn) -> None:
    for each in (drawn.bench.current, drawn.bench.voltage, drawn.bench.meter):
        if each is not None:
            each.reading.share_noise = log(rng, 1e-3, 0.03 if each is drawn.bench.current else 3e-3)


def _clamp(rng: Random, drawn: Drawn) -> None:
    """1 to 3 % and 5 digits, an offset that drifts with temperature and field, two to three readings a second."""
    clamp = instrument(rng, _digit(rng, drawn, 100), rng.uniform(0.01, 0.03), 5, 0.5, 0.3)
    start = clamp.reading.offset
    clamp.drift = within(rng, clamp.offset) - start
    clamp.reading.renewal = rng.uniform(0.33, 0.5)
    clamp.reading.phase = rng.random() * clamp.reading.renewal
    drawn.bench.current = clamp


def _power(rng: Random, drawn: Drawn) -> None:
    drawn.load.profile = "power"


def _resistive(rng: Random, drawn: Drawn) -> None:
    drawn.load.profile = "resistive"


def _steps(rng: Random, drawn: Drawn) -> None:
    drawn.load.profile = "steps"
    drawn.load.levels = [
        (log(rng, *FROM_ONE_LEVEL_TO_THE_NEXT), rng.uniform(0.25, 1.0)) for _ in range(rng.randint(2, 6))
    ]


def _hunting(rng: Random, drawn: Drawn) -> None:
    """A load that regulates badly: its current swings slowly."""
    drawn.load.profile = "hunting"
    drawn.load.hunts = (log(rng, 2e-3, 0.05), log(rng, 10.0, 300.0))


def _ripple(rng: Random, drawn: Drawn) -> None:
    drawn.load.ripple = (log(rng, 0.005, 0.1), log(rng, 0.5, 1000.0), rng.uniform(0.0, 6.28))


def _gaps(rng: Random, drawn: Drawn, silent: str) -> None:
    bench, left = drawn.bench, max(MOST_IN_GAPS * drawn.expected, SHORTEST_PAUSE)
    bench.silent = silent
    for _ in range(rng.randint(1, 4)):
        lasts = log(rng, SHORTEST_PAUSE, LONGEST)
        if lasts <= left:
            bench.gaps.append((rng.uniform(0.03, 0.9), lasts))
            left -= lasts
    bench.gaps = bench.gaps or [(rng.uniform(0.03, 0.9), left)]


def _bench_silent(rng: Random, drawn: Drawn) -> None:
    _gaps(rng, drawn, "bench")


def _load_silent(rng: Random, drawn: Drawn) -> None:
    _gaps(rng, drawn, "load")


def _current_lost(rng: Random, drawn: Drawn) -> None:
    _gaps(rng, drawn, "current")


def _hole(rng: Random, drawn: Drawn) -> None:
    drawn.bench.hole = rng.uniform(5.0, 30.0)


def _interrupted(rng: Random, drawn: Drawn) -> None:
    drawn.bench.interrupted = (rng.uniform(0.1, 0.6), rng.uniform(60.0, 1200.0))


def _means(rng: Random, drawn: Drawn) -> None:
    """Every reading the mean of up to a second, some of them shown until the next one is there."""
    for each in (drawn.bench.current, drawn.bench.voltage, drawn.bench.meter):
        if each is not None:
            each.reading.aperture = rng.choice((0.2, 0.4, 1.0, rng.uniform(0.0, 1.0)))
            each.reading.renewal = rng.choice((0.0, rng.uniform(0.02, 0.5)))
            each.reading.phase = rng.random() * each.reading.renewal


def _late(rng: Random, drawn: Drawn) -> None:
    """A slow link: what was measured is stamped when it arrives."""
    drawn.bench.late = (rng.uniform(0.0, 2.0), rng.uniform(0.0, 0.3))


def _slow(rng: Random, drawn: Drawn) -> None:
    every = rng.uniform(1.0, 4.0)
    drawn.bench.lazy = drawn.bench.fast = (every, rng.uniform(1.0, 4.0))


def _fast(rng: Random, drawn: Drawn) -> None:
    drawn.bench.lazy = drawn.bench.fast = (0.1, 0.5) if drawn.expected < 4000 else (0.25, 0.5)


def _soft(rng: Random, drawn: Drawn) -> None:
    drawn.pack.opens = [(log(rng, 0.1, 3.0), 0.0)]


def _derating(rng: Random, drawn: Drawn) -> None:
    """It lets less through before it stops."""
    lasts = log(rng, 2.0, 60.0)
    drawn.pack.opens = [(0.01, 0.5), (lasts, 0.5), (0.01, 0.25), (lasts, 0.25), (0.01, 0.0)]
    if rng.random() < 0.5:
        drawn.pack.opens = [(0.01, 0.5), (lasts, 0.5), (0.01, 0.0)]


def _rate(rng: Random, drawn: Drawn, lowest: float, highest: float) -> None:
    one_c = drawn.pack.capacity / 3600
    drawn.load.current = log(rng, lowest, highest) * one_c
    share = min(0.1 / (drawn.load.current * drawn.pack.resistance / drawn.load.nominal), 1.0)
    drawn.pack.resistance *= share  # made for it
    drawn.pack.r_polar *= share
    drawn.bench.leads = min(drawn.bench.leads, 0.06 * drawn.load.nominal / drawn.load.current)


def _short(rng: Random, drawn: Drawn) -> None:
    _rate(rng, drawn, 3.0, 8.0)


def _long(rng: Random, drawn: Drawn) -> None:
    _rate(rng, drawn, 0.15, 0.3)


GROUPS: dict[str, dict[str, Change]] = {
    "rate": {"short discharge": _short, "long discharge": _long},
    "leads": {"leads unknown": _leads_unknown, "leads declared": _leads_declared, "sense leads": _sense_leads},
    "display": {"coarse current": _coarse, "coarse displays": _coarse_both, "clamp": _clamp},
    "noise": {"noise": _noisy},
    "profile": {"constant power": _power, "resistive": _resistive, "steps": _steps, "hunting": _hunting},
    "ripple": {"ripple": _ripple},
    "gaps": {"bench silent": _bench_silent, "load silent": _load_silent, "current lost": _current_lost},
    "hole": {"hole at the cut-off": _hole},
    "interrupted": {"interrupted": _interrupted},
    "means": {"means of a second": _means},
    "stamps": {"late stamps": _late},
    "polling": {"slow polling": _slow, "fast polling": _fast},
    "turn-off": {"soft turn-off": _soft, "derating": _derating},
}
WEIGHTS = {"gaps": 0.3, "hole": 0.2, "interrupted": 0.2, "rate": 0.3}


def draw(seed: int, departure: str) -> Drawn:
    """Plain, with one departure, or with every second of them."""
    rng = Random(f"discharge {seed} {departure}")
    return changed(rng, plain(rng), GROUPS, departure, WEIGHTS)
