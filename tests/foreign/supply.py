"""What a run reads of a supply that charges a pack: current, voltage and its word, with the times that the run gives to them."""

from dataclasses import replace

import numpy as np

from runner.events import SUPPLY_CURRENT, SUPPLY_VOLTAGE
from tests.foreign.instruments import asked, ends_of, shown
from tests.foreign.trace import Trace

SET_VOLTAGE, REST, OHMS = 29.2, 26.4, 0.03


def supply_readings(draw, d, trace, on_at, end):
    """(channels, modes) of a record's current ``trace`` up to ``end``; ``d`` is what was drawn (current, level, interval, late).

    With the pack's path open a supply stands at its set voltage and says CV.
    """
    t, at = asked(draw, d.interval, 1.5, end, d.late)
    ends = ends_of(d.current, t)
    amps = shown(draw, d.current, trace, ends)
    feeding = REST + OHMS * trace.v
    open_circuit = trace.v < 0.15 * d.level
    volts = Trace(trace.t, np.where(trace.t <= on_at, 0.0, np.where(open_circuit, SET_VOLTAGE, feeding)))
    like = replace(d.current, resolution=0.01, noise=0.003, share_noise=0.0, gain=1.0, offset=0.0, clips=False)
    modes = np.where(volts.at(t) > SET_VOLTAGE - 0.03, "CV", "CC")
    return {SUPPLY_CURRENT: (at, amps), SUPPLY_VOLTAGE: (at, shown(draw, like, volts, ends))}, modes
