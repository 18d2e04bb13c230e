"""What the heat balance adds to a result: settle temperatures, stretches that are only hot, time above thresholds where
the coolant was not logged, and the same ride on the conservative map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis import thermal, thermal_use
from ridelog.analyze_heat import Balance
from ridelog.results import Band, BoolArray, Exposure, FloatArray, Segment, WhatIf, WhatIfExposure

ALONG_DRAWS = 41
"""Draws behind the band of the settle temperature along the ride; stretches use all of them."""

WARM_START_C = 80.0
"""A ride whose coolant was never logged may have begun anywhere from cold to this."""

LINKED_S = 120.0
"""What the balance misses at one moment it misses alike for about two minutes."""

QUANTILES = (0.025, 0.5, 0.975)


@dataclass(frozen=True)
class Settle:
    """Settle temperature along the ride on the balance's steps: best, low and high; NaN where not known."""

    value_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray


def settle_along(balance: Balance) -> Settle | None:
    """None without a balance to go by."""
    if balance.draws is None or balance.plant is None or balance.ride is None:
        return None
    drawn = balance.draws[:ALONG_DRAWS]
    rows = thermal_use.settle_along(
        balance.plant, drawn, thermal_use.stream(balance.plant, drawn, balance.ride), balance.ride
    )
    low, high = np.quantile(rows[1:], [QUANTILES[0], QUANTILES[2]], axis=0)
    return Settle(rows[0], np.minimum(low, rows[0]), np.maximum(high, rows[0]))


def on_grid(values: FloatArray, grid_s: FloatArray) -> FloatArray:
    """A series of the balance's steps on the grid: each grid time takes its step's value."""
    index = np.minimum((grid_s / thermal.STEP_S + 1e-9).astype(np.int64), values.size - 1)
    return np.asarray(values[index], dtype=np.float64)


def ledger(balance: Balance) -> dict[str, FloatArray]:
    """Heat in and heat out along the ride, K/s, by the best fit: at the logged coolant, else at the estimated one."""
    plant, ride, drawn = balance.plant, balance.ride, balance.draws
    if plant is None or ride is None or drawn is None:
        return {}
    best = drawn[:1]
    path = thermal_use.fill(plant, best, ride, _starts(ride, drawn)[:1])
    heat_in, heat_out = thermal_use.flows(plant, best, ride, path.coolant_c)
    told = {"heat_in_kps": heat_in[0], "heat_out_kps": heat_out[0]}
    if path.estimated.any():
        told["coolant_estimated_c"] = np.where(path.estimated, path.coolant_c[0], np.nan)
    return told


def with_settle(segments: tuple[Segment, ...], balance: Balance, limit_c: float) -> tuple[Segment, ...]:
    """The same stretches with settle temperature and time to the limit, each with its 95 % band."""
    if balance.draws is None or balance.plant is None or balance.ride is None:
        return segments
    flow = thermal_use.stream(balance.plant, balance.draws, balance.ride)
    return tuple(_settled(segment, balance, flow, limit_c) for segment in segments)


def _settled(segment: Segment, balance: Balance, flow: thermal_use.Stream, limit_c: float) -> Segment:
    plant, ride, drawn = balance.plant, balance.ride, balance.draws
    assert plant is not None and ride is not None and drawn is not None
    first = int(np.ceil(segment.start_s / thermal.STEP_S - 1e-9))
    past = min(int(np.floor(segment.end_s / thermal.STEP_S + 1e-9)), ride.t_s.size)
    if past <= first:
        return segment
    ends = thermal_use.settle_of(plant, drawn, flow, ride, first, past)
    if not np.isfinite(ends).all():
        return segment
    low, high = np.quantile(ends[1:], [QUANTILES[0], QUANTILES[2]])
    segment = replace(
        segment,
        settle_c=float(ends[0]),
        settle_low_c=float(min(low, ends[0])),
        settle_high_c=float(max(high, ends[0])),
    )
    start_c = segment.coolant_start_c
    if start_c is None:
        return segment
    after = thermal_use.limit_after_s(plant, drawn, flow, ride, (first, past), start_c, limit_c)
    quick, slow = np.quantile(after[1:], [QUANTILES[0], QUANTILES[2]], method="nearest")

    def told(seconds: float) -> float | None:
        return float(seconds) if np.isfinite(seconds) else None

    return replace(
        segment,
        limit_after_s=told(after[0]),
        limit_after_low_s=told(min(quick, after[0])),
        limit_after_high_s=told(max(slow, after[0])),
    )


def with_estimates(records: tuple[Exposure, ...], balance: Balance) -> tuple[Exposure, ...]:
    """The same exposure with the time above each threshold where the coolant was not logged and the balance can tell."""
    if balance.draws is None or balance.plant is None or balance.ride is None:
        return records
    ride, drawn = balance.ride, balance.draws
    start_c = _starts(ride, drawn)
    path = thermal_use.fill(balance.plant, drawn, ride, start_c)
    if not path.estimated.any():
        return records
    told_s = float(np.count_nonzero(path.estimated) * thermal.STEP_S)
    rows = np.where(path.estimated[None], path.coolant_c + _misses(balance, path.estimated), np.nan)
    # The step after a hole is the sensor's; it closes the last piece of the estimate.
    done = []
    for record in records:
        seconds = thermal_use.time_above_s(rows, record.threshold_c)
        low, middle, high = np.quantile(seconds[1:], QUANTILES)
        done.append(
            replace(
                record,
                estimated_s=float(middle),
                estimated_low_s=float(low),
                estimated_high_s=float(high),
                unknown_s=max(0.0, record.unknown_s - told_s),
            )
        )
    return tuple(done)


def _starts(ride: thermal.Conditions, drawn: FloatArray) -> FloatArray:
    """Coolant at the ride's start where the sensor does not tell: evenly from the air's temperature to warm."""
    air = float(ride.ambient_c[0])
    spread = np.linspace(air, max(air, WARM_START_C), drawn.shape[0] - 1)
    shuffled = np.random.default_rng(thermal_use.SEED).permutation(spread)
    return np.concatenate([[0.5 * (air + max(air, WARM_START_C))], shuffled])


def _misses(balance: Balance, where: BoolArray) -> FloatArray:
    """What the balance may miss along the ride for each draw, (draws, n): the fit's own error, linked over minutes;
    the best fit misses nothing."""
    assert balance.draws is not None
    keep = float(np.exp(-thermal.STEP_S / LINKED_S))
    noise = np.random.default_rng(thermal_use.SEED + 1).standard_normal((balance.draws.shape[0] - 1, where.size))
    noise[:, 1:] *= np.sqrt(1.0 - keep * keep)
    rows = thermal.filtered(noise, keep)
    return np.vstack([np.zeros(where.size), balance.error_c * rows])


def what_if(
    records: tuple[Exposure, ...], segments: tuple[Segment, ...], grace_s: dict[str, float], balance: Balance
) -> WhatIf | None:
    """Time above each threshold had the conservative map been on from the end of each advised stretch's grace time."""
    if balance.draws is None or balance.plant is None or balance.ride is None:
        return None
    ride = balance.ride
    if not np.isfinite(ride.coolant_c).any():
        return None
    advised = np.zeros(ride.t_s.size, dtype=np.bool_)
    for segment in segments:
        if segment.advised_map == "conservative":
            begin = segment.start_s + grace_s[segment.kind]
            advised[(ride.t_s >= begin - 1e-9) & (ride.t_s < segment.end_s)] = True
    change = thermal_use.switched(balance.plant, balance.draws, ride, ride.coolant_c, advised)
    done = []
    for record in records:
        was = thermal_use.time_above_s(ride.coolant_c[None], record.threshold_c)[0]
        saved = was - thermal_use.time_above_s(ride.coolant_c[None] + change, record.threshold_c)
        left = np.clip(record.observed_s - np.maximum(saved, 0.0), 0.0, record.observed_s)
        low, high = np.quantile(left[1:], [QUANTILES[0], QUANTILES[2]])
        done.append(
            WhatIfExposure(record.threshold_c, float(min(low, left[0])), float(left[0]), float(max(high, left[0])))
        )
    ratio = np.exp(balance.draws[:, thermal.KAPPA])
    low, high = np.quantile(ratio[1:], [QUANTILES[0], QUANTILES[2]])
    return WhatIf("conservative", balance.basis, tuple(done), Band(float(ratio[0]), float(low), float(high)))
