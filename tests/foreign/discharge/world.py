"""Discharges from full to the pack's own cut-off, as the instruments of a bench report them, and the charge and energy that came
out of the pack's terminals. It is written from physics and from what loads and meters are like (``drawn``), and shares nothing
with how the program measures.

The truth: the charge and the energy through the pack's own terminals from the load's coming on until the pack lets nothing through.
"""

from dataclasses import dataclass
from random import Random

import numpy as np

from runner.events import LOAD_CURRENT, LOAD_VOLTAGE, METER_VOLTAGE
from tests.foreign.discharge.departures import GROUPS, draw
from tests.foreign.discharge.drawn import PAUSES, SHORTEST_PAUSE, Bench, Drawn, Instrument
from tests.foreign.discharge.physics import Flow, discharge
from tests.foreign.instruments import ends_of
from tests.foreign.trace import Trace
from tests.foreign.trial import Trial, names

WORLD = "discharge"
# what goes on where something is silent
SPARED = {"load": (METER_VOLTAGE,), "current": (METER_VOLTAGE, LOAD_VOLTAGE)}
LOOKED_ON = 20.0  # s after the end
JITTER = 0.1  # of a polling interval
NEAR_THE_END = 1.06  # times the cut-off voltage: from there on polled fast, as a careful person reads
STOPS_WITHIN = 4.0  # s
LONGEST_ON = 2.0  # s that a load stays on after its program has ended
Channel = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Part:
    """From the order to set the load to its end: the pack's own (``stopped``) or an interruption. ``at``: the first reading
    that shows the end, or the last thing that was heard; s on the run's clock."""

    began: float
    at: float
    stopped: bool


def departures() -> tuple[str, ...]:
    """Their names, plain first and everything together last."""
    return names(GROUPS)


def trial(seed: int, departure: str) -> Trial:
    """The record of this number.

    ``declared``: by channel the ± gain, ± offset and resolution ("accuracy"), the leads' (Ω, standard uncertainty), None where
    nobody said, and the pack's cut-off in V. ``extra`` has the parts of the discharge and what truly flowed.
    """
    drawn = draw(seed, departure)
    rng = Random(f"readings {seed} {departure}")
    noise = np.random.default_rng(rng.getrandbits(64))
    bench = drawn.bench
    began = round(rng.uniform(0.0, 3000.0), 3)
    on = began + rng.uniform(0.2, 2.5)
    gaps = [(on + share * drawn.expected, lasts) for share, lasts in bench.gaps]
    off, parted = _pauses(rng, gaps), []
    if bench.interrupted is not None:
        share, lasts = bench.interrupted
        ended = on + share * drawn.expected
        again = ended + lasts
        off.append((ended + rng.uniform(0.0, LONGEST_ON), again + rng.uniform(0.2, 2.5), False))
        parted = [(ended, again)]
    flow = discharge(drawn, on, rng.random(), _apart(off))
    silent = [(t, t + lasts) for t, lasts in gaps]
    if bench.hole:
        first = flow.opened - rng.random() * bench.hole
        silent.append((first, first + bench.hole))
    channels = _channels(noise, drawn, flow, began, silent, len(gaps), parted)
    instruments = _instruments(bench)
    return Trial(
        world=WORLD,
        departure=departure,
        seed=seed,
        channels=channels,
        steps=(),
        declared={
            "accuracy": {channel: instrument.declared for channel, _, instrument in instruments},
            "leads": (0.0, 0.0) if bench.sensed else bench.leads_declared,
            "cut_off": drawn.pack.cut_off * drawn.pack.cells,
        },
        truth={"capacity": flow.charge, "energy": flow.energy},
        drawn=drawn,
        interval=bench.lazy[0],
        on_at=on,
        level=drawn.load.current,
        modes=np.empty(0),
        extra={"parts": _parts(channels[LOAD_CURRENT], began, parted, flow), "flow": flow},
    )


def _instruments(bench: Bench) -> list[tuple[str, str, Instrument]]:
    found = [(LOAD_CURRENT, "load", bench.current), (LOAD_VOLTAGE, "load", bench.voltage)]
    return [*found, (METER_VOLTAGE, "meter", bench.meter)] if bench.meter is not None else found


def _channels(
    noise: np.random.Generator,
    drawn: Drawn,
    flow: Flow,
    began: float,
    silent: list[tuple[float, float]],
    gaps: int,
    parted: list[tuple[float, float]],
) -> dict[str, Channel]:
    """What arrived, by its stamps. The first ``gaps`` of what is silent are gaps, about the cut-off everything is."""
    bench = drawn.bench
    times = {name: _times(noise, drawn, flow, which, began) for which, name in enumerate(("load", "meter"))}
    late = bench.late[0] + noise.uniform(0.0, 1.0, len(times["load"])) * bench.late[1]
    channels = {}
    for channel, role, instrument in _instruments(bench):
        t = times[role]
        values = _shown(noise, drawn, flow, channel, instrument, t)
        spared = SPARED.get(bench.silent, ())
        lost = _within(t, silent[gaps:] if channel in spared else silent) | _within(t, parted)
        stamped = t + (late if role == "load" else 0.0)
        order = np.argsort(stamped[~lost], kind="stable")
        channels[channel] = stamped[~lost][order], values[~lost][order]
    return channels


def _pauses(rng: Random, gaps: list[tuple[float, float]]) -> list[tuple[float, float, bool]]:
    """In some gaps the current was off for a while: the load's own doing, or the pack's."""
    found = []
    for t, lasts in gaps:
        if rng.random() < PAUSES and lasts >= SHORTEST_PAUSE:
            off = rng.uniform(SHORTEST_PAUSE, lasts)
            begin = t + rng.random() * (lasts - off)
            found.append((begin, begin + off, rng.random() < 0.5))
    return found


def _apart(off: list[tuple[float, float, bool]]) -> list[tuple[float, float, bool]]:
    """Those that do not overlap one before them."""
    kept: list[tuple[float, float, bool]] = []
    for each in sorted(off, key=lambda one: one[1] - one[0], reverse=True):
        if all(each[1] + 5.0 < one[0] or one[1] + 5.0 < each[0] for one in kept):
            kept.append(each)
    return kept


def _times(noise: np.random.Generator, drawn: Drawn, flow: Flow, which: int, began: float) -> np.ndarray:
    """When an instrument is read (s): lazily, and fast near the end. ``which``: 0 the load, 1 the meter."""
    lazy, fast = drawn.bench.lazy[which], drawn.bench.fast[which]
    near = flow.terminals.v < NEAR_THE_END * drawn.pack.cut_off * drawn.pack.cells
    near &= flow.current.v > 0
    turn = float(flow.terminals.t[np.argmax(near)]) if near.any() else flow.opened
    end = flow.ended + LOOKED_ON + drawn.bench.hole
    slow = _polled(noise, began + noise.uniform(0.0, 0.5) * lazy, min(turn, end), lazy)
    start = float(slow[-1]) + fast if len(slow) else began
    return np.concatenate([slow, _polled(noise, start, end, fast)])


def _polled(noise: np.random.Generator, begin: float, end: float, every: float) -> np.ndarray:
    count = max(int((end - begin) / every * 1.1) + 2, 1)
    t = begin + np.cumsum(every * (1 + noise.uniform(-JITTER, JITTER, count))) - every
    return t[t < end]


def _within(t: np.ndarray, spans: list[tuple[float, float]]) -> np.ndarray:
    found = np.zeros(len(t), dtype=bool)
    for begin, end in spans:
        found |= (t > begin) & (t < end)
    return found


def _shown(
    noise: np.random.Generator, drawn: Drawn, flow: Flow, channel: str, instrument: Instrument, times: np.ndarray
) -> np.ndarray:
    """The readings: mean of the window, ripple, gain, offset, noise, digits."""
    reading, bench = instrument.reading, drawn.bench
    ends = ends_of(reading, times)
    amps = flow.current.mean(ends, reading.aperture)
    swing = _swing(drawn.load.ripple, ends, reading.aperture) * amps
    if channel == LOAD_CURRENT:
        value = amps + swing
    else:
        lost = 0.0 if channel == METER_VOLTAGE or bench.sensed else bench.leads
        seen = Trace(flow.terminals.t, flow.terminals.v - lost * flow.current.v)
        value = np.maximum(seen.mean(ends, reading.aperture) - swing * (lost + drawn.pack.resistance), 0.0)
    # one that is repeated is repeated with its noise
    fresh = np.cumsum(np.diff(ends, prepend=ends[0]) > 1e-9) if reading.renewal else np.arange(len(ends))
    dice = noise.standard_normal(len(ends))[fresh]
    offset = reading.offset + instrument.drift * (ends - flow.on) / (flow.ended - flow.on)
    value = value * reading.gain + offset + dice * (reading.noise + reading.share_noise * np.abs(value))
    return np.round(np.round(value / reading.resolution) * reading.resolution, 6)


def _swing(ripple: tuple[float, float, float], ends: np.ndarray, aperture: float) -> np.ndarray:
    """The mean of the ripple over each window, as a share of the current."""
    share, hertz, phase = ripple
    if not share:
        return np.zeros(len(ends))
    turn = 2 * np.pi * hertz
    if aperture <= 0:
        return share * np.sin(turn * ends + phase)
    return share * (np.cos(turn * (ends - aperture) + phase) - np.cos(turn * ends + phase)) / (turn * aperture)


def _parts(current: Channel, began: float, parted: list[tuple[float, float]], flow: Flow) -> tuple[Part, ...]:
    """What a run saw. The last part ends with the first reading clearly below its level, or without current if that is seconds later:
    a pack that derates has not yet stopped."""
    t, amps = current
    rest = float(np.median(amps[-5:]))  # what is shown with nothing flowing
    level = float(np.median(amps[t < flow.opened][-20:])) - rest
    down, nothing = (float(t[(t >= flow.opened) & (amps - rest < share * level)][0]) for share in (0.9, 0.1))
    at = down if nothing - down < STOPS_WITHIN else nothing
    cut = [(max(float(t[t < again][-1]), ended), False) for ended, again in parted]
    begins, ends = [began, *(again for _, again in parted)], [*cut, (at, True)]
    return tuple(Part(begin, *end) for begin, end in zip(begins, ends, strict=True))
