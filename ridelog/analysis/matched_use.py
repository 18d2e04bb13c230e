"""What a ride was, to be set beside another: seconds by engine speed and throttle, engine speed over ground speed in
each gear, coolant above the air at steady cruise."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ridelog.intervals import runs
from ridelog.results import FloatArray

RPM_EDGES = (0.0, 1500.0, 3000.0, 4500.0, 6000.0, 7500.0, 9000.0, np.inf)
OPENING_EDGES = (0.0, 0.03, 0.15, 0.35, 0.60, 0.85, np.inf)
"""Opening between the stops: shut, a little, a third, half, most, wide open."""

COMMON_CELL_S = 10.0
"""A cell counts as ridden by a side from so many seconds on."""


def cell_seconds(rpm: FloatArray, opening: FloatArray, step_s: float) -> FloatArray:
    """Seconds in each cell with the engine turning, (engine speeds, openings); arrays (n,), 1/min and 0..1, NaN left
    out."""
    used = np.isfinite(rpm) & np.isfinite(opening) & (rpm > 0.0)
    columns = len(OPENING_EDGES) - 1
    row, column = np.digitize(rpm[used], RPM_EDGES[1:-1]), np.digitize(opening[used], OPENING_EDGES[1:-1])
    counts = np.bincount(row * columns + column, minlength=(len(RPM_EDGES) - 1) * columns)
    return np.asarray(counts.reshape(-1, columns) * step_s, dtype=np.float64)


def common_shares(first_s: FloatArray, others_s: FloatArray) -> tuple[float, float] | None:
    """Share of each side's seconds in cells that both ridden for COMMON_CELL_S; None where a side has none."""
    totals = float(first_s.sum()), float(others_s.sum())
    if min(totals) <= 0.0:
        return None
    both = (first_s >= COMMON_CELL_S) & (others_s >= COMMON_CELL_S)
    return float(first_s[both].sum()) / totals[0], float(others_s[both].sum()) / totals[1]


LEAST_GEAR_S = 10.0
FITS = 0.03
"""A gear's ratio within 3 % of the bike file's fits: a tyre wears and swells by as much."""

RUNS_ON = 0.08
"""So far over its gear the engine runs ahead of the bike: the wheel spins or the clutch slips."""


@dataclass(frozen=True)
class GearUse:
    """Engine speed over ground speed in one gear. `over_file`: median over the bike file's ratio, None without one;
    `spread`: the middle four fifths, from low to high over the median; `ahead_share`: share of the time in which the
    engine ran 8 % or more ahead of that median."""

    gear: int
    seconds: float
    rpm_per_kmh: float
    over_file: float | None
    spread: float
    ahead_share: float


def gear_use(
    gear: FloatArray, rpm: FloatArray, speed_mps: FloatArray, step_s: float, file_rpm_per_mps: tuple[float, ...]
) -> tuple[GearUse, ...]:
    """Each gear ridden for ten seconds or more. Arrays (n,): gear 1.. (0: none fits), 1/min, m/s; NaN left out."""
    found = []
    used = np.isfinite(gear) & (gear > 0.0) & np.isfinite(rpm) & np.isfinite(speed_mps) & (speed_mps > 1.5)
    for number in np.unique(gear[used]).astype(int).tolist():
        here = used & (gear == number)
        seconds = float(here.sum() * step_s)
        if seconds < LEAST_GEAR_S:
            continue
        ratio = rpm[here] / speed_mps[here]
        low, middle, high = np.quantile(ratio, [0.1, 0.5, 0.9])
        known = file_rpm_per_mps[number - 1] if number <= len(file_rpm_per_mps) else None
        found.append(
            GearUse(
                gear=number,
                seconds=seconds,
                rpm_per_kmh=float(middle) / 3.6,
                over_file=float(middle) / known if known is not None else None,
                spread=float((high - low) / middle),
                ahead_share=float(np.mean(ratio > (1.0 + RUNS_ON) * middle)),
            )
        )
    return tuple(found)


CRUISE_EDGES_MPS = (6.0, 12.0, 20.0, np.inf)
CRUISE_S = 40.0
STEADY_SHARE = 0.15
SETTLED_C = 1.0
LEAST_CRUISES = 3


@dataclass(frozen=True)
class Cruise:
    """Steady cruise between two speeds, m/s (`high_mps` None: no end): seconds, number of stretches, and coolant above
    the air: median, lowest and highest stretch."""

    low_mps: float
    high_mps: float | None
    seconds: float
    stretches: int
    lift_k: float
    lowest_k: float
    highest_k: float


def cruises(
    speed_mps: FloatArray, coolant_c: FloatArray, ambient_c: FloatArray, step_s: float, resolution_c: float
) -> tuple[Cruise, ...]:
    """Steady stretches of 40 s: speed within 15 % of its mean (as a standard deviation), coolant at its end within a
    degree, or one step of its sensor, of its start. Arrays (n,), NaN where not known."""
    size = round(CRUISE_S / step_s)
    known = np.isfinite(speed_mps) & np.isfinite(coolant_c) & np.isfinite(ambient_c)
    stretches: list[tuple[float, float]] = []
    for first, past in runs(known):
        at = first
        while at + size < past:
            speed = speed_mps[at : at + size]
            change = abs(float(coolant_c[at + size] - coolant_c[at]))
            steady = float(speed.std()) <= STEADY_SHARE * float(speed.mean())
            if speed.mean() >= CRUISE_EDGES_MPS[0] and steady and change <= max(SETTLED_C, resolution_c) + 1e-9:
                lift = float((coolant_c[at : at + size] - ambient_c[at : at + size]).mean())
                stretches.append((float(speed.mean()), lift))
                at += size
            else:
                at += max(1, size // 5)
    found = []
    for low, high in pairwise(CRUISE_EDGES_MPS):
        lifts = np.array([lift for speed, lift in stretches if low <= speed < high])
        if lifts.size:
            found.append(
                Cruise(
                    low_mps=low,
                    high_mps=high if np.isfinite(high) else None,
                    seconds=lifts.size * size * step_s,
                    stretches=int(lifts.size),
                    lift_k=float(np.median(lifts)),
                    lowest_k=float(lifts.min()),
                    highest_k=float(lifts.max()),
                )
            )
    return tuple(found)
