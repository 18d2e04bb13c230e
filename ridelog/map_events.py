"""A map switch that is logged only when it changes: what it says between its entries."""

from __future__ import annotations

import numpy as np

from ridelog.grid import Samples
from ridelog.ride import Ride

_ROWS_AN_ENTRY = 10
_MOST_REPEATS = 0.1
"""A channel that is sampled repeats its value; one that is logged on change does not. Common practice, no source."""


def held_until_the_next(samples: Samples, ride: Ride) -> Samples:
    """The channel with each entry holding until the next one, where it is logged only on change; else as it is.

    Nothing is known before the first entry, nor from a gap of the log until the entry after it: the switch may
    have been turned meanwhile.
    """
    t_s, y = samples.t_s, samples.y
    if not t_s.size or t_s.size * _ROWS_AN_ENTRY > ride.samples.height:
        return samples
    if t_s.size > 1 and float(np.mean(y[1:] == y[:-1])) > _MOST_REPEATS:
        return samples
    end_s = ride.duration_s
    gaps = np.array([gap.start_s for gap in ride.gaps if t_s[0] <= gap.start_s < end_s])
    last = [end_s] if end_s > t_s[-1] else []
    times = np.unique(np.concatenate((t_s, gaps, last)))
    at = np.searchsorted(t_s, times, "right") - 1
    return Samples(times, y[at], ~np.isin(times[:-1], gaps), samples.hold)
