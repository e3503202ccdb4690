"""A world of its own: records of what a bench's instruments report while a pack's protection acts, and what was true.

It is written from physics and from what packs, supplies and meters are like, and shares nothing with how the program
judges a record. One number makes one record. Ranges stand where they are drawn: bench.py and the kinds' own files.
"""

from dataclasses import dataclass
from random import Random

import numpy as np

from runner.events import Sampled
from tests.foreign import benches, ends, less, stops
from tests.foreign.bench import Bench, draw
from tests.foreign.course import Change, Course
from tests.foreign.instruments import ends_of, fast_samples, meter_samples, polls, shown, spoiled
from tests.foreign.physics import World

KINDS = stops.KINDS | less.KINDS | ends.KINDS | benches.KINDS
DEPARTURES = tuple(KINDS)
AT_ONE_AMPERE = "keep-alive at 1 A"
STOPS = {"opens", "full", "lead off"}  # nothing flows after these


@dataclass(frozen=True)
class ForeignRecord:
    """One record and its truth. Times in s on the run's clock; ``changes`` in the order of their times.

    ``about`` is the change that ``explanations`` speaks of, None where nothing happens ("nothing"). ``windows`` are the
    beginnings and ends of what each reading of the current is the mean of.
    """

    kind: str
    samples: list[Sampled]
    changes: list[Change]
    about: Change | None
    explanations: frozenset[str]
    interval: float
    set_voltage: float
    set_current: float
    on_at: float
    aperture: float
    stamp: float
    renewal: float
    meter_aperture: float | None
    meter_stamp: float | None
    meter_at: str
    windows: tuple[np.ndarray, np.ndarray]
    bench: Bench
    world: World

    def seen(self, change: Change) -> bool:
        """Whether any reading of the current could show a retry or a pre-charge, which may fall between them; else True."""
        if change.what not in ("retries", "pre-charges"):
            return True
        reading, (begins, until) = self.bench.current, self.windows
        amps = change.level if change.what == "pre-charges" else change.level * self.set_current
        shared = np.minimum(until, change.t + change.lasts) - np.maximum(begins, change.t)
        # a point sample (aperture 0) sees all or nothing
        part = float(np.max(shared)) / self.aperture if self.aperture else float(np.max(shared) >= 0)
        return min(part, 1.0) * amps > 5 * reading.noise + 2 * reading.resolution + abs(reading.offset)


def _fits(course, amps, volts):
    """What else the readings leave possible, beyond what the course itself says."""
    reading, voltage, about = course.bench.current, course.bench.voltage, course.about
    also = set()
    least = 3 * reading.noise + 2 * reading.resolution + abs(reading.offset)
    if about and about.what in STOPS and abs(reading.offset) >= max(1e-3, reading.resolution / 2):
        also.add("keeps alive")  # an offset reads as a small current that stays
    if about and about.what == "tapers" and amps[-1] > 0.95 * course.full - least:
        also.add("nothing")  # so little less is within what supplies hold
    if about and about.what == "keeps alive" and about.level < least:
        also.add("opens")
    if "keeps alive" in course.fits and about.what == "derates" and about.level * course.full < least:
        also.add("opens")
    if not about:  # a pause of the supply shows in its voltage, unless that is read more slowly than the current
        settled = int(2.0 / course.bench.interval) + 1
        stopped = amps[settled:] < 0.5 * course.full
        usual = float(np.median(volts)) - 5 * voltage.noise - 2 * voltage.resolution
        if stopped.any() and float(volts[settled:][stopped].max()) > usual:
            also |= {"opens", "retries"}
    return course.fits | also


def _modes(bench, world, times):
    """CV where the terminals stand at the set voltage."""
    if not bench.says_mode:
        return [""] * len(times)
    return np.where(world.voltage.at(times) > bench.set_voltage - 0.03, "CV", "CC").tolist()


def record(seed: int, departure: str = "", interval: float | None = None) -> ForeignRecord:
    """The record of this number: any kind, or of this one; polled at its own interval (s) or at this one."""
    rng = Random(f"{seed} {departure}")
    kind = departure or rng.choice(DEPARTURES)
    noise = np.random.default_rng(rng.getrandbits(64))
    bench = draw(rng, interval, 1.0 if kind == AT_ONE_AMPERE else None)
    course = Course(rng, bench)
    course.start()
    KINDS[kind](course)
    end = course.finish()
    world = World(course, end)
    times = polls(noise, bench, end)
    stops_at = ends_of(bench.current, times)
    amps = shown(noise, bench.current, world.current, stops_at)
    volts = shown(noise, bench.voltage, world.voltage, ends_of(bench.voltage, times))
    when = np.array([each.t for each in course.changes])

    def forbidden(index, last):
        near = (when > times[index] - 3.0) & (when < times[min(last, len(times) - 1)] + 3.0)
        return kind != "bad samples" and bool(near.any())

    bad = spoiled(rng, len(times), kind, forbidden)
    samples = fast_samples(times, amps, volts, _modes(bench, world, times), course.off_at, bad)
    meter = bench.meter
    if meter:
        samples = sorted(samples + meter_samples(noise, bench, world.meter, end), key=lambda each: each.t)
    kept = [index for index in range(len(times)) if bad.get(index) != "gap"]
    return ForeignRecord(
        kind=kind,
        samples=samples,
        changes=sorted(course.changes, key=lambda each: each.t),
        about=course.about,
        explanations=_fits(course, amps, volts),
        interval=bench.interval,
        set_voltage=bench.set_voltage,
        set_current=bench.set_current,
        on_at=bench.on_at,
        aperture=bench.current.aperture,
        stamp=bench.current.stamp,
        renewal=bench.current.renewal,
        meter_aperture=meter.aperture if meter else None,
        meter_stamp=meter.stamp if meter else None,
        meter_at=bench.meter_at if meter else "",
        windows=(stops_at[kept] - bench.current.aperture, stops_at[kept]),
        bench=bench,
        world=world,
    )
