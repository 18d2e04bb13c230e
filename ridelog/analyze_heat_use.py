"""What the heat balance adds to a result: settle temperatures, heat in and out, time above thresholds where the coolant
was not logged, and the same ride on the conservative map."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis import thermal, thermal_use
from ridelog.analysis.filters import filtered
from ridelog.analysis.thermal_use import Drawn
from ridelog.analyze_heat import Balance
from ridelog.results import Band, BoolArray, Exposure, FloatArray, Segment, WhatIf, WhatIfExposure

ALONG_DRAWS = 41
"""Draws behind the band of the settle temperature along the ride; stretches use all of them."""

WARM_START_C = 80.0
"""A ride whose coolant was never logged may have begun anywhere from cold to this."""

LINKED_S = 120.0
"""What the balance misses at one moment it misses alike for about two minutes."""

SEEN_C = 0.1
"""A difference of the coolant that is worth a line of its own."""

LOW, MIDDLE, HIGH = 0.025, 0.5, 0.975
TWO_SIDED = 1.96
"""Standard deviations to either end of a 95 % interval."""


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
    drawn = balance.drawn
    if drawn is None:
        return segments
    steps = np.array([_steps_of(segment, drawn.ride.t_s.size) for segment in segments], dtype=np.int64).reshape(-1, 2)
    long = np.flatnonzero(steps[:, 1] > steps[:, 0])
    ends = drawn.settle_of(steps[long])
    told = np.isfinite(ends[0])
    long, ends = long[told], ends[:, told]
    done = list(segments)
    for n, low, high, value in zip(long.tolist(), *_quantiles(ends), ends[0], strict=True):
        band = _spanned(float(value), float(low), float(high))
        done[n] = replace(done[n], settle_c=band.value, settle_low_c=band.low, settle_high_c=band.high)
    starts = [segments[n].coolant_start_c for n in long.tolist()]
    seen = np.array([start is not None for start in starts], dtype=np.bool_)
    begun = np.array([start for start in starts if start is not None], dtype=np.float64)
    after = drawn.limits_after_s(steps[long[seen]], begun, limit_c)
    for n, quick, slow, best in zip(long[seen].tolist(), *_quantiles(after, nearest=True), after[0], strict=True):
        done[n] = replace(
            done[n],
            limit_after_s=_finite(best),
            limit_after_low_s=_finite(min(quick, best)),
            limit_after_high_s=_finite(max(slow, best)),
        )
    return tuple(done)


def _steps_of(segment: Segment, count: int) -> tuple[int, int]:
    first = int(np.ceil(segment.start_s / thermal.STEP_S - 1e-9))
    return first, min(int(np.floor(segment.end_s / thermal.STEP_S + 1e-9)), count)


def _quantiles(rows: FloatArray, *, nearest: bool = False) -> FloatArray:
    """Ends of the 95 % band of each column, the best fit in the first row left out, (2, n)."""
    return np.asarray(np.quantile(rows[1:], [LOW, HIGH], axis=0, method="nearest" if nearest else "linear"))


def _finite(seconds: float) -> float | None:
    return float(seconds) if np.isfinite(seconds) else None


def _band(values: FloatArray) -> Band:
    low, high = np.quantile(values[1:], [LOW, HIGH])
    return _spanned(float(values[0]), float(low), float(high))


def _spanned(value: float, low: float, high: float) -> Band:
    return Band(value, min(low, value), max(high, value))


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
        seconds = thermal_use.time_above_s(rows, record.threshold_c, among=where)
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
    """Coolant where the sensor does not tell and the balance does, (1 + draws, n), with what the balance may miss by,
    and where that is, (n,); None where there is no such place. `draws` looks at the first vectors only."""
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
    return np.vstack([np.zeros(where.size), error_c * filtered(noise, keep)])


def what_if(
    records: tuple[Exposure, ...],
    segments: tuple[Segment, ...],
    grace_s: dict[str, float],
    balance: Balance,
    effect: Band | None = None,
) -> WhatIf | None:
    """Time above each threshold had the conservative map been on from the end of each advised stretch's grace time.

    `effect`: the map's heat over the standard map's, as the library's rides show it, with its 95 % interval."""
    drawn = balance.drawn
    if drawn is None or not np.isfinite(drawn.ride.coolant_c).any():
        return None
    ride = drawn.ride
    advised = _advised(segments, grace_s, ride.t_s)
    told = drawn.thetas[:, thermal.KAPPA] if effect is None else _log_ratios(effect, drawn.thetas.shape[0] - 1)
    change = drawn.switched(ride.coolant_c, advised, told)
    moved: BoolArray = np.any(change < 0.0, axis=0)
    done = []
    for record in records:
        was_s = thermal_use.time_above_s(ride.coolant_c[None], record.threshold_c, among=moved)[0]
        saved_s = was_s - thermal_use.time_above_s(ride.coolant_c + change, record.threshold_c, among=moved)
        left = _band(np.clip(record.observed_s - np.maximum(saved_s, 0.0), 0.0, record.observed_s))
        done.append(WhatIfExposure(record.threshold_c, left.low, left.value, left.high))
    if effect is not None:
        return WhatIf("conservative", "library", tuple(done), effect)
    return WhatIf("conservative", balance.basis, tuple(done), _band(np.exp(told)))


@dataclass(frozen=True)
class WhatIfAlong:
    """The same ride on the conservative map where advised, step by step: coolant and settle temperature with their 95 %
    bands, NaN where they would have been what they were, or where that can't be told."""

    t_s: FloatArray
    coolant: Settle
    settle: Settle


def what_if_along(
    segments: tuple[Segment, ...], grace_s: dict[str, float], balance: Balance, effect: Band | None = None
) -> WhatIfAlong | None:
    """What `what_if` counts, along the ride. None where there is no balance, or no coolant to start from."""
    drawn = balance.drawn
    if drawn is None or not np.isfinite(drawn.ride.coolant_c).any():
        return None
    few = drawn.first(ALONG_DRAWS)
    ride = few.ride
    told = drawn.thetas[:, thermal.KAPPA] if effect is None else _log_ratios(effect, drawn.thetas.shape[0] - 1)
    told = told[:ALONG_DRAWS]
    advised = _advised(segments, grace_s, ride.t_s)
    change = few.switched(ride.coolant_c, advised, told)
    fresh = advised & ~(np.nan_to_num(ride.conservative) > 0.0)
    ends = few.settle_along(few.load_kps * (1.0 + fresh * np.expm1(told)[:, None]))
    cooler, other = change.min(axis=0) < -SEEN_C, _widened(fresh)
    return WhatIfAlong(ride.t_s, _among(ride.coolant_c + change, _widened(cooler)), _among(ends, other))


def _among(rows: FloatArray, where: BoolArray) -> Settle:
    low, high = np.quantile(rows[1:], [LOW, HIGH], axis=0)
    best = np.where(where, rows[0], np.nan)
    return Settle(best, np.minimum(low, best), np.maximum(high, best))


def _widened(where: BoolArray) -> BoolArray:
    """One step more at either end, so that a line begins and ends on the one it leaves."""
    wide = where.copy()
    wide[1:] |= where[:-1]
    wide[:-1] |= where[1:]
    return wide


def _advised(segments: tuple[Segment, ...], grace_s: dict[str, float], t_s: FloatArray) -> BoolArray:
    """Steps of advised stretches after the time to switch."""
    advised = np.zeros(t_s.size, dtype=np.bool_)
    for segment in segments:
        if segment.advised_map == "conservative":
            begin = segment.start_s + grace_s[segment.kind]
            advised[(t_s >= begin - 1e-9) & (t_s < segment.end_s)] = True
    return advised


def _log_ratios(effect: Band, number: int) -> FloatArray:
    """The logarithm of the map's effect, the best figure first, then draws from its interval, (1 + number,)."""
    drawn = np.random.default_rng(thermal_use.SEED + 2).standard_normal(number)
    middle, low, high = np.log([effect.value, effect.low, effect.high])
    sides = np.where(drawn < 0.0, middle - low, high - middle) / TWO_SIDED
    return np.concatenate([[middle], middle + drawn * sides])
