"""Stamps that are no clock as they stand: single wrong ones, rows in no order of time, rows written in bursts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from ridelog.results import FloatArray

GAP_FLOOR_S = 1.0
GAP_MEDIAN_STEPS = 5.0
"""A step over max(1 s, 5 x median step) is a gap."""

_LONGEST_STRAY = 3
_MOST_STRAYS_SHARE = 0.02
"""A clock that is wrong more often than in one row of fifty is broken, not now and then disturbed."""

_SCRAMBLED_BACK = 0.2
_SCRAMBLED_STEP = 5.0
_BURST_SHARE = 0.05
_BURST_INSIDE = 0.1
"""A burst takes a tenth of the time to the next one at most; a log that was switched on and off runs for longer."""

_BURST_PAUSE_S = 60.0
_MEDIAN_OF = 200_000


def strays(stamps_s: FloatArray, breaks: Sequence[int], late_s: float, usual_s: float) -> npt.NDArray[np.int64]:
    """Positions of stamps (up to three in a row) that lie far outside their neighbours while those follow each other.

    `late_s` is how far outside counts, `usual_s` the log's own step. Empty where they are too many for
    single faults.
    """
    steps = np.diff(stamps_s)
    wide = np.flatnonzero((steps < -late_s) | (steps > late_s))
    most = int(_MOST_STRAYS_SHARE * stamps_s.size)
    if wide.size < 2 or wide.size > 2 * max(most, 1):
        return np.empty(0, dtype=np.int64)
    near = max(GAP_FLOOR_S, GAP_MEDIAN_STEPS * usual_s)
    known = set(breaks)
    jumps = set(wide.tolist())
    found: list[int] = []
    for before in wide.tolist():
        if found and before < found[-1]:
            continue
        for count in range(1, _LONGEST_STRAY + 1):
            after = before + count + 1
            if after >= stamps_s.size or after - 1 not in jumps:
                continue
            between = range(before + 1, after)
            low, high = float(stamps_s[before]), float(stamps_s[after])
            inside = stamps_s[before + 1 : after]
            outside = bool(((inside < low - late_s) | (inside > high + late_s)).all())
            if outside and 0.0 < high - low <= near * (count + 1) and known.isdisjoint((*between, after)):
                found.extend(between)
                break
    return np.asarray(found if len(found) <= max(most, 1) else [], dtype=np.int64)


def scrambled(stamps_s: FloatArray) -> bool:
    """Are the rows in no order of time, as after sorting by another column? Then the steps from row to row are far
    longer than those between the times in their own order."""
    steps = np.diff(stamps_s)
    if steps.size < 10 or float((steps < 0).mean()) <= _SCRAMBLED_BACK:
        return False
    own = np.diff(np.sort(stamps_s))
    own = own[own > 0]
    return bool(own.size) and float(np.median(np.abs(steps))) > _SCRAMBLED_STEP * float(np.median(own))


def in_order(stamps_s: FloatArray) -> npt.NDArray[np.int64] | None:
    """The order of scrambled rows by their times; None where many share one, so that no order is the right one."""
    order = np.argsort(stamps_s, kind="stable").astype(np.int64)
    steps = np.diff(stamps_s[order])
    return order if float((steps > 0).mean()) > 0.95 else None


def bursts(stamps_s: FloatArray) -> npt.NDArray[np.int64] | None:
    """Where each burst begins, for rows that were stamped as they were written out, many at once; else None.

    `stamps_s` rise strictly.
    """
    steps = np.diff(stamps_s)
    if steps.size < 20:
        return None
    limit = max(GAP_FLOOR_S, GAP_MEDIAN_STEPS * float(np.median(steps[:: steps.size // _MEDIAN_OF + 1])))
    pauses = np.flatnonzero(steps > limit)
    if pauses.size < max(5, _BURST_SHARE * steps.size):
        return None
    usual = float(np.median(steps[pauses]))
    steady = float((np.abs(steps[pauses] - usual) < 0.3 * usual).mean())
    begins = np.concatenate(([0], pauses + 1)).astype(np.int64)
    ends = np.append(pauses, stamps_s.size - 1)
    inside = float(np.median(stamps_s[ends] - stamps_s[begins]))
    return begins if usual <= _BURST_PAUSE_S and steady > 0.8 and inside <= _BURST_INSIDE * usual else None
