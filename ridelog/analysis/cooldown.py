"""How long the coolant takes to come down once speed returns.

An event begins where a ride that crawled or stood picks up speed with the coolant well above where it lies on the move.
It ends where the coolant is back, or half of the way back. What ends before (slow again, a hole in the log, the engine
off, the end of the ride) is censored: the time is known to be longer, no more. The median over events is that of
Kaplan and Meier, which counts such events for as long as they were seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray

SLOW_MPS, SLOW_S = 2.5, 20.0
FAST_MPS = 5.0
STAYS_S = 12.0
"""Speed has returned where it is over 5 m/s after 20 s under 2.5, and is gone again after 12 s below 2.5."""

ABOVE_BASE_C = 5.0
BACK_WITHIN_C = 2.0
LONGEST_S = 600.0


@dataclass(frozen=True)
class Recovery:
    """One event: when speed returned, the coolant then and the base it goes back to, C; seconds until half of the way
    and until within two degrees of the base, None where that was not seen, and for how long it was looked at."""

    at_s: float
    coolant_c: float
    base_c: float
    half_s: float | None
    back_s: float | None
    seen_s: float


def base_c(coolant_c: FloatArray, speed_mps: FloatArray, running: BoolArray, step_s: float) -> float | None:
    """Median of the coolant on the move (5 m/s or more) after the first quarter of it; None under two minutes of
    that."""
    moving = np.flatnonzero(running & (speed_mps >= FAST_MPS) & np.isfinite(coolant_c))
    moving = moving[moving.size // 4 :]
    if moving.size * step_s < 120.0:
        return None
    return float(np.median(coolant_c[moving]))


def recoveries(coolant_c: FloatArray, speed_mps: FloatArray, running: BoolArray, step_s: float) -> tuple[Recovery, ...]:
    """Events of one ride in order. Arrays (n,) on one grid, NaN where not known."""
    base = base_c(coolant_c, speed_mps, running, step_s)
    if base is None:
        return ()
    slow = np.nan_to_num(speed_mps, nan=np.inf) < SLOW_MPS
    found = []
    for first, past in runs(slow):
        if (past - first) * step_s < SLOW_S:
            continue
        ahead = np.flatnonzero(~(speed_mps[past:] < FAST_MPS))
        if ahead.size == 0:
            continue
        at = past + int(ahead[0])
        # A stop that is followed by more crawling ends where the crawling ends.
        if slow[past:at].any() or not np.isfinite(speed_mps[past : at + 1]).all() or not running[at]:
            continue
        if not np.isfinite(coolant_c[at]) or coolant_c[at] < base + ABOVE_BASE_C:
            continue
        length = _seen(coolant_c, speed_mps, running, at, step_s)
        found.append(_follow(coolant_c[at : at + length], at, base, step_s))
    return tuple(found)


def _seen(coolant_c: FloatArray, speed_mps: FloatArray, running: BoolArray, at: int, step_s: float) -> int:
    """Steps from `at` on until it is slow again, something is not known, the engine is off, or ten minutes are over."""
    past = min(at + round(LONGEST_S / step_s) + 1, coolant_c.size)
    ok = np.isfinite(coolant_c[at:past]) & np.isfinite(speed_mps[at:past]) & running[at:past]
    length = int(ok.argmin()) if not ok.all() else ok.size
    for first, end in runs(speed_mps[at : at + length] < SLOW_MPS):
        if (end - first) * step_s >= STAYS_S:
            return first
    return length


def _follow(trace: FloatArray, at: int, base: float, step_s: float) -> Recovery:
    start = float(trace[0])
    return Recovery(
        at_s=at * step_s,
        coolant_c=start,
        base_c=base,
        half_s=_reached(trace, base + 0.5 * (start - base), step_s),
        back_s=_reached(trace, base + BACK_WITHIN_C, step_s),
        seen_s=(trace.size - 1) * step_s,
    )


def _reached(trace: FloatArray, level_c: float, step_s: float) -> float | None:
    """Seconds until a trace that is linear between its steps comes down to a level."""
    under = np.flatnonzero(trace <= level_c)
    if under.size == 0:
        return None
    k = int(under[0])
    if k == 0:
        return 0.0
    return float(step_s * (k - 1 + (trace[k - 1] - level_c) / (trace[k - 1] - trace[k])))


def median_s(done_s: Sequence[float], censored_s: Sequence[float]) -> float | None:
    """Kaplan and Meier's median of times, those that ended and those that were only seen so long; None where fewer
    than half are ever seen to end."""
    left, alive = len(done_s) + len(censored_s), 1.0
    ends = sorted([(time, 0) for time in done_s] + [(time, 1) for time in censored_s])
    for time, censored in ends:
        if not censored:
            alive *= 1.0 - 1.0 / left
            if alive <= 0.5 + 1e-12:
                return float(time)
        left -= 1
    return None
