"""From the course of the current to every voltage on the bench."""

import numpy as np

from tests.foreign.trace import Trace, together

GRID = 0.5  # s: chemistry is slow


class World:
    """What truly flows and stands: at the supply's shunt, at its terminals and where the meter is."""

    def __init__(self, course, end):
        bench = course.bench
        course.times.append(end + 3.0)
        course.amps.append(course.level)
        self.current = Trace(course.times, course.amps)
        self.pack = self.current
        grid = np.arange(bench.on_at - 3.0, end + 3.0 + GRID, GRID)
        inner = Trace(grid, self._inner(course, grid))
        blocks = Trace([*course.block_t, end + 3.0], [*course.blocks, course.blocks[-1]])
        times = together(self.current.t, blocks.t, grid[:-1])
        amps, share, within = self.current.at(times), blocks.at(times), inner.at(times)
        feeding = within + amps * (bench.r_leads + bench.r_path + bench.r_cells)
        volts = (1 - share) * feeding + share * course.bus
        before = times < bench.on_at
        volts[before] = 0.0  # its output is off
        if bench.capacitor:
            self.current = Trace(times, amps + bench.capacitor * self._slopes(times, volts, bench.on_at))
        self.voltage = Trace(times, volts)
        if bench.meter_at == "terminals":
            gone = before | (times >= course.off_at)
            for begin, until in course.parted:
                gone |= (times >= begin) & (times <= until)
            seen = np.where(gone, within, volts - amps * bench.r_leads)
        else:
            seen = within + amps * bench.r_cells
        self.meter = Trace(times, seen)

    @staticmethod
    def _slopes(times, volts, on_at):
        """V/s into the output capacitor. Discharging it is a matter between it and the pack, behind the shunt."""
        slopes = np.zeros_like(times)
        slopes[:-1] = np.maximum(0.0, np.diff(volts) / np.diff(times))
        slopes[times < on_at + 1.0] = 0.0  # part of the settling
        slopes[slopes < 1.0] = 0.0
        return slopes

    def _inner(self, course, grid):
        """The cells' voltage behind all ohmic resistance: open circuit, polarisation, climb; V at each time of the grid."""
        bench = course.bench
        charge = self.current.integral(np.clip(grid, course.times[0], course.times[-1]))
        mean = np.diff(charge, prepend=0.0) / GRID
        keep = np.exp(-GRID / bench.tau_polar)
        polar, state = [], 0.0
        for volts in (mean * bench.r_polar * (1 - keep)).tolist():
            state = state * keep + volts
            polar.append(state)
        inner = bench.rest + bench.slope * charge / bench.set_current + np.array(polar)
        if course.hump:
            volts, middle, width = course.hump
            inner += volts / (1 + np.exp(-(np.minimum(grid, course.t) - middle) / width))
        if course.climb:
            volts, until, tau = course.climb
            # half of it is not charge but haste, and goes back in half a minute
            after = 0.5 + 0.5 * np.exp(-np.maximum(0.0, grid - until) / 30.0)
            inner += volts * np.exp(np.minimum(0.0, grid - until) / tau) * after
        if course.cv:
            inner = self._held(course, grid, inner)
        return inner

    def _held(self, course, grid, inner):
        """With the supply at its set voltage the cells have what the resistances leave; before, they climb up to it."""
        bench, (begin, end) = course.bench, course.cv
        ohms = bench.r_leads + bench.r_path + bench.r_cells
        missing = bench.set_voltage - bench.set_current * ohms - np.interp(begin, grid, inner)
        tau = 12.0 + 20.0 * missing  # s
        climbed = inner + missing * np.exp(np.minimum(0.0, grid - begin) / tau)
        held = bench.set_voltage - self.pack.at(np.minimum(grid, end - 0.002)) * ohms
        relaxed = held - 0.15 * (1 - np.exp(-np.maximum(0.0, grid - end) / 30.0))
        return np.where(grid < begin, climbed, relaxed)
