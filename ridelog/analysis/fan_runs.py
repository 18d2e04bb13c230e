"""When the fan ran: from its channel where it was logged, else from the saw-tooth of the coolant on a standing bike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray

STANDING_MPS = 1.5
LEAST_TOOTH_C = 2.0
"""A fan that cools a standing bike takes two to five degrees off before it stops. Common practice, no source."""

LEAST_RUN_S = 3.0


@dataclass(frozen=True)
class FanRun:
    """One run: coolant where it began and ended, C (None where that was not seen), and how long; `whole` false where
    its start or end was not seen."""

    start_s: float
    length_s: float
    on_c: float | None
    off_c: float | None
    whole: bool


@dataclass(frozen=True)
class FanRuns:
    """Runs of one ride. `source`: "logged", or "saw-tooth" (a guess from a standing bike's coolant: it sees no run on
    the move, and is late by the coolant's own lag). `observed_s`: time in which a run would have been seen."""

    source: Literal["logged", "saw-tooth"]
    runs: tuple[FanRun, ...]
    observed_s: float


def logged(fan: FloatArray, coolant_c: FloatArray, step_s: float) -> FanRuns:
    """From the fan's channel, 1 or 0, NaN where not known."""
    found = []
    for first, past in runs(np.nan_to_num(fan) > 0.5):
        began = first > 0 and bool(np.isfinite(fan[first - 1]))
        ended = past < fan.size and bool(np.isfinite(fan[past]))
        whole = began and ended
        if (past - first) * step_s < LEAST_RUN_S and whole:
            continue
        on_c = _at(coolant_c, first) if began else None
        off_c = _at(coolant_c, past) if ended else None
        found.append(FanRun(first * step_s, (past - first) * step_s, on_c, off_c, whole))
    return FanRuns("logged", tuple(found), float(np.isfinite(fan).sum() * step_s))


def _at(values: FloatArray, index: int) -> float | None:
    value = float(values[index])
    return value if np.isfinite(value) else None


def from_saw_tooth(
    coolant_c: FloatArray, speed_mps: FloatArray, running: BoolArray, step_s: float, resolution_c: float
) -> FanRuns:
    """Teeth of a saw: the coolant of a standing bike with its engine running rises, falls and rises again, each time by
    two degrees or more (and by two sensor steps). A fall alone may be a warm engine that idles itself cool; one that
    turns round again takes a fan, or a hand on the throttle."""
    standing = running & (np.nan_to_num(speed_mps, nan=np.inf) < STANDING_MPS) & np.isfinite(coolant_c)
    tooth_c = max(LEAST_TOOTH_C, 2.0 * resolution_c)
    found: list[FanRun] = []
    seconds = 0.0
    for first, past in runs(standing):
        trace = coolant_c[first:past]
        seconds += trace.size * step_s
        found += [
            FanRun((first + top) * step_s, (bottom - top) * step_s, float(trace[top]), float(trace[bottom]), whole=True)
            for top, bottom in _teeth(trace, tooth_c)
        ]
    return FanRuns("saw-tooth", tuple(found), seconds)


def _teeth(trace: FloatArray, tooth_c: float) -> list[tuple[int, int]]:
    """Top and bottom of each fall by `tooth_c` or more between two such rises."""
    found: list[tuple[int, int]] = []
    top, low, high = -1, 0, 0
    rising = False
    for k in range(1, trace.size):
        if rising:
            if trace[k] >= trace[high]:
                high = k
            elif trace[high] - trace[k] >= tooth_c:
                rising, top, low = False, high, k
        elif trace[k] < trace[low]:
            low = k
        elif trace[k] - trace[low] >= tooth_c:
            if top >= 0:
                found.append((top, low))
            rising, high = True, k
    return found
