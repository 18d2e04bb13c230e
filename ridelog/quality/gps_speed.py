"""Satellite speed that can't be: up and down again by more than tyres can grip, 0 until a first fix, and whatever a
receiver says that has no fix by its own word."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ridelog.channels import GPS
from ridelog.quality.scene import Scene
from ridelog.quality.trace import Trace, end_of
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

SPEED = "gps_speed_mps"
RECEIVER = (SPEED, "lat_deg", "lon_deg")


def find(scene: Scene) -> list[QualityMark]:
    """Marks on the receiver's channels."""
    return [*_no_fix(scene), *_beyond_grip(scene)]


def _no_fix(scene: Scene) -> list[QualityMark]:
    marks: list[QualityMark] = []
    fix, hdop = scene.maybe("gps_fix"), scene.maybe("gps_hdop")
    void = fix == 0.0 if fix is not None else np.zeros(scene.t_s.size, dtype=np.bool_)
    for name in RECEIVER:
        if scene.has(name) and bool(void.any()):
            told = void & np.isfinite(scene.at(name))
            detail = doubt_details.NO_FIX
            marks.extend(scene.marks(told, (name,), "no_fix", detail))
    if hdop is None or not bool((hdop >= GPS.useless_hdop).any()):
        return marks
    for name in RECEIVER:
        if scene.has(name):
            told = (hdop >= GPS.useless_hdop) & ~void & np.isfinite(scene.at(name))
            detail = doubt_details.poor_fix(GPS.useless_hdop)
            marks.extend(scene.marks(told, (name,), "poor_fix", detail))
    return marks


def _beyond_grip(scene: Scene) -> list[QualityMark]:
    """From one reading to the next faster than grip allows: an excursion that comes back the same way is false; where
    it does not come back, the exact 0 before it was."""
    if not scene.has(SPEED) or SPEED in scene.derived:
        return []
    trace = scene.traces[SPEED]
    bad = scene.bad.get(SPEED, np.zeros(trace.t_s.size, dtype=np.bool_))
    rows = _steep(trace)
    if not rows.size or bad.all():
        return []
    if rows.size > GPS.most:
        detail = doubt_details.speed_leaps(rows.size)
        end_s = end_of(trace, trace.t_s.size - 1)
        return [QualityMark(SPEED, "noise", float(trace.t_s[0]), end_s, "excluded", detail)]
    marks: list[QualityMark] = []
    changes = np.flatnonzero(np.diff(trace.y)) + 1
    done = 0
    for first in rows.tolist():
        if first < done:
            continue
        past = _back(trace, first)
        if past is not None:
            done = past
            if not bool(bad[first:past].all()):
                marks.append(_excursion(trace, first, past))
            continue
        start = _exact_zero(trace, first, changes, bad)
        if start is not None:
            marks.append(_late_fix(trace, start, first))
    return marks


def _steep(trace: Trace) -> npt.NDArray[np.intp]:
    """Samples that are reached from the one before by more than grip allows."""
    none = np.zeros(0, dtype=np.intp)
    if trace.t_s.size < 3:
        return none
    least = GPS.noise_mps + GPS.grip_mps2 * max(trace.hold_s, trace.shortest_step_s, GPS.finest_s)
    if trace.high - trace.low <= least or trace.largest_step <= least:
        return none
    rises = np.diff(trace.y)
    rows = np.flatnonzero(rises > least) + 1
    took_s = np.maximum(trace.t_s[rows] - trace.t_s[rows - 1], max(trace.hold_s, GPS.finest_s))
    return np.asarray(rows[rises[rows - 1] > GPS.noise_mps + GPS.grip_mps2 * took_s], dtype=np.intp)


def _back(trace: Trace, first: int) -> int | None:
    """The reading at which the speed is back, where it fell as steeply as it rose; None where it did not."""
    until = int(np.searchsorted(trace.t_s, trace.t_s[first] + GPS.longest_s, "right"))
    base = float(trace.y[first - 1])
    rise = float(trace.y[first]) - base
    window: FloatArray = trace.y[first:until]
    home: npt.NDArray[np.intp] = np.flatnonzero(window <= base + GPS.returned_share * rise)
    if not home.size:
        return None
    past = first + int(home[0])
    took_s = max(float(trace.t_s[past] - trace.t_s[past - 1]), trace.hold_s, GPS.finest_s)
    fell = float(trace.y[past - 1] - trace.y[past])
    return past if fell > GPS.noise_mps + GPS.grip_mps2 * took_s else None


def _exact_zero(trace: Trace, first: int, changes: npt.NDArray[np.intp], bad: BoolArray) -> int | None:
    """Where the unbroken run of one and the same speed near 0 before `first` begins, if it is long enough."""
    value = float(trace.y[first - 1])
    if value > GPS.zero_mps or bool(bad[first - 1]):
        return None
    earlier = int(np.searchsorted(changes, first)) - 1
    start = int(changes[earlier]) if earlier >= 0 else 0
    return start if float(trace.t_s[first] - trace.t_s[start]) >= GPS.zero_s else None


def _excursion(trace: Trace, first: int, past: int) -> QualityMark:
    before, top = float(trace.y[first - 1]), float(trace.y[first:past].max())
    return QualityMark(
        SPEED,
        "false_speed",
        float(trace.t_s[first]),
        end_of(trace, past - 1),
        "excluded",
        doubt_details.false_speed(3.6 * before, 3.6 * top),
    )


def _late_fix(trace: Trace, start: int, first: int) -> QualityMark:
    lasted = float(trace.t_s[first] - trace.t_s[start])
    return QualityMark(
        SPEED,
        "false_speed",
        float(trace.t_s[start]),
        float(trace.t_s[first]),
        "excluded",
        doubt_details.late_fix(3.6 * trace.y[start], lasted, 3.6 * trace.y[first]),
    )
