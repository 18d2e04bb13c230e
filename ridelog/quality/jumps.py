"""Changes faster than the quantity can change: out and back is a spike, a step that stays is an impossible rate.

A held value changes in one row what its sensor did in a whole period, and a sensor can be off by a step at both ends,
so both are granted before a change counts as impossible.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ridelog.channels import JUMP, Channel
from ridelog.quality.trace import Finding, Trace
from ridelog.results import BoolArray, FloatArray
from ridelog.words import doubt_details


def find(trace: Trace, channel: Channel, bad: BoolArray) -> list[Finding]:
    """Spikes and impossible steps of one channel."""
    if channel.max_rate_per_s is None or trace.t_s.size < 3 or not _any_fast(trace, channel.max_rate_per_s):
        return []
    good = np.flatnonzero(~bad)
    if trace.hold_s and good.size:
        # One sample an update: between updates nothing happens, and a spike lasts as long as an update.
        changed = np.concatenate(([True], np.diff(trace.y[good]) != 0))
        index = good[changed]
    else:
        index = good
    if index.size < 3:
        return []
    t_s, y = trace.t_s[index], trace.y[index]
    fast = _fast(t_s, y, channel.max_rate_per_s, trace)
    if not fast.any():
        return []
    if int(fast.sum()) > max(JUMP.most_jumps, JUMP.noise_share * y.size):
        noise = ~bad
        return [Finding("noise", noise, doubt_details.TOO_FAST)]
    spike = _spikes(t_s, y, fast, trace, channel.max_rate_per_s)
    step = _steps(y, fast, spike)
    found = []
    for kind, mask, detail in (
        ("spike", spike, doubt_details.spike(channel.unit)),
        ("impossible_rate", step, doubt_details.reached_too_fast(channel.unit)),
    ):
        if mask.any():
            found.append(Finding(kind, _spread_back(mask, index, trace, bad), detail))
    return found


def _allowed(dt_s: FloatArray, rate: float, trace: Trace) -> FloatArray:
    shortest = max(trace.hold_s, JUMP.finest_s)
    return np.asarray(rate * np.maximum(dt_s, shortest) + 2.0 * trace.resolution, dtype=np.float64)


def _any_fast(trace: Trace, rate: float) -> bool:
    """A cheap look at all steps against what the shortest sampling allows, a close one at those that pass it."""
    if trace.high - trace.low <= rate * max(trace.hold_s, JUMP.finest_s) + 2.0 * trace.resolution:
        return False
    floor = rate * max(trace.shortest_step_s, trace.hold_s, JUMP.finest_s) + 2.0 * trace.resolution
    if trace.largest_step <= floor:
        return False
    steps = np.abs(np.diff(trace.y))
    at = np.flatnonzero(steps > floor)
    return bool((steps[at] > _allowed(trace.t_s[at + 1] - trace.t_s[at], rate, trace)).any())


def _fast(t_s: FloatArray, y: FloatArray, rate: float, trace: Trace) -> BoolArray:
    return np.abs(np.diff(y)) > _allowed(np.diff(t_s), rate, trace)


def _spikes(t_s: FloatArray, y: FloatArray, fast: BoolArray, trace: Trace, rate: float) -> BoolArray:
    """Short runs between two fast steps that lead away and back, far from the median around them."""
    spike = np.zeros(y.size, dtype=np.bool_)
    edges = np.flatnonzero(fast)
    at = 0
    while at < edges.size:
        first = int(edges[at]) + 1
        # The way back: the nearest later fast step, in the other direction, near to where it came from.
        for other in range(at + 1, min(at + 1 + JUMP.longest_spike, edges.size)):
            past = int(edges[other]) + 1
            if past - first > JUMP.longest_spike:
                break
            away = y[first] - y[first - 1]
            back = y[past] - y[past - 1]
            back_home = abs(y[past] - y[first - 1]) <= float(
                _allowed(np.array([t_s[past] - t_s[first - 1]]), rate, trace)[0]
            )
            if away * back < 0 and back_home and _stands_out(y, first, past, trace):
                spike[first:past] = True
                at = other
                break
        at += 1
    return spike


def _stands_out(y: FloatArray, first: int, past: int, trace: Trace) -> bool:
    around = np.concatenate((y[max(0, first - JUMP.half_window) : first], y[past : past + JUMP.half_window]))
    middle = float(np.median(around))
    spread = max(1.4826 * float(np.median(np.abs(around - middle))), 0.5 * trace.resolution)
    return bool((np.abs(y[first:past] - middle) > JUMP.hampel_sigmas * spread).all()) if spread > 0 else True


def _steps(y: FloatArray, fast: BoolArray, spike: BoolArray) -> BoolArray:
    """The sample a fast step leads to, where no spike explains it."""
    step = np.zeros(y.size, dtype=np.bool_)
    step[1:] = fast
    step[1:] &= ~spike[1:] & ~spike[:-1]
    return step


def _spread_back(mask: BoolArray, index: npt.NDArray[np.intp], trace: Trace, bad: BoolArray) -> BoolArray:
    """From updates back to all samples: a held value is bad until the next update."""
    result = np.zeros(trace.t_s.size, dtype=np.bool_)
    if not trace.hold_s:
        result[index[mask]] = True
        return result
    ends = np.append(index[1:], trace.t_s.size)
    for at in np.flatnonzero(mask):
        result[index[at] : ends[at]] = True
    return result & ~bad
