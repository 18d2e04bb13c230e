"""Road speed with the engine off: a bike carried in a van or on a trailer while its logger runs.

Such stretches are no riding, so everything that speaks of motion is left out of them. Seconds of coasting with a
stalled engine are riding, and a long way downhill may be: there the mark says that it can't tell.
"""

from __future__ import annotations

import numpy as np

from ridelog.channels import TRANSPORT
from ridelog.intervals import runs
from ridelog.quality.scene import Scene
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details

MOTION = ("gps_speed_mps", "wheel_speed_mps", "lat_deg", "lon_deg")
ENGINE = ("engine_rpm", "throttle_pct", "coolant_c", "ignition_deg", "injector_ms")


def find(scene: Scene) -> list[QualityMark]:
    """Marks on the channels of motion (see the module)."""
    rpm, speed = scene.maybe("engine_rpm"), _speed(scene)
    if rpm is None or speed is None:
        return []
    with np.errstate(invalid="ignore"):
        turning = rpm > 0.0
        rolling = speed > TRANSPORT.rolling_mps
        carried = (rpm == 0.0) & rolling
    marks: list[QualityMark] = []
    for first, past in _joined(carried, turning):
        mean = float(np.nanmean(speed[first:past]))
        if past - first >= TRANSPORT.shortest_s and mean >= TRANSPORT.mean_mps:
            marks.extend(_judge(scene, first, past, mean))
    return [*marks, *_silent(scene, rolling)]


def _silent(scene: Scene, rolling: BoolArray) -> list[QualityMark]:
    """The whole engine side says nothing while the bike moves on: ignition off in a van, or a link that broke."""
    told = np.zeros(rolling.size, dtype=np.bool_)
    for name in ENGINE:
        values = scene.maybe(name)
        if values is not None:
            told |= np.isfinite(values)
    marks: list[QualityMark] = []
    for first, past in _joined(rolling & ~told, told):
        if past - first >= TRANSPORT.shortest_s:
            mask = np.zeros(rolling.size, dtype=np.bool_)
            mask[first:past] = True
            detail = doubt_details.nothing_of_engine((past - first) / 60.0)
            marks.extend(scene.marks(mask, MOTION[:2], "transport_or_rpm_lost", detail, "kept"))
    return marks


def _speed(scene: Scene) -> FloatArray | None:
    """Ground speed: a bike on a trailer has a wheel that stands, so the satellites come first."""
    gps, wheel = scene.maybe("gps_speed_mps"), scene.maybe("wheel_speed_mps")
    if gps is None or wheel is None:
        return gps if gps is not None else wheel
    return np.where(np.isfinite(gps), gps, wheel)


def _joined(carried: BoolArray, turning: BoolArray) -> list[tuple[int, int]]:
    """Runs, joined over pauses in which the engine never turned."""
    joined: list[tuple[int, int]] = []
    for first, past in runs(carried):
        if joined:
            last = joined[-1][1]
            if first - last <= TRANSPORT.pause_s and not bool(turning[last:first].any()):
                joined[-1] = (joined[-1][0], past)
                continue
        joined.append((first, past))
    return joined


def _judge(scene: Scene, first: int, past: int, mean_mps: float) -> list[QualityMark]:
    mask = np.zeros(scene.t_s.size, dtype=np.bool_)
    mask[first:past] = True
    minutes = (scene.t_s[past - 1] - scene.t_s[first]) / 60.0
    seen = doubt_details.engine_at_zero(3.6 * mean_mps, minutes)
    moved = _span(scene, "throttle_pct", first, past)
    warmed = _gain(scene, "coolant_c", first, past)
    if moved > TRANSPORT.throttle_moves_pct or warmed > TRANSPORT.coolant_rise_c:
        why = (
            doubt_details.throttle_moves(moved)
            if moved > TRANSPORT.throttle_moves_pct
            else (doubt_details.coolant_warms(warmed))
        )
        detail = doubt_details.engine_ran(seen, why)
        return scene.marks(mask, ("engine_rpm",), "rpm_lost", detail)
    if not scene.has("throttle_pct") and not scene.has("coolant_c") and scene.traces["engine_rpm"].high <= 0.0:
        detail = doubt_details.no_engine_speed(seen)
        return scene.marks(mask, ("engine_rpm",), "transport_or_rpm_lost", detail, "kept")
    height = _known(scene, "elevation_m", first, past)
    fell = float(height[-1] - height[0]) if height.size >= 2 else 0.0
    rolled = fell / (mean_mps * (past - first)) < TRANSPORT.coasting_grade
    if rolled or (height.size < 2 and past - first < TRANSPORT.no_height_s):
        where = doubt_details.downhill(-fell) if rolled else doubt_details.HEIGHT_UNKNOWN
        detail = doubt_details.carried_or_rolled(seen, where)
        return scene.marks(mask, ("gps_speed_mps", "wheel_speed_mps"), "transport_or_coasting", detail, "kept")
    detail = doubt_details.carried(seen)
    return scene.marks(mask, MOTION, "transport", detail)


def _known(scene: Scene, name: str, first: int, past: int) -> FloatArray:
    values = scene.maybe(name)
    if values is None:
        return np.zeros(0)
    return np.asarray(values[first:past][np.isfinite(values[first:past])], dtype=np.float64)


def _span(scene: Scene, name: str, first: int, past: int) -> float:
    known = _known(scene, name, first, past)
    return float(np.quantile(known, 0.95) - np.quantile(known, 0.05)) if known.size >= 20 else 0.0


def _gain(scene: Scene, name: str, first: int, past: int) -> float:
    """How far the coolant rose from its lowest point; the first five minutes are heat soak and do not count."""
    known = _known(scene, name, first + 300, past)
    return float(known[-1] - known.min()) if known.size >= 20 else 0.0
