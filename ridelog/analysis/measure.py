"""What a flagged stretch was like: its means, its drag with bounds, its coolant, and what makes it uncertain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.advice import Rule
from ridelog.analysis.shapes import BLOCK_S, POWER_TOLERANCE, Signals, Stretch
from ridelog.results import BoolArray, FloatArray
from ridelog.words import measured as words


@dataclass(frozen=True)
class Context:
    """What stretches are measured on; None where the ride does not have it."""

    signals: Signals
    power_w: FloatArray | None
    peak_power_w: float | None
    grade_sigma: float | None
    open_stop_seen: bool
    speed_from_position: bool
    coolant_t_s: FloatArray
    coolant_c: FloatArray
    coolant_joined: BoolArray


@dataclass(frozen=True)
class Measured:
    """Means over a stretch (None where not known). `doubts` say, in words, what a sure verdict lacks."""

    mean_power_w: float | None
    power_share: float | None
    mean_speed_mps: float | None
    mean_grade: float | None
    mean_opening: float | None
    drag: float | None
    drag_low: float | None
    drag_high: float | None
    coolant_start_c: float | None
    coolant_peak_c: float | None
    doubts: tuple[str, ...]


def _mean(values: FloatArray | None, part: slice) -> float | None:
    if values is None:
        return None
    known = values[part][np.isfinite(values[part])]
    return float(known.mean()) if known.size else None


def _median(values: FloatArray) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else None


def measure(stretch: Stretch, rule: Rule, context: Context) -> Measured:
    """Measure one stretch found by `rule`."""
    signals = context.signals
    first, past = np.searchsorted(signals.t_s, [stretch.start_s, stretch.end_s], "left")
    part = slice(int(first), int(past))
    power_w = _mean(context.power_w, part)
    drag = low = high = None
    if signals.terrain is not None:
        block = slice(round(stretch.start_s / BLOCK_S), max(round(stretch.end_s / BLOCK_S), 1))
        drag, low, high = (
            _median(series[block]) for series in (signals.terrain.raw, signals.terrain.low, signals.terrain.high)
        )
    seen = Measured(
        mean_power_w=power_w,
        power_share=power_w / context.peak_power_w if power_w is not None and context.peak_power_w else None,
        mean_speed_mps=_mean(signals.speed_mps, part),
        mean_grade=_mean(signals.grade, part),
        mean_opening=_mean(signals.opening, part),
        drag=drag,
        drag_low=low,
        drag_high=high,
        coolant_start_c=_at(context, stretch.start_s),
        coolant_peak_c=_peak(context, stretch.start_s, stretch.end_s),
        doubts=(),
    )
    return Measured(**{**seen.__dict__, "doubts": _doubts(stretch.kind, rule, seen, context, part)})


def _doubts(kind: str, rule: Rule, seen: Measured, context: Context, part: slice) -> tuple[str, ...]:
    found: list[str] = []
    if kind == "heavy_drag":
        level = rule.level("min_drag_coefficient")
        if seen.drag_low is None or seen.drag_low < level:
            found.append(words.drag_near_level(seen.drag_low, level))
        least = (1.0 - POWER_TOLERANCE) * (seen.power_share or 0.0)
        if least < rule.level("min_power_share"):
            found.append(words.POWER_NEAR_LEVEL)
        if context.signals.grade is None:
            found.append(words.CLIMB_LOOKS_ALIKE)
    elif kind == "wide_open" and not context.open_stop_seen:
        found.append(words.OPEN_STOP_UNSEEN)
    elif kind == "high_speed" and context.speed_from_position:
        found.append(words.SPEED_FROM_POSITIONS)
    elif kind == "slow_climb":
        sigma = context.grade_sigma or 0.0
        if seen.mean_grade is None or seen.mean_grade - 2.0 * sigma < rule.level("min_grade"):
            found.append(words.slope_near_level(2.0 * sigma))
    elif kind == "standstill" and context.speed_from_position:
        found.append(words.STANDING_FROM_POSITIONS)
    elif kind == "heat_only":
        low = _mean(context.signals.over_limit_low_c, part)
        if low is None or low < rule.level("min_over_limit_c"):
            found.append(words.SETTLES_BELOW)
    return tuple(found)


def _at(context: Context, t_s: float) -> float | None:
    """Coolant on the line through the samples, None in a gap."""
    times, values = context.coolant_t_s, context.coolant_c
    if times.size < 2 or not times[0] <= t_s <= times[-1]:
        return None
    left = min(int(np.searchsorted(times, t_s, "right")) - 1, times.size - 2)
    if times[left] == t_s:
        return float(values[left])
    if not context.coolant_joined[left]:
        return None
    return float(np.interp(t_s, times[left : left + 2], values[left : left + 2]))


def _peak(context: Context, start_s: float, end_s: float) -> float | None:
    first, past = np.searchsorted(context.coolant_t_s, [start_s, end_s], "left")
    inside = context.coolant_c[int(first) : int(past)]
    ends = [value for value in (_at(context, start_s), _at(context, end_s)) if value is not None]
    candidates = [*([float(inside.max())] if inside.size else []), *ends]
    return max(candidates) if candidates else None
