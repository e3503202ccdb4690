"""A pack's firmware: it looks now and then, converts, filters, waits until it is sure, and acts.

Looks, noise, steps, filters, debounce and delays have the ranges of common practice (from memory, no source). The thermistor
divider: 10 kΩ at 25 °C, R = R25·exp(B·(1/T − 1/298.15 K)) (the B-parameter equation of IEC 60539-1), against a fixed resistor.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

ZERO = 273.15  # K at 0 °C


@dataclass
class Firmware:
    """How a pack looks at one quantity, and how it makes up its mind.

    ``every``: s between looks by its own clock, ``phase`` of the first; ``noise``: one sigma of a look, in the unit of the quantity;
    ``mean``: so many looks are averaged, ``lag``: s of a first-order filter over the looks, 0 without; ``in_a_row``: looks past the
    limit that it wants; ``forgives``: a look that is not past the limit takes one off instead of starting again;
    ``delay``: s, by a timer (``counted`` False) or as further looks in a row.
    """

    every: float = 1.0
    phase: float = 0.0
    noise: float = 0.0
    mean: int = 1
    lag: float = 0.0
    in_a_row: int = 1
    forgives: bool = False
    delay: float = 1.0
    counted: bool = False

    @property
    def wanted(self) -> int:
        """Looks in a row past the limit before it acts or starts its timer."""
        return self.in_a_row + (math.ceil(self.delay / self.every - 1e-9) if self.counted else 0)

    @property
    def longest(self) -> float:
        """s from the first look past the limit to the act, if every later one is too."""
        return (self.wanted - 1) * self.every + (0.0 if self.counted else self.delay)

    def looks(self, begin, end):
        """The times of its looks from ``begin`` to ``end``."""
        first, last = math.ceil((begin - self.phase) / self.every), math.floor((end - self.phase) / self.every)
        return self.phase + self.every * np.arange(first, last + 1)

    def filtered(self, codes):
        """What it compares, look by look. Before the first look it had seen what it sees there."""
        if self.mean > 1:
            before = np.concatenate((np.full(self.mean - 1, codes[0]), codes)).astype(float)
            return np.convolve(before, np.full(self.mean, 1.0 / self.mean), "valid")
        if self.lag > 0:
            keep = math.exp(-self.every / self.lag)
            return lfilter([1 - keep], [1, -keep], codes, zi=[keep * codes[0]])[0]
        return codes

    def acts(self, times, past):
        """When it acts, from whether each of its looks is past the limit; None if it does not."""
        if self.forgives:
            return self._forgiving(times, past)
        edges = np.flatnonzero(np.diff(np.concatenate(([False], past, [False])).astype(int)))
        for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            sure = first + self.wanted - 1
            if sure >= after:
                continue
            at = times[sure] + (0.0 if self.counted else self.delay)
            if after == len(times) or at <= times[after]:
                return float(at)
        return None

    def _forgiving(self, times, past):
        count = 0
        start = int(np.argmax(past)) if past.any() else len(past)
        for index in range(start, len(past)):
            count = count + 1 if past[index] else max(count - 1, 0)
            if count >= self.wanted:
                return float(times[index] + (0.0 if self.counted else self.delay))
        return None


class Converter:
    """Steps of unequal size: the codes of a quantity, rising with it, and where each begins.

    ``scale`` and ``back`` are what the converter sees of the quantity and the inverse. ``step`` is the size of a code near ``at``, in
    the unit of the quantity. Each edge is off by up to a quarter of a step (differential non-linearity).
    """

    def __init__(self, draw, step, at, span, scale, back):
        self.scale, self.back = scale, back
        size = float(scale(at + step / 2) - scale(at - step / 2))
        low, high = float(scale(at - span)), float(scale(at + span))
        self.edges = low + size * (np.arange(int((high - low) / size)) + draw.uniform(-0.25, 0.25))
        self.edges += size * draw.uniform(-0.25, 0.25, len(self.edges))

    def codes(self, values):
        """The code of each value."""
        return np.searchsorted(self.edges, self.scale(values)).astype(float)

    def limit(self, wanted):
        """(code, value): the first code at or above which a firmware is past a limit near ``wanted``, and where it begins.

        What is filtered is compared with half a code less: averages are rounded, not cut off. So noise that spreads a value over
        several codes moves the turning point of the average by the unevenness of the steps, and by no more.
        """
        index = int(np.argmin(np.abs(self.edges - self.scale(wanted))))
        return index + 1, float(self.back(self.edges[index]))


def thermistor(beta, resistor):
    """(scale, back): the divider's share of its supply at a temperature in °C, rising with it, and the inverse."""

    def scale(celsius):
        ohms = 1e4 * np.exp(beta * (1 / (np.asarray(celsius) + ZERO) - 1 / 298.15))
        return resistor / (ohms + resistor)

    def back(share):
        ohms = resistor * (1 / share - 1)
        return 1 / (math.log(ohms / 1e4) / beta + 1 / 298.15) - ZERO

    return scale, back
