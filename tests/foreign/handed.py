"""A foreign record handed to the method: the one place that knows the form of its entry, ``runner.measure.findings.findings``.

What a run has and a foreign record has not is the watcher's word on each change: it is asked here, on the samples about the change
(the watcher's words on whole records have a benchmark of their own). ``declared`` becomes what bench file and sheet become in a run.
"""

from bisect import bisect_left

from runner.engine.watch.watcher import Watcher
from runner.events import CHARGE, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Sampled
from runner.measure.finding import Finding
from runner.measure.findings import findings
from runner.measure.recording import Attempt, Held, Recording, Series, Specification
from runner.vocabulary import Outcome, WatchWord
from tests.foreign.trial import Trial

SENSOR, ZERO = "T1", 273.15
UNSAID = 0.1  # of a delay: what is taken where a sheet does not say how well it is kept
KINDS = {"box": "substitute"}  # the names of steps where the run has others
BEFORE, AFTER, SETTLED = 15.0, 14.0, 40.0  # s of samples that the watcher is shown about a change, and at the beginning
STOPPED = {WatchWord.STOPPED, WatchWord.KEEP_ALIVE}


def found(trial: Trial) -> list[Finding]:
    """The findings that the method makes of a record."""
    return FINDERS[trial.world](trial)


def _temperature(trial: Trial) -> list[Finding]:
    said = trial.declared
    more = {
        "calibration": (said["calibration"], "normal"),
        "resolution": said["resolution"],
        "coupling": said["coupling"],
        "probe_lag": said["probe_lag"],
        "sensor_lag": {SENSOR: said["sensor_lag"]} if said["sensor_lag"] else {},
        "wanted": ("trip", "release", "hysteresis"),
    }
    return findings(_recording(trial), _of_temperature(said, more))


def _box(trial: Trial) -> list[Finding]:
    said = trial.declared
    more = {
        "box": said["box"],
        "slope": {
            SENSOR: lambda celsius: -said["beta"] / (celsius + ZERO) ** 2
        },  # d ln R/dT of the B-parameter equation
        "reaction": said["key"],
        "wanted": ("trip", "release", "hysteresis", "delay"),
    }
    return findings(_recording(trial), _of_temperature(said, more))


def _recording(trial: Trial) -> Recording:
    channels = {name: Series(t, value) for name, (t, value) in trial.channels.items()}
    return Recording(channels, tuple(_attempts(trial)))


def _of_temperature(said, more) -> Specification:
    trip, release, tolerance = said["trip"], said["release"], said["tolerance"]
    return Specification(
        protection=said["protection"],
        trip=trip,
        release=release,
        trip_limits=(trip - tolerance, trip + tolerance),
        release_limits=(release - tolerance, release + tolerance),
        delay=said["delay"],
        delay_uncertainty=UNSAID * said["delay"] / 3**0.5,
        polling=said["polling"],
        sensors=(SENSOR,),
        aperture={CHARGE: said["averages"]},
        **more,
    )


def _attempts(trial: Trial):
    """The steps as the run ends them: with what the watcher says of the change, and the sample that showed it."""
    words = _watched(trial)
    for step in trial.steps:
        end = step.ended if step.ended is not None else trial.channels[SUPPLY_CURRENT][0][-1]
        wanted = STOPPED if step.opens else {WatchWord.RETURNED}
        fitting = [since for since, word in words if step.began <= since <= end + AFTER and word in wanted]
        outcome = (Outcome.STOPPED if step.opens else Outcome.RETURNED) if fitting else Outcome.NOT_SEEN
        yield Attempt(
            KINDS.get(step.kind, step.kind),
            SENSOR,
            step.cycle,
            step.rate,
            step.began,
            step.ramp_began,
            fitting[0] if fitting else end,
            outcome,
            "",
            levels=tuple(Held(value, since, by_hand=True) for value, since in step.levels),
            sought=Outcome.STOPPED if step.opens else Outcome.RETURNED,
            concluded=end,
        )


def _watched(trial: Trial) -> list[tuple[float, WatchWord]]:
    """(since, word) of each verdict."""
    said = trial.declared
    watcher = Watcher({CHARGE: said["smallest_current"]})
    watcher.paced(trial.interval)
    watcher.expect(CHARGE, said["set_voltage"], said["set_current"], trial.on_at)
    words = []
    for sample in _shown(trial):
        words += [(verdict.since, verdict.word) for verdict in watcher.take(sample)]
    return words


def _shown(trial: Trial):
    """The supply's samples about the changes."""
    t, amps = trial.channels[SUPPLY_CURRENT]
    volts = trial.channels[SUPPLY_VOLTAGE][1]
    times = t.tolist()
    windows = [
        (trial.on_at, trial.on_at + SETTLED),
        *((s.acted - BEFORE, s.acted + AFTER) for s in trial.steps if s.acted),
    ]
    done = 0
    for begin, end in windows:
        first, last = max(bisect_left(times, begin), done), bisect_left(times, end)
        for i in range(first, last):
            yield Sampled(
                times[i],
                {SUPPLY_CURRENT: float(amps[i]), SUPPLY_VOLTAGE: float(volts[i])},
                {},
                str(trial.modes[i]),
                True,
            )
        done = max(done, last)


FINDERS = {"temperature": _temperature, "box": _box}
