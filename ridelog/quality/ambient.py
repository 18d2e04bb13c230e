"""An air sensor that does not measure the air: heated by the radiator or the engine, or by sun and engine at stops."""

from __future__ import annotations

import numpy as np

from ridelog.channels import AMBIENT
from ridelog.constants import LAPSE_RATE_K_PER_M
from ridelog.intervals import runs
from ridelog.quality.scene import Scene
from ridelog.results import FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

AIR = "ambient_c"
_THIN_S = 10


def find(scene: Scene) -> list[QualityMark]:
    """Marks on the air temperature: all but a cold start where it follows the coolant, else what stops heated."""
    if not scene.has(AIR) or scene.t_s.size < AMBIENT.least_s:
        return []
    air = scene.at(AIR).copy()
    if not np.isfinite(air).any() or float(np.nanmax(air) - np.nanmin(air)) < AMBIENT.stop_rise_c:
        return []
    height = scene.maybe("elevation_m")
    if height is not None and bool(np.isfinite(height).any()):
        air += LAPSE_RATE_K_PER_M * np.nan_to_num(height - np.nanmedian(height))
    return _follows_coolant(scene, air) or _heated_at_stops(scene, air)


def _follows_coolant(scene: Scene, air: FloatArray) -> list[QualityMark]:
    if not scene.has("coolant_c"):
        return []
    coolant = scene.at("coolant_c")
    best, slope, span = _best_fit(air[::_THIN_S], coolant[::_THIN_S])
    if best < AMBIENT.follow_r or slope <= 0.0 or span < AMBIENT.follow_span_c:
        return []
    seen = doubt_details.follows_coolant(slope, span, best)
    known = np.flatnonzero(np.isfinite(air))
    begin = int(known[0])
    early = slice(begin, begin + int(AMBIENT.start_s))
    start_air = float(np.nanmedian(scene.at(AIR)[early]))
    cold = coolant[early][np.isfinite(coolant[early])]
    mask = np.isfinite(air)
    if cold.size and abs(float(cold[0]) - start_air) <= AMBIENT.cold_start_c:
        mask[early] = False
        detail = doubt_details.cold_start_stands(seen, start_air)
    else:
        detail = doubt_details.no_cold_start(seen, start_air)
    # One mark, not one after every hole.
    first, last = int(np.argmax(mask)), int(np.flatnonzero(mask)[-1])
    mask[first : last + 1] = True
    return scene.marks(mask, (AIR,), "follows_engine", detail)


def _best_fit(air: FloatArray, coolant: FloatArray) -> tuple[float, float, float]:
    """Correlation, slope and span (C) of the air's answer to the coolant, at the lag where it is best."""
    best = (0.0, 0.0, 0.0)
    for lag_s in AMBIENT.lags_s:
        lag = lag_s // _THIN_S
        x, y = (coolant[:-lag], air[lag:]) if lag else (coolant, air)
        both = np.isfinite(x) & np.isfinite(y)
        if both.sum() * _THIN_S < AMBIENT.least_s:
            continue
        x, y = x[both], y[both]
        if float(np.ptp(x)) < AMBIENT.coolant_span_c or float(np.ptp(y)) == 0.0:
            continue
        r = float(np.corrcoef(x, y)[0, 1])
        if r > best[0]:
            slope = r * float(y.std() / x.std())
            best = (r, slope, slope * float(np.ptp(x)))
    return best


def _heated_at_stops(scene: Scene, air: FloatArray) -> list[QualityMark]:
    speed = _speed(scene)
    if speed is None:
        return []
    with np.errstate(invalid="ignore"):
        standing = speed < 1.0
    mask = np.zeros(air.size, dtype=np.bool_)
    most = 0.0
    for first, past in runs(standing):
        if past - first < AMBIENT.stop_s or first < 30:
            continue
        before = air[max(0, first - 60) : first]
        if not np.isfinite(before).any():
            continue
        level = float(np.nanmedian(before))
        until = min(air.size, past + int(AMBIENT.recovery_s))
        with np.errstate(invalid="ignore"):
            hot = air[first:until] > level + AMBIENT.stop_rise_c
            cool = air[past:until] <= level + AMBIENT.recovered_c
        # Heated at the stop or just after it, and cool again on the move: weather does not come back.
        if not bool(hot[: past - first + 30].any()) or not bool(cool.any()):
            continue
        most = max(most, float(np.nanmax(air[first:until]) - level))
        end = past + int(np.argmax(cool))
        with np.errstate(invalid="ignore"):
            warm = air[first:end] > level + AMBIENT.recovered_c
        mask[first + int(np.argmax(warm)) : end] = True
    detail = doubt_details.heated_at_stop(most)
    return scene.marks(mask, (AIR,), "heated_at_stop", detail)


def _speed(scene: Scene) -> FloatArray | None:
    for name in ("gps_speed_mps", "wheel_speed_mps"):
        speed = scene.maybe(name)
        if speed is not None:
            return speed
    return None
