"""What the heat balance adds to a result: settle temperatures, heat in and out, time above thresholds where the coolant
was not logged, and the same ride on the conservative map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis import thermal, thermal_use
from ridelog.analysis.thermal_use import Drawn
from ridelog.analyze_heat import Balance
from ridelog.results import Band, BoolArray, Exposure, FloatArray, Segment, WhatIf, WhatIfExposure

ALONG_DRAWS = 41
"""Draws behind the band of the settle temperature along the ride; stretches use all of them."""

WARM_START_C = 80.0
"""A ride whose coolant was never logged may have begun anywhere from cold to this."""

LINKED_S = 120.0
"""What the balance misses at one moment it misses alike for about two minutes."""

LOW, MIDDLE, HIGH = 0.025, 0.5, 0.975


@dataclass(frozen=True)
class Settle:
    """Settle temperature along the ride on the balance's steps: best, low and high; NaN where not known."""

    value_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray


def settle_along(balance: Balance) -> Settle | None:
    """None without a balance to go by."""
    if balance.drawn is None:
        return None
    rows = balance.drawn.first(ALONG_DRAWS).settle_along()
    low, high = np.quantile(rows[1:], [LOW, HIGH], axis=0)
    return Settle(rows[0], np.minimum(low, rows[0]), np.maximum(high, rows[0]))


def on_grid(values: FloatArray, grid_s: FloatArray) -> FloatArray:
    """A series of the balance's steps on the grid: each grid time takes its step's value."""
    index = np.minimum((grid_s / thermal.STEP_S + 1e-9).astype(np.int64), values.size - 1)
    return np.asarray(values[index], dtype=np.float64)


def ledger(balance: Balance) -> dict[str, FloatArray]:
    """Heat in and heat out along the ride, K/s, by the best fit: at the logged coolant, else at the estimated one."""
    if balance.drawn is None:
        return {}
    best = balance.drawn.first(1)
    path = best.fill(_starts(balance.drawn)[:1])
    heat_in, heat_out = best.flows(path.coolant_c)
    told = {"heat_in_kps": heat_in[0], "heat_out_kps": heat_out[0]}
    if path.estimated.any():
        told["coolant_estimated_c"] = np.where(path.estimated, path.coolant_c[0], np.nan)
    return told


def with_settle(segments: tuple[Segment, ...], balance: Balance, limit_c: float) -> tuple[Segment, ...]:
    """The same stretches with settle temperature and time to the limit, each with its 95 % band."""
    if balance.drawn is None:
        return segments
    return tuple(_settled(segment, balance.drawn, limit_c) for segment in segments)


def _settled(segment: Segment, drawn: Drawn, limit_c: float) -> Segment:
    first = int(np.ceil(segment.start_s / thermal.STEP_S - 1e-9))
    past = min(int(np.floor(segment.end_s / thermal.STEP_S + 1e-9)), drawn.ride.t_s.size)
    ends = drawn.settle_c(first, past) if past > first else None
    if ends is None:
        return segment
    settle = _band(ends)
    segment = replace(segment, settle_c=settle.value, settle_low_c=settle.low, settle_high_c=settle.high)
    after = None
    if segment.coolant_start_c is not None:
        after = drawn.limit_after_s(first, past, segment.coolant_start_c, limit_c)
    if after is None:
        return segment
    quick, slow = np.quantile(after[1:], [LOW, HIGH], method="nearest")
    return replace(
        segment,
        limit_after_s=_finite(after[0]),
        limit_after_low_s=_finite(min(quick, after[0])),
        limit_after_high_s=_finite(max(slow, after[0])),
    )


def _finite(seconds: float) -> float | None:
    return float(seconds) if np.isfinite(seconds) else None


def _band(values: FloatArray) -> Band:
    low, high = np.quantile(values[1:], [LOW, HIGH])
    return Band(float(values[0]), float(min(low, values[0])), float(max(high, values[0])))


def with_estimates(records: tuple[Exposure, ...], balance: Balance) -> tuple[Exposure, ...]:
    """The same exposure with the time above each threshold where the balance can tell and the sensor could not."""
    found = estimated_rows(balance)
    if found is None:
        return records
    rows, where = found
    told_s = float(np.count_nonzero(where) * thermal.STEP_S)
    # A reading at either end of a hole closes its first and last step.
    ends = np.zeros(where.size, dtype=np.bool_)
    ends[1:] |= where[:-1]
    rows = np.where(where | ends, rows, np.nan)
    done = []
    for record in records:
        seconds = thermal_use.time_above_s(rows, record.threshold_c)
        low, middle, high = np.quantile(seconds[1:], [LOW, MIDDLE, HIGH])
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


def estimated_rows(balance: Balance, draws: int | None = None) -> tuple[FloatArray, BoolArray] | None:
    """Coolant where the sensor does not tell and the balance does, (1 + draws, n), with what the balance may miss by, and
    where that is, (n,); None where there is no such place. `draws` looks at the first vectors only."""
    if balance.drawn is None:
        return None
    drawn = balance.drawn if draws is None else balance.drawn.first(draws)
    path = drawn.fill(_starts(balance.drawn)[: drawn.thetas.shape[0]])
    if not path.estimated.any():
        return None
    return path.coolant_c + _misses(path.estimated, drawn.thetas.shape[0] - 1, balance.error_c), path.estimated


def _starts(drawn: Drawn) -> FloatArray:
    """Coolant at the ride's start where the sensor does not tell: evenly from the air's temperature to warm."""
    air = float(drawn.ambient_c[0, 0])
    spread = np.linspace(air, max(air, WARM_START_C), drawn.thetas.shape[0] - 1)
    shuffled = np.random.default_rng(thermal_use.SEED).permutation(spread)
    return np.concatenate([[0.5 * (air + max(air, WARM_START_C))], shuffled])


def _misses(where: BoolArray, number: int, error_c: float) -> FloatArray:
    """What the balance may miss along the ride for each draw, (1 + number, n): its error, linked over minutes; the best
    fit misses nothing."""
    keep = float(np.exp(-thermal.STEP_S / LINKED_S))
    noise = np.random.default_rng(thermal_use.SEED + 1).standard_normal((number, where.size))
    noise[:, 1:] *= np.sqrt(1.0 - keep * keep)
    return np.vstack([np.zeros(where.size), error_c * thermal.filtered(noise, keep)])


def what_if(
    records: tuple[Exposure, ...], segments: tuple[Segment, ...], grace_s: dict[str, float], balance: Balance
) -> WhatIf | None:
    """Time above each threshold had the conservative map been on from the end of each advised stretch's grace time."""
    drawn = balance.drawn
    if drawn is None or not np.isfinite(drawn.ride.coolant_c).any():
        return None
    ride = drawn.ride
    advised = np.zeros(ride.t_s.size, dtype=np.bool_)
    for segment in segments:
        if segment.advised_map == "conservative":
            begin = segment.start_s + grace_s[segment.kind]
            advised[(ride.t_s >= begin - 1e-9) & (ride.t_s < segment.end_s)] = True
    change = drawn.switched(ride.coolant_c, advised)
    done = []
    for record in records:
        was_s = thermal_use.time_above_s(ride.coolant_c[None], record.threshold_c)[0]
        saved_s = was_s - thermal_use.time_above_s(ride.coolant_c[None] + change, record.threshold_c)
        left = _band(np.clip(record.observed_s - np.maximum(saved_s, 0.0), 0.0, record.observed_s))
        done.append(WhatIfExposure(record.threshold_c, left.low, left.value, left.high))
    ratio = _band(np.exp(drawn.thetas[:, thermal.KAPPA]))
    return WhatIf("conservative", balance.basis, tuple(done), ratio)
