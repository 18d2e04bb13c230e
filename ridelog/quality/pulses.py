"""Engine speed that is twice or half all along: a logger set to the wrong number of pulses a turn.

Only a bike file's gearing can tell: engine speed over ground speed then lies on its gears times two, or half.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.channels import PULSES
from ridelog.quality.scene import Scene
from ridelog.results import FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

RPM = "engine_rpm"


def find(scene: Scene, rpm_per_mps: Sequence[float] | None) -> list[QualityMark]:
    """One mark over the whole channel. `rpm_per_mps`: the bike file's engine speed over ground speed in each gear,
    (1/min)/(m/s); None or empty where no bike is known, then nothing can be told."""
    speed = next((scene.at(name) for name in ("wheel_speed_mps", "gps_speed_mps") if scene.has(name)), None)
    if not rpm_per_mps or speed is None or not scene.has(RPM):
        return []
    ratio = _steady(scene.at(RPM), speed)
    if ratio.size < PULSES.least_s:
        return []
    gears = np.log(np.array(rpm_per_mps))
    caught = {factor: _caught(ratio, gears + np.log(factor)) for factor in (0.5, 2.0)}
    best = max(caught, key=lambda factor: caught[factor])
    if caught[best] < PULSES.share:
        return []
    # Another sprocket or tyre slides all gears alike, and may push one onto another's double.
    slides = np.arange(-PULSES.slide, PULSES.slide + 0.5 * PULSES.near, PULSES.near)
    plain = max(_caught(ratio, gears + slide) for slide in slides)
    if caught[best] < PULSES.times * plain:
        return []
    fits, otherwise = 100.0 * caught[best], 100.0 * plain
    detail = doubt_details.pulses(fits, otherwise, doubled=best == 2.0)
    everywhere = np.ones(scene.t_s.size, dtype=np.bool_)
    (mark,) = scene.marks(everywhere, (RPM,), "pulse_count", detail, "kept")
    return [mark]


def _steady(rpm: FloatArray, speed: FloatArray) -> FloatArray:
    """Logarithm of engine speed over speed, of the seconds in which neither changed much."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = np.log(rpm / speed)
        good = (speed > PULSES.slowest_mps) & (rpm > PULSES.lowest_rpm)
        good[1:] &= np.abs(np.diff(ratio)) < PULSES.steady
        good[0] = False
    return np.asarray(ratio[good & np.isfinite(ratio)], dtype=np.float64)


def _caught(ratio: FloatArray, gears: FloatArray) -> float:
    """Share of the seconds that lie on a gear."""
    return float((np.abs(ratio[:, None] - gears[None, :]).min(axis=1) <= PULSES.near).mean())
