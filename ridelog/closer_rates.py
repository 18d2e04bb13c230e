"""What the coolant of one ride follows: how fast it rose by load and fell by speed, and whether load or air moves it
more; and the figures a comparison has of each side, for one ride alone."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from ridelog import compare_riding
from ridelog.analysis import matched, matched_cells, matched_use
from ridelog.analysis.matched_cells import Readings
from ridelog.analysis.matched_records import CoolDown, FanUse
from ridelog.analysis.matched_use import Cruise, GearUse
from ridelog.analysis.thermal import STEP_S, settle_c
from ridelog.analysis.thermal_use import Drawn
from ridelog.results import Band, BoolArray, FloatArray
from ridelog.study import Study

LEAST_WINDOWS = 2
"""Forty seconds make a row, as in a comparison."""

ROUNDED = math.sqrt(2.0 / 12.0)
"""Spread of a difference of two readings rounded to one step, in steps."""

MINUTE_STEPS = 15
LEAST_MINUTES = 5
CLEARLY = 1.5
"""One moves it more where its part is so many times the other's, by the band's near end."""

DRAWS = 200


@dataclass(frozen=True)
class RateRow:
    """How fast the coolant rose between two loads (share of peak power) or two speeds (m/s), K/s; `high` None for no
    end; the band holds 95 % by resampling blocks of three minutes, None where there is one block only."""

    low: float
    high: float | None
    mean_kps: float
    band: Band | None
    seconds: float


@dataclass(frozen=True)
class Rates:
    """Windows of twenty seconds with the coolant warm: `by_load` at any speed, `by_speed` with the throttle shut or
    nearly so. `seconds` of all windows, `share` of the ride."""

    by_load: tuple[RateRow, ...]
    by_speed: tuple[RateRow, ...]
    seconds: float
    share: float


def rates(study: Study) -> Rates | None:
    """None without a power figure along the ride (the balance's reason says why), or with no warm window."""
    drawn = study.found.balance.drawn
    if drawn is None:
        return None
    theta = drawn.thetas[0]
    read = matched.read(drawn.plant, drawn.ride, theta, np.zeros(theta.size), 0.0)
    if read.start_s.size == 0:
        return None
    shut = read.load < matched.LOAD_EDGES[1]
    seconds = read.start_s.size * matched.WINDOW_S
    info = study.ride.channels.get("coolant_c")
    step_c = (info.resolution or 0.0) if info is not None else 0.0
    return Rates(
        _rows(read, read.load, matched.LOAD_EDGES, np.ones(shut.size, dtype=np.bool_), step_c),
        _rows(read, read.speed_mps, matched.SPEED_EDGES_MPS, shut, step_c),
        seconds,
        min(1.0, seconds / max(study.ride.duration_s, 1e-9)),
    )


def _rows(
    read: matched.Reading, by: FloatArray, edges: tuple[float, ...], chosen: BoolArray, step_c: float
) -> tuple[RateRow, ...]:
    rows = []
    for low, high in pairwise(edges):
        here = chosen & (by >= low) & (by < high)
        if here.sum() < LEAST_WINDOWS:
            continue
        value = read.rate_kps[here]
        nought = np.zeros(value.size, dtype=np.int64)
        block = (read.start_s[here] // matched.BLOCK_S).astype(np.int64)
        error = matched_cells.spread(Readings(value, nought, nought, block), np.ones(1))
        # Windows that read alike to the sensor's step are not alike to the last digit.
        error = math.hypot(error, step_c * ROUNDED / matched.WINDOW_S / math.sqrt(value.size))
        mean = float(value.mean())
        half = matched_cells.NORMAL * error
        band = Band(mean, mean - half, mean + half) if np.isfinite(error) else None
        rows.append(RateRow(low, high if np.isfinite(high) else None, mean, band, value.size * matched.WINDOW_S))
    return tuple(rows)


@dataclass(frozen=True)
class Follows:
    """How far the settle temperature moves from minute to minute (standard deviation, K, 95 %): by load alone with the
    air's share at its mean, and by what the air carries off alone with the load at its mean."""

    answer: Literal["load", "air", "both"]
    load_k: Band
    air_k: Band
    minutes: int
    share: float


def follows(study: Study) -> Follows | None:
    """None without a balance, or with fewer than five minutes in which all is known."""
    drawn = study.found.balance.drawn
    if drawn is None:
        return None
    drawn = drawn.first(DRAWS)
    ok = drawn.ride.known & drawn.ride.running
    starts = np.arange(0, ok.size - MINUTE_STEPS + 1, MINUTE_STEPS)
    whole = np.array([ok[at : at + MINUTE_STEPS].all() for at in starts], dtype=np.bool_)
    starts = starts[whole]
    if starts.size < LEAST_MINUTES:
        return None
    by_load, by_air = _moved(drawn, starts)
    load, air = _band(by_load), _band(by_air)
    times = by_load / np.maximum(by_air, 1e-9)
    low, high = np.quantile(times[1:], [0.025, 0.975]) if times.size > 1 else (times[0], times[0])
    answer: Literal["load", "air", "both"] = "both"
    if times[0] >= CLEARLY and low > 1.0:
        answer = "load"
    elif times[0] <= 1.0 / CLEARLY and high < 1.0:
        answer = "air"
    lasted = starts.size * MINUTE_STEPS * STEP_S
    return Follows(answer, load, air, int(starts.size), min(1.0, lasted / max(study.ride.duration_s, 1e-9)))


def _moved(drawn: Drawn, starts: matched_cells.IndexArray) -> tuple[FloatArray, FloatArray]:
    """Standard deviation of the settle temperature over the minutes, by either alone, (draws,) each."""
    at = starts[:, None] + np.arange(MINUTE_STEPS)
    q, ambient = (rows[:, at].mean(axis=2) for rows in (drawn.load_kps, drawn.ambient_c))
    sheds = drawn.sheds
    still = np.broadcast_to(sheds.still, drawn.load_kps.shape)[:, at].mean(axis=2)
    off, on = (rows[:, at].mean(axis=2) for rows in (sheds.fan_off, sheds.fan_on))
    held = replace(sheds, still=still, fan_off=off, fan_on=on)

    def level(rows: FloatArray) -> FloatArray:
        return np.broadcast_to(rows.mean(axis=1, keepdims=True), rows.shape)

    air = level(ambient)
    still_mean, off_mean, on_mean = level(still), level(off), level(on)
    by_load = settle_c(drawn.plant, replace(held, still=still_mean, fan_off=off_mean, fan_on=on_mean), q, air)
    by_air = settle_c(drawn.plant, held, level(q), air)
    return np.nanstd(by_load, axis=1), np.nanstd(by_air, axis=1)


def _band(values: FloatArray) -> Band:
    rest = values[1:] if values.size > 1 else values
    low, high = (float(one) for one in np.quantile(rest, [0.025, 0.975]))
    return Band(float(values[0]), min(low, float(values[0])), max(high, float(values[0])))


@dataclass(frozen=True)
class Alone:
    """What a comparison has of each side, of one ride. `cells`: seconds by engine speed and throttle, None where one of
    them was not logged."""

    cruise: tuple[Cruise, ...]
    cool_down: CoolDown
    fan: FanUse
    gears: tuple[GearUse, ...]
    cells: FloatArray | None


def alone(study: Study) -> Alone:
    """How one ride was ridden and cooled."""
    series, step_s = study.found.traces.series, study.found.traces.step_s
    cells = None
    if "engine_rpm" in series and "throttle_open" in series:
        cells = matched_use.cell_seconds(series["engine_rpm"], series["throttle_open"], step_s)
    side = compare_riding.side(study)
    return Alone(side.cruise, side.cool_down, side.fan, side.gears, cells)
