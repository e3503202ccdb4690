"""Each departure of a temperature record from its plain case, by name: what is written into what was drawn.

All ranges are common practice, no source (from memory): what packs, meters and hands are like. Departures of one group exclude each other.
"""

from tests.foreign.bench import Reading, aperture, log
from tests.foreign.thermal.drawn import RATES


def _ramps(count):
    def change(rng, d):
        d.rates = tuple(each * rng.uniform(0.88, 1.12) for each in RATES[count])

    return change


def _one_ramp(rng, d):
    d.rates = (rng.uniform(0.5, 4.0),)


def _both(*changes):
    def change(rng, d):
        for each in changes:
            each(rng, d)

    return change


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


def _noise(rng, d):
    d.firmware.noise = log(rng, 0.02, 0.3)


def _steps(rng, d):
    d.step = log(rng, 0.02, 1.0)


def _mean(rng, d):
    d.firmware.mean = rng.randint(4, 16)


def _lag(rng, d):
    d.firmware.lag = rng.uniform(1.0, 10.0)


def _debounced(forgives=False, extra=1):
    def change(rng, d):
        """The sheet gives the delay that comes of it, and only that."""
        firmware = d.firmware
        firmware.counted, firmware.forgives = True, forgives
        looks = rng.randint(2, 5)
        firmware.delay, firmware.in_a_row = 0.0, looks
        d.delay_said = round((looks - 1) * firmware.every, 1)
        if extra:
            firmware.noise = log(rng, 0.02, 0.3)

    return change


def _by_time(rng, d):
    d.firmware.counted, d.firmware.noise = False, log(rng, 0.02, 0.3)


def _looks(low, high, said=True):
    def change(rng, d):
        every = log(rng, low, high)
        d.firmware.every, d.firmware.phase = every * rng.uniform(0.97, 1.03), rng.random() * every
        d.polling_said = every if said else 0.0

    return change


def _soft(rng, d):
    d.path.off, d.path.off_time = "linear", log(rng, 0.001, 0.05)


def _contactor(rng, d):
    d.path.dead, d.path.bounces, d.path.bounce = rng.uniform(0.01, 0.05), rng.randint(1, 5), log(rng, 0.001, 0.01)


def _tail(rng, d):
    d.path.off, d.path.off_time = "tail", 3 * log(rng, 0.05, 0.4)


def _slow_off(rng, d):
    d.path.off, d.path.off_time = "linear", rng.uniform(1.0, 2.5)


def _keeps_alive(rng, d):
    d.path.left = log(rng, 0.05, min(0.5, 0.1 * d.level))


def _pre_charge(rng, d):
    d.path.pre_charge = (rng.uniform(0.05, 0.2), log(rng, 0.1, 5.0))


def _bounces(rng, d):
    d.path.bounces, d.path.bounce = rng.randint(2, 8), log(rng, 0.005, 0.2)


def _derates(rng, d):
    d.path.derates = rng.choice((0.5, 0.25, 0.75))


def _settles(rng, d):
    d.path.settling = log(rng, 0.01, 0.5)


def _averages(said):
    def change(rng, d):
        d.current.aperture = aperture(rng) or 0.02
        d.averages_said = d.current.aperture if said else 0.0

    return change


def _renewed(rng, d):
    d.current.renewal, d.current.phase = log(rng, 0.02, 0.5), rng.random()
    d.current.aperture = min(d.current.renewal, 0.2) * rng.random()


def _coarse(rng, d):
    d.current.resolution, d.current.noise = rng.choice((0.01, 0.05, 0.1)), rng.uniform(0.005, 0.05)


def _late(rng, d):
    d.late = (rng.uniform(0.0, 0.2), log(rng, 0.01, 0.1))


def _polled(every):
    def change(_rng, d):
        d.interval, d.probe_every = every, max(0.5, every)

    return change


GROUPS = {
    "looks": {
        "fast looks": _looks(0.1, 0.5),
        "slow looks": _looks(2.0, 4.0),
        "looks not on the sheet": _looks(0.1, 4.0, said=False),
    },
    "ramps": {
        "one ramp": _one_ramp,
        "one ramp, slow sensor": _both(_one_ramp, _slow_sensor),
        "two ramps": _ramps(2),
        "two ramps, noisy pack": _both(_ramps(2), _noise),
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
    "pack": {"pack's noise": _noise, "pack's steps": _steps, "pack's noise and steps": _both(_noise, _steps)},
    "filter": {"mean of looks": _mean, "first-order filter": _lag, "noise and mean of looks": _both(_noise, _mean)},
    "debounce": {
        "looks in a row": _debounced(),
        "a look takes one off": _debounced(forgives=True),
        "debounce by time": _by_time,
    },
    "off": {
        "soft gate": _soft,
        "contactor": _contactor,
        "current's tail": _tail,
        "slow turn-off": _slow_off,
    },
    "left": {"keep-alive": _keeps_alive, "derates first": _derates},
    "back": {"pre-charge on return": _pre_charge, "bouncing return": _bounces},
    "supply": {"supply settles": _settles},
    "meter": {
        "averaging meter": _averages(said=False),
        "averaging meter, said": _averages(said=True),
        "reading renewed slowly": _renewed,
        "coarse meter": _coarse,
    },
    "stamps": {"late stamps": _late},
    "polling": {"polled every 0.1 s": _polled(0.1), "polled every 1 s": _polled(1.0)},
}
WEIGHTS = {"ramps": 0.4, "off": 0.4, "left": 0.3, "polling": 2 / 3}
