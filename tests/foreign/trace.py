"""A quantity over time, straight between its knots, with its integral exact: what really flows and stands."""

import numpy as np

LEAST = 1e-4  # s: nothing on a bench changes faster than a reading could care; edges are this long, never vertical


class Trace:
    """Values ``v`` at the strictly rising times ``t``."""

    def __init__(self, t, v):
        self.t = np.asarray(t, dtype=float)
        self.v = np.asarray(v, dtype=float)
        self._area = None

    def at(self, times):
        """The value at each of these times."""
        return np.interp(times, self.t, self.v)

    def integral(self, times):
        """The area from the first knot up to each of these times, all of which lie between the knots."""
        if self._area is None:
            steps = np.diff(self.t)
            self._area = np.concatenate(([0.0], np.cumsum(0.5 * (self.v[1:] + self.v[:-1]) * steps)))
            self._slope = np.diff(self.v) / steps
        k = np.clip(np.searchsorted(self.t, times, side="right") - 1, 0, len(self.t) - 2)
        since = times - self.t[k]
        return self._area[k] + since * (self.v[k] + 0.5 * self._slope[k] * since)

    def mean(self, ends, aperture):
        """The mean over the last ``aperture`` seconds before each end; the value itself if that is nothing."""
        if aperture <= 0:
            return self.at(ends)
        return (self.integral(ends) - self.integral(ends - aperture)) / aperture


def together(*parts):
    """All times of several lists of knots, in order and each once."""
    times = np.sort(np.concatenate(parts))
    return times[np.concatenate(([True], np.diff(times) > 1e-9))]
