"""What the instruments say of it, and when."""

import numpy as np

from runner.events import METER_VOLTAGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Sampled


def polls(draw, bench, end):
    """The times of the fast samples: jitter of a tenth of the interval, on a fixed grid or wandering."""
    step = bench.interval
    n = int((end - bench.on_at) / step)
    jitter = draw.uniform(-0.1, 0.1, n) * step
    if bench.drifts:
        times = bench.on_at + np.cumsum(step + jitter) - 0.9 * step
    else:
        times = bench.on_at + 0.1 * step + np.arange(n) * step + jitter
    return times[times <= end]


def asked(draw, every, begin, end, late):
    """(when a reading was asked for, the later time that the run gives to it): one after the other, ticks that were slept through left out.

    ``late``: (the least, the mean of what is added to it) in s, from the question to the stamp.
    """
    ticks = int((end - begin) / every)
    delays = (late[0] + draw.exponential(late[1], ticks)).tolist()
    jitter = draw.uniform(0.0, 0.1 * every, ticks).tolist()
    times, stamps, free = [], [], begin
    for tick in range(ticks):
        due = begin + tick * every + jitter[tick]
        if due < free:
            if free - due > every:
                continue
            due = free
        free = due + delays[tick]
        if free >= end:
            break
        times.append(due)
        stamps.append(free)
    return np.array(times), np.array(stamps)


def ends_of(reading, times):
    """When the window of each reading ended."""
    if reading.renewal:  # the last fresh one is shown until the next
        return np.floor((times - reading.phase) / reading.renewal) * reading.renewal + reading.phase
    return times + (1 - reading.stamp) * reading.aperture


def shown(draw, reading, trace, ends):
    """The readings: mean of the window, gain, offset, noise, digits. One that is repeated has the same noise."""
    value = trace.mean(ends, reading.aperture)
    noise = draw.standard_normal(len(ends))
    if reading.renewal:
        fresh = np.cumsum(np.diff(ends, prepend=ends[0]) > 1e-9)
        noise = noise[fresh]
    value = value * reading.gain + reading.offset + noise * (reading.noise + reading.share_noise * np.abs(value))
    value = np.round(np.round(value / reading.resolution) * reading.resolution, 6)
    return np.maximum(value, 0.0) if reading.clips else value


def spoiled(rng, count, kind, forbidden):
    """What is wrong with which sample: index to "zero", "all zero", "not a number" or "gap"; few in most records."""
    bad = {}
    some, most = (1.0, 6) if kind == "bad samples" else (0.08, 2)
    wanted = rng.randint(1, most) if rng.random() < some else 0
    for _ in range(wanted):
        index = rng.randrange(max(1, count - 6))
        # in other kinds a zero would be one more event, and nothing is missing near one
        what = rng.choice(
            ("zero", "all zero", "not a number", "gap") if kind == "bad samples" else ("not a number", "gap")
        )
        last = index + (rng.randint(0, 4) if what == "gap" else 0)
        if forbidden(index, last) or any(abs(each - index) < 8 for each in bad):
            continue  # lone ones
        bad |= dict.fromkeys(range(index, last + 1), what)
    return bad


def fast_samples(times, amps, volts, modes, off_at, bad):
    """The samples of the supply; ``modes`` are its words at those times."""
    samples = []
    rows = zip(times.tolist(), amps.tolist(), volts.tolist(), modes, strict=True)
    for index, (t, ampere, volt, mode) in enumerate(rows):
        lost = {}
        readings = {SUPPLY_CURRENT: ampere, SUPPLY_VOLTAGE: volt}
        if index in bad:
            what = bad[index]
            if what == "gap":
                continue
            if what == "not a number":
                del readings[SUPPLY_CURRENT]
                lost = {SUPPLY_CURRENT: "not a number"}
            else:
                readings[SUPPLY_CURRENT] = 0.0
                readings[SUPPLY_VOLTAGE] = 0.0 if what == "all zero" else volt
        samples.append(Sampled(t, readings, lost, mode if t < off_at else "", t < off_at))
    return samples


def meter_samples(draw, bench, trace, end):
    """The voltmeter's samples, about one a second."""
    n = int((end - bench.on_at) / bench.meter_period)
    times = bench.on_at + draw.uniform(0.0, 0.3) + (np.arange(n) + draw.uniform(0.0, 0.1, n)) * bench.meter_period
    volts = shown(draw, bench.meter, trace, ends_of(bench.meter, times))
    return [Sampled(t, {METER_VOLTAGE: v}) for t, v in zip(times.tolist(), volts.tolist(), strict=True)]
