"""Two coolant sensors that disagree: which of them contradicts physics, where that can be told."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ridelog.channels import PAIR, base_name
from ridelog.intervals import runs
from ridelog.quality.scene import Scene
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

COOLANT = "coolant_c"


def find(scene: Scene, jumps: Mapping[str, int]) -> list[QualityMark]:
    """Marks on the first coolant sensor and each further one, pair by pair. `jumps`: spikes and impossible steps that
    other rules found in each channel."""
    names = sorted(name for name in scene.traces if base_name(name) == COOLANT and scene.has(name))
    marks: list[QualityMark] = []
    for other in names[1:]:
        marks.extend(_pair(scene, names[0], other, jumps))
    return marks


def _pair(scene: Scene, one: str, two: str, jumps: Mapping[str, int]) -> list[QualityMark]:
    a, b = scene.at(one), scene.at(two)
    both = np.isfinite(a) & np.isfinite(b)
    if both.sum() < PAIR.least_s:
        return []
    marks: list[QualityMark] = []
    frozen = {one: _frozen(scene.t_s, a, b), two: _frozen(scene.t_s, b, a)}
    for name, mask in frozen.items():
        if mask.any():
            detail = doubt_details.one_stuck(PAIR.other_moves_c)
            marks.extend(scene.marks(mask, (name,), "stuck", detail))
    both &= ~frozen[one] & ~frozen[two]
    if both.sum() < PAIR.least_s:
        return marks
    off = (b - a)[both]
    low, middle, high = (float(q) for q in np.quantile(off, [0.05, 0.5, 0.95]))
    third = off.size // 3
    drift = float(np.median(off[-third:]) - np.median(off[:third]))
    if abs(middle) <= PAIR.offset_c and high - low <= PAIR.spread_c and abs(drift) <= PAIR.drift_c:
        return marks
    drifting = drift if abs(drift) > PAIR.drift_c else None
    seen = doubt_details.sensors_differ(_number(one), _number(two), (low, middle, high), drifting)
    wrong, why = _contradicts(scene, {one: a, two: b}, jumps)
    first, past = int(np.flatnonzero(both)[0]), int(np.flatnonzero(both)[-1]) + 1
    mask = np.zeros(both.size, dtype=np.bool_)
    mask[first:past] = True
    if wrong:
        detail = f"{seen}; {why}"
        marks.extend(scene.marks(mask, (wrong,), "sensors_disagree", detail))
    else:
        detail = doubt_details.neither_wrong(seen, _number(one))
        marks.extend(scene.marks(mask, (two,), "sensors_disagree", detail, "kept"))
    return marks


def _number(name: str) -> str:
    return name.partition(".")[2] or "1"


def _frozen(t_s: FloatArray, own: FloatArray, other: FloatArray) -> BoolArray:
    """Seconds in which a sensor repeats itself exactly for minutes while the other moves far."""
    result = np.zeros(own.size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        same = np.concatenate((np.diff(own) == 0.0, [False]))
    for first, last in runs(same):
        if t_s[last] - t_s[first] < PAIR.frozen_s:
            continue
        there = other[first : last + 1][np.isfinite(other[first : last + 1])]
        if there.size < PAIR.frozen_s or float(np.ptp(there)) < PAIR.other_moves_c:
            continue
        result[first : last + 1] = True
    return result


def _contradicts(scene: Scene, readings: Mapping[str, FloatArray], jumps: Mapping[str, int]) -> tuple[str, str]:
    """The sensor that can't be right and why; two empty strings where neither gives itself away."""
    few, many = sorted(readings, key=lambda name: jumps.get(name, 0))
    if jumps.get(many, 0) >= max(PAIR.jumps_least, PAIR.jumps_times * jumps.get(few, 0)):
        return many, doubt_details.jumps_more(_number(many), jumps[many])
    air = scene.maybe("ambient_c")
    if air is None:
        return "", ""
    all_three = np.flatnonzero(np.isfinite(sum(readings.values(), air)))
    if not all_three.size or all_three[0] > PAIR.least_s:
        return "", ""
    start = all_three[:20]
    off = {name: float(np.median(values[start] - air[start])) for name, values in readings.items()}
    near, far = sorted(readings, key=lambda name: abs(off[name]))
    coldest = float(np.median(air[start])) + off[near]
    if abs(off[near]) <= PAIR.near_air_c and abs(off[far]) >= PAIR.far_from_air_c and coldest < PAIR.cold_c:
        why = doubt_details.off_when_cold(_number(near), abs(off[near]), _number(far), abs(off[far]))
        return far, why
    return "", ""
