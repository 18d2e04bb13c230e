"""Idle speed and how fast the engine comes down to it: hints of the mixture, weak ones.

An engine that idles high, or comes down slowly when the throttle shuts with nothing driving it, may be lean, draw air
past the throttle, be cold, have its idle stop set high or a cable that sticks: the figures don't tell these apart.
Levels are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.riding import COLD_C, Ridden, Stretch, at_least, stretch_of
from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray

IDLE_RPM = (500.0, 3000.0)
SHUT_OPENING = 0.03
STANDING_MPS = 0.5
SETTLED_S = 3.0
"""Seconds after a stop, or after the throttle shut, that don't count yet."""

LEAST_S = 10.0

BLIP_RPM, DOWN_RPM, WAIT_S = 1500.0, 400.0, 10.0
"""A blip: 1,500 1/min over idle or more as the throttle shuts. It is down when within 400 1/min of idle; one that the
throttle, the clutch or the log ends before that, or within ten seconds, tells nothing."""

HANG_S, LEAST_BLIPS = 3.0, 3


@dataclass(frozen=True)
class Idle:
    """Idle speed: middle and the range that holds nine tenths of it, 1/min; seconds and stretches it rests on. `cold`:
    the coolant was under 60 C throughout, where an engine idles otherwise."""

    seconds: float
    rpm: float
    low_rpm: float
    high_rpm: float
    cold: bool
    where: tuple[Stretch, ...]


def idle(ride: Ridden) -> Idle | float | None:
    """Idle speed; seconds of idling where they are too few; None without engine speed, throttle or speed."""
    if ride.rpm is None or ride.opening is None or ride.speed_mps is None:
        return None
    with np.errstate(invalid="ignore"):
        still = (
            (ride.speed_mps < STANDING_MPS)
            & (ride.opening <= SHUT_OPENING)
            & (ride.rpm > IDLE_RPM[0])
            & (ride.rpm < IDLE_RPM[1])
        )
    settle = round(SETTLED_S / ride.step_s)
    parts = [(first + settle, past) for first, past in runs(still) if past - first > settle]
    warm = np.ones(ride.t_s.size, dtype=np.bool_)
    if ride.coolant_c is not None:
        with np.errstate(invalid="ignore"):
            warm = ~(ride.coolant_c < COLD_C)
    chosen = _within(parts, ride.t_s.size)
    cold = not _enough(chosen & warm, ride.step_s)
    chosen = chosen if cold else chosen & warm
    if not _enough(chosen, ride.step_s):
        return float(np.count_nonzero(chosen) * ride.step_s)
    low, middle, high = np.quantile(ride.rpm[chosen], [0.05, 0.5, 0.95])
    return Idle(
        seconds=float(np.count_nonzero(chosen) * ride.step_s),
        rpm=float(middle),
        low_rpm=float(low),
        high_rpm=float(high),
        cold=cold,
        where=tuple(stretch_of(ride, first, past) for first, past in runs(chosen)),
    )


def _within(parts: list[tuple[int, int]], size: int) -> BoolArray:
    mask = np.zeros(size, dtype=np.bool_)
    for first, past in parts:
        mask[first:past] = True
    return mask


def _enough(mask: BoolArray, step_s: float) -> bool:
    return bool(np.count_nonzero(mask) * step_s >= LEAST_S)


@dataclass(frozen=True)
class Hang:
    """How long the engine took to come down: middle and longest, s, over `blips`, each with where it was."""

    blips: int
    middle_s: float
    longest_s: float
    where: tuple[Stretch, ...]

    @property
    def slow(self) -> bool:
        """Slow enough to be worth a look."""
        return self.middle_s >= HANG_S


def hang(ride: Ridden, idle_rpm: float) -> Hang | int | None:
    """How long rpm hangs after the throttle shuts with nothing driving the engine; the number of blips where they are
    too few; None without what it needs."""
    if ride.rpm is None or ride.opening is None or ride.free is None:
        return None
    shut = ~at_least(ride.opening, SHUT_OPENING, ride.t_s.size) & np.isfinite(ride.opening)
    wait = round(WAIT_S / ride.step_s)
    found = []
    for first, past in runs(shut):
        here: FloatArray = ride.rpm[first : min(past, first + wait)]
        if first == 0 or not here.size or not here[0] >= idle_rpm + BLIP_RPM:
            continue
        down = np.flatnonzero(here <= idle_rpm + DOWN_RPM)
        last = int(down[0]) if down.size else here.size
        span = slice(first, first + last)
        # It has to be free, and known, all the way down; where it never came down, for all of the wait.
        if not ride.free[span].all() or not np.isfinite(here[:last]).all() or (not down.size and here.size < wait):
            continue
        found.append((first, first + last))
    if len(found) < LEAST_BLIPS:
        return len(found)
    took = np.array([(past - first) * ride.step_s for first, past in found])
    return Hang(len(found), float(np.median(took)), float(took.max()), tuple(stretch_of(ride, *span) for span in found))
