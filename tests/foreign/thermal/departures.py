"""Each departure of a temperature record from its plain case, by name: what is written into what was drawn.

All ranges are common practice, no source (from memory): what packs, meters and hands are like. Departures of one group exclude each other.
"""

from tests.foreign import practice
from tests.foreign.bench import Reading, log
from tests.foreign.thermal.drawn import RATES, Second


def _ramps(count):
    def change(rng, d):
        d.rates = tuple(each * rng.uniform(0.88, 1.12) for each in RATES[count])

    return change


def _one_ramp(rng, d):
    d.rates = (rng.uniform(0.5, 4.0),)


def _slow_sensor(rng, d):
    d.sensor_lags = (rng.uniform(12.0, 40.0), rng.uniform(1.0, 4.0))


def _sheet_says_lag(rng, d):
    _slow_sensor(rng, d)
    lag = sum(d.sensor_lags)
    d.sensor_says = (lag * rng.uniform(0.8, 1.2), 0.2 * lag / 3**0.5)


def _slow_probe(rng, d):
    d.probe_lag, d.probe_says = rng.uniform(3.0, 5.0), (4.0, 1.0 / 3**0.5)


def _hand_held(rng, d):
    d.probe = Reading(0.3, 1.0, rng.uniform(0.5, 1.0), rng.random(), 0.1, 1.0, 0.0, 0.0, rng.uniform(0.01, 0.05))
    d.calibration = rng.uniform(0.15, 0.5)  # 0.3 to 1 K expanded
    d.calibration_error = rng.gauss(0, d.calibration)


def _loose(rng, d):
    d.coupling = rng.uniform(0.2, 0.5)
    d.common = rng.gauss(0, d.coupling)


def _grows(rng, d):
    d.share = rng.uniform(0.002, 0.01) * rng.choice((-1, 1))


def _by_direction(rng, d):
    d.by_direction = rng.uniform(0.05, 0.2) * rng.choice((-1, 1))


def _stem(rng, d):
    d.self_heating, d.share = rng.uniform(0.01, 0.1), -rng.uniform(0.002, 0.01)  # the stem leads heat to the ambient


def _second(rng, d):
    """Both may be bad at the sensor in the same way: 0 to 0.8 of the contact error is common."""
    calibration, coupling = log(rng, 0.03, 0.2), log(rng, 0.05, 0.2)
    together = rng.uniform(0.0, 0.8)
    apart = (1 - together**2) ** 0.5 * rng.gauss(0, coupling)
    d.second = Second(
        lag=rng.uniform(0.5, 3.0),
        calibration=calibration,
        calibration_error=rng.gauss(0, calibration),
        coupling=coupling,
        common=together * d.common * coupling / max(d.coupling, 0.05) + apart,
        share=rng.uniform(0.3, 1.3),
        by_direction=rng.uniform(-1.0, 1.0),
    )


def _one_slipped(rng, d):
    """One of two probes is held much worse than declared: what one probe alone never shows."""
    _second(rng, d)
    off = rng.uniform(0.3, 1.5) * rng.choice((-1, 1))
    if rng.random() < 0.5:
        d.common += off
    else:
        d.second.common += off


def _drafts(rng, d):
    d.hand.drafts, d.hand.draft_share = 1.0, rng.uniform(0.5, 1.0)


def _pulses(rng, d):
    d.hand.pulses = rng.uniform(2.0, 10.0)
    d.hand.ripple = min(
        1.5, d.hand.pulses * rng.uniform(0.03, 0.12)
    )  # K: the gun's 10 to 30 K/min for its third of the time


def _overshoot(rng, d):
    d.hand.overshoot = rng.uniform(1.0, 3.0)


def _uneven(rng, d):
    d.hand.uneven, d.hand.wanders = rng.uniform(0.1, 0.4), rng.uniform(15.0, 60.0)


GROUPS = {
    **practice.PACK,
    "ramps": {
        "one ramp": _one_ramp,
        "one ramp, slow sensor": practice.both(_one_ramp, _slow_sensor),
        "two ramps": _ramps(2),
        "two ramps, noisy pack": practice.both(_ramps(2), practice.noise),
        "four ramps": _ramps(4),
    },
    "sensor": {"slow sensor": _slow_sensor, "slow sensor, on the sheet": _sheet_says_lag},
    "probe": {"slow probe": _slow_probe, "hand-held thermometer": _hand_held},
    "coupling": {"coupling grows with T": _grows, "probe's stem and self-heating": _stem, "loose contact": _loose},
    "direction": {"coupling by direction": _by_direction},
    "drafts": {"drafts": _drafts},
    "gun": {"pulsed heat": _pulses},
    "hand": {"overshoot": _overshoot},
    "wander": {"uneven ramp": _uneven},
    **practice.OFF,
    "left": {"keep-alive": practice.keeps_alive, "derates first": practice.derates},
    **practice.BACK,
    **practice.METER,
    "second": {"second probe": _second, "one of two probes slipped": _one_slipped},
}
WEIGHTS = {
    **practice.WEIGHTS,
    "ramps": 0.2,
    "second": 0.2,
}  # three ramps are what the procedures have; 8 of 100 records have one
