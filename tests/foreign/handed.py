"""A foreign record handed to the method: the one place that knows the form of its entry, ``runner.measure.findings.findings``.

What a run has and a foreign record has not is the watcher's word on each change: it is asked here, on the samples about the change
(the watcher's words on whole records have a benchmark of their own). ``declared`` becomes what bench file and sheet become in a run.
"""

from bisect import bisect_left
from itertools import pairwise

from runner.engine.watch.watcher import Watcher
from runner.events import (
    CHARGE,
    CURRENT_OF,
    DISCHARGE,
    LOAD_VOLTAGE,
    METER_VOLTAGE,
    SUPPLY_CURRENT,
    VOLTAGE_OF,
    Sampled,
)
from runner.measure.finding import Finding
from runner.measure.findings import findings
from runner.measure.fits.averaging import Averaging, of_window
from runner.measure.recording import Accuracy, Attempt, Held, Recording, Reference, Series, Specification
from runner.vocabulary import Outcome, WatchWord
from tests.foreign.trial import Trial

SENSOR, ZERO = "T1", 273.15
UNSAID = 0.1  # of a delay: what is taken where a sheet does not say how well it is kept
FULL_BEFORE = (-9000.0, -5000.0)  # s: the charge that ended full before a discharge
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
    if said["second"] is not None:
        channel, calibration, coupling = said["second"]
        lag = (1.75, 0.72)  # uniform from 0.5 to 3 s
        second = Reference(channel, (calibration, "normal"), said["resolution"], coupling, None, None, lag)
        more["beside"] = {SENSOR: second}
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


def _under_voltage(trial: Trial) -> list[Finding]:
    said = trial.declared
    trip, release, tolerance = said["trip"], said["release"], said["tolerance"]
    channels = {name: Series(t, value) for name, (t, value) in trial.channels.items()}
    accuracy = {LOAD_VOLTAGE: Accuracy(*said["load"])}
    if said["meter"]:
        accuracy[METER_VOLTAGE] = Accuracy(*said["meter"])
    drained, rested = trial.steps
    seen = [since for since, word in _watched(trial) if word in STOPPED and since > drained.began]
    t, volts = trial.channels[METER_VOLTAGE if said["meter"] else LOAD_VOLTAGE]
    up = t[(volts > 0.5 * said["nominal"]) & (t > rested.began)]
    attempts = (
        Attempt(
            "drain",
            "",
            0,
            0.0,
            drained.began,
            None,
            seen[0] if seen else drained.ended,
            Outcome.STOPPED if seen else Outcome.NOT_SEEN,
            "",
            sought=Outcome.STOPPED,
            concluded=drained.ended,
        ),
        Attempt(
            "recover",
            "",
            0,
            0.0,
            rested.began,
            None,
            float(up[0]) if len(up) else rested.ended,
            Outcome.RETURNED if len(up) else Outcome.NOT_SEEN,
            "",
            sought=Outcome.RETURNED,
            concluded=float(up[0]) + 1.5,
        ),
    )
    specification = Specification(
        protection=said["protection"],
        trip=trip,
        release=release,
        trip_limits=(trip - tolerance, trip + tolerance),
        release_limits=(release - tolerance, release + tolerance),
        delay=said["delay"],
        delay_uncertainty=UNSAID * said["delay"] / 3**0.5,
        polling=said["polling"],
        cells=said["cells"],
        wanted=("trip", "release", "recovery_time"),
        accuracy=accuracy,
        leads={DISCHARGE: said["leads"]} if said["leads"] else {},
        averaging=_averaging(DISCHARGE, said["averages"]),
    )
    return findings(Recording(channels, attempts), specification)


def _discharge(trial: Trial) -> list[Finding]:
    said, channels = trial.declared, {name: Series(*series) for name, series in trial.channels.items()}
    parts = trial.extra["parts"]
    attempts = [Attempt("charge", "", 0, 0.0, FULL_BEFORE[0], None, FULL_BEFORE[1], Outcome.FULL, "")]
    for part in parts:
        outcome = Outcome.STOPPED if part.stopped else Outcome.BROKEN_OFF
        attempts.append(Attempt("drain", "", 0, 0.0, part.began, None, part.at, outcome, ""))
    specification = Specification(
        "under_voltage",
        trip=said["cut_off"],
        accuracy={name: Accuracy(*each) for name, each in said["accuracy"].items()},
        leads={DISCHARGE: said["leads"]} if said["leads"] else {},
        wanted=("capacity", "energy"),
    )
    breaks = tuple((one.at, other.began) for one, other in pairwise(parts))
    return findings(Recording(channels, tuple(attempts), breaks=breaks), specification)


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
        averaging=_averaging(CHARGE, said["averages"]),
        **more,
    )


def _averaging(path: str, said: float) -> dict[str, Averaging]:
    """What the bench file says of the current's meter; of one that says nothing, the run finds it out."""
    return {path: of_window(said)} if said else {}


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
    path = CHARGE if SUPPLY_CURRENT in trial.channels else DISCHARGE
    watcher = Watcher({path: said["smallest_current"]})
    watcher.paced(trial.interval)
    watcher.expect(path, said.get("set_voltage", 0.0), said["set_current"], trial.on_at)
    words = []
    for sample in _shown(trial, path):
        words += [(verdict.since, verdict.word) for verdict in watcher.take(sample)]
    words += [(verdict.since, verdict.word) for verdict in watcher.forget(sample.t)]
    return words


def _shown(trial: Trial, path: str):
    """The samples of the fast channel about the changes."""
    t, amps = trial.channels[CURRENT_OF[path]]
    volts = trial.channels[VOLTAGE_OF[path]][1]
    times = t.tolist()
    changes = [step for step in trial.steps if step.acted is not None and step.kind != "rest"]
    windows = [
        (trial.on_at, trial.on_at + SETTLED),
        *((s.acted - BEFORE, min(s.acted + AFTER, s.ended) if path == DISCHARGE else s.acted + AFTER) for s in changes),
    ]
    done = 0
    for begin, end in windows:
        first, last = max(bisect_left(times, begin), done), bisect_left(times, end)
        for i in range(first, last):
            readings = {CURRENT_OF[path]: float(amps[i]), VOLTAGE_OF[path]: float(volts[i])}
            yield Sampled(times[i], readings, {}, str(trial.modes[i]), True)
        done = max(done, last)


FINDERS = {"temperature": _temperature, "box": _box, "under-voltage": _under_voltage, "discharge": _discharge}
