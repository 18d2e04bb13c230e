"""What a satellite receiver's speed owes to its positions: the delay of its filter, and speed where none was logged."""

from __future__ import annotations

import numpy as np

from ridelog.offset import signals
from ridelog.offset.fit import Pair, Recipe, refine
from ridelog.offset.search import Candidate
from ridelog.results import FloatArray

EARTH_M = 6_371_009.0
"""Mean radius: a ratio of speeds that is off by a third of a percent shifts no time."""

MOST_LAG_S = 1.5
LAG_WINDOW_S = 1.0
TRACK_WINDOW_S = 2.0
LEAST_STRENGTH = 7.0
_LAG = Recipe(0.5, 2.0, 3.0, 0.2, 2.0, 0.0, 1e-6)


def track_speed(
    t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, window_s: float = TRACK_WINDOW_S
) -> tuple[FloatArray, FloatArray]:
    """Times, s, and speeds, m/s, from positions: the chord from half a window before to half a window after.

    Stamped at the middle, so that it is neither early nor late. Repeated positions are left out; windows that reach
    over a hole give no value. Slower receivers than a fix every half window use the fixes before and after.
    """
    here = np.isfinite(t_s) & np.isfinite(lat_deg) & np.isfinite(lon_deg)
    t_s, lat, lon = t_s[here], np.radians(lat_deg[here]), np.radians(lon_deg[here])
    spoken = signals.newly_spoken(lat) & signals.newly_spoken(lon)
    t_s, lat, lon = t_s[spoken], lat[spoken], lon[spoken]
    if t_s.size < 3:
        return np.zeros(0), np.zeros(0)
    step_s = float(np.median(np.diff(t_s)))
    half = max(1, round(0.5 * window_s / step_s))
    if t_s.size <= 2 * half:
        return np.zeros(0), np.zeros(0)
    span = t_s[2 * half :] - t_s[: -2 * half]
    north = lat[2 * half :] - lat[: -2 * half]
    east = (lon[2 * half :] - lon[: -2 * half] + np.pi) % (2.0 * np.pi) - np.pi
    chord = EARTH_M * np.hypot(north, east * np.cos(lat[half:-half]))
    whole = span <= 2.5 * half * step_s
    return t_s[half:-half][whole], (chord / span)[whole]


def speed_lag_s(
    t_s: FloatArray, speed_mps: FloatArray, position_t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray
) -> float | None:
    """Seconds by which a receiver's speed comes after its positions (a few tenths is usual); None where it can't be
    told. Positions are taken to be on time."""
    own = signals.change(signals.smoothed(signals.on_grid(*signals.clean(t_s, speed_mps)), _LAG.smooth_s), _LAG.span_s)
    track_t_s, track_mps = track_speed(position_t_s, lat_deg, lon_deg, LAG_WINDOW_S)
    track = signals.change(signals.smoothed(signals.on_grid(track_t_s, track_mps), _LAG.smooth_s), _LAG.span_s)
    known = np.flatnonzero(np.isfinite(track.values))
    if not known.size or not np.isfinite(own.values).any():
        return None
    pair = Pair(own, track, own, _LAG, _LAG.span_s)
    middle_s = (track.first + 0.5 * float(known[0] + known[-1])) * signals.STEP_S
    found = refine(pair, Candidate(0.0, 0.0, 0.0, 0.0, 0.0), middle_s, 1e-9)
    if found is None or found.strength < LEAST_STRENGTH or abs(found.lag_s) > MOST_LAG_S:
        return None
    return found.lag_s
