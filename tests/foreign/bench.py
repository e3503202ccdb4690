"""The bench and the pack of one record: every constant that is drawn, with its range.

All ranges are common practice, no source (from memory), but for the cells' voltages, which any data sheet of the chemistry has.
"""

from dataclasses import dataclass

CELLS = 8  # LFP in series
APERTURES = (0.0, 0.02, 0.05, 0.1, 0.2, 0.4, 1.0)  # s
INTERVALS = (0.1, 0.25, 1.0)  # s between polls
RESOLUTIONS = (0.001, 0.001, 0.002, 0.005, 0.01, 0.1)  # A; the last is a clamp or like one


@dataclass
class Reading:
    """How an instrument makes one of its readings."""

    aperture: float  # s: the mean of so long
    stamp: float  # where in that window the sample's time is: 1 its end, 0 its beginning
    renewal: float  # s between fresh readings; 0: measured when asked
    phase: float  # s: when the instrument's own clock ticks
    resolution: float
    gain: float
    offset: float
    share_noise: float  # of the value, one sigma
    noise: float  # one sigma at zero
    clips: bool = False  # never shows less than zero


@dataclass
class Bench:
    """A supply, perhaps a meter, and a pack."""

    interval: float
    drifts: bool  # the polls wander off a fixed grid, as those of a sleeping loop do
    on_at: float
    set_voltage: float
    set_current: float
    says_mode: bool
    settling: float
    jump: float
    capacitor: float  # F seen by the current reading; 0 where the shunt is behind it
    current: Reading
    voltage: Reading
    meter: Reading | None
    meter_period: float
    meter_at: str  # "cells": a port of its own, or the discharge side; "terminals": where the supply feeds in
    rest: float  # V, open circuit
    slope: float  # V/s at the set current
    r_leads: float
    r_path: float
    r_cells: float
    r_polar: float
    tau_polar: float


def aperture(rng, longest=1.0):
    """One of the usual ones, or between them."""
    fitting = [each for each in APERTURES if each <= longest]
    return rng.choice(fitting) if rng.random() < 0.6 else rng.uniform(0.0, longest)


def log(rng, low, high):
    """As often in each decade."""
    return low * (high / low) ** rng.random()


def _current_reading(rng, interval, resolution):
    clamp = resolution == 0.1
    band_share = log(rng, 0.01, 0.03) if clamp else log(rng, 0.0002, 0.01)
    digits = rng.randint(1, 5 if clamp else 20)
    at_end = rng.random() < 0.5
    # an instrument that measures when asked answers before it is asked again; one that runs freely stamps nothing itself
    longest = 1.0 if at_end else 0.9 * interval
    renewal = log(rng, 0.02, 0.5) if at_end and rng.random() < 0.6 else 0.0
    # what stands on the display with nothing flowing: most supplies zero themselves
    offset = 0.0 if rng.random() < 0.7 else rng.uniform(-0.5, 0.5) * digits * resolution
    return Reading(
        aperture=aperture(rng, longest),
        stamp=1.0 if at_end else rng.choice((0.0, 0.5, rng.random())),
        renewal=renewal,
        phase=rng.random() * renewal,
        resolution=resolution,
        gain=1 + rng.uniform(-0.5, 0.5) * band_share,
        offset=offset,
        share_noise=band_share / 4,
        noise=digits * resolution / 8,
        clips=rng.random() < 0.4,
    )


def voltage_reading(rng, aperture, like=None, stamp=1.0):
    """A voltage: 1 to 10 mV, 0.01 to 0.05 %, one to a few digits."""
    resolution = rng.choice((0.001, 0.002, 0.005, 0.01))
    return Reading(
        aperture=aperture,
        stamp=like.stamp if like else stamp,
        renewal=like.renewal if like else 0.0,
        phase=like.phase if like else 0.0,
        resolution=resolution,
        gain=1 + rng.uniform(-1, 1) * log(rng, 1e-4, 5e-4),
        offset=rng.uniform(-1, 1) * resolution,
        share_noise=0.0,
        noise=resolution * rng.uniform(0.2, 1.5),
    )


def draw(rng, interval=None, set_current=None):
    """A bench. ``interval`` and ``set_current`` (A) may be given."""
    interval = interval or rng.choice(INTERVALS)
    amps = set_current or (4.0 if rng.random() < 0.5 else round(log(rng, 0.5, 20.0), 2))
    fit = [each for each in RESOLUTIONS if each <= amps / 40]  # nobody takes a 100 mA clamp to half an ampere
    current = _current_reading(rng, interval, rng.choice(fit))
    longest = 1.0 if current.stamp == 1.0 else 0.9 * interval
    same = rng.random() < 0.5
    voltage = voltage_reading(rng, current.aperture if same else aperture(rng, longest), like=current)
    meter_aperture = log(rng, 0.02, 0.2) if rng.random() < 0.7 else aperture(rng, 0.8)  # 1 to 10 cycles of the mains
    at_reply = 1.0 if rng.random() < 0.5 else rng.choice((0.0, 0.5, rng.random()))
    most = 0.8 / amps  # Ω: pack and leads are made for the current that they carry
    return Bench(
        interval=interval,
        drifts=rng.random() < 0.5,
        on_at=round(rng.uniform(0.0, 100.0), 3),
        set_voltage=29.2 if rng.random() < 0.7 else rng.choice((28.8, 29.0)),
        set_current=amps,
        says_mode=rng.random() < 0.8,
        settling=log(rng, 0.01, 0.5),
        jump=log(rng, 0.001, 0.02),
        capacitor=0.0,
        current=current,
        voltage=voltage,
        meter=voltage_reading(rng, meter_aperture, stamp=at_reply) if rng.random() < 0.5 else None,
        meter_period=rng.uniform(0.8, 1.3),
        meter_at=rng.choice(("cells", "terminals")),
        rest=rng.uniform(26.0, 27.0),
        slope=CELLS * log(rng, 0.1e-3, 3e-3) / 60,
        r_leads=min(rng.uniform(0.005, 0.06), 0.3 * most),
        r_path=min(rng.uniform(0.002, 0.03), 0.2 * most),
        r_cells=min(rng.uniform(0.01, 0.06), 0.5 * most),
        r_polar=min(rng.uniform(0.005, 0.05), 0.4 / amps),
        tau_polar=log(rng, 10.0, 200.0),
    )
