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

MOTION = ("gps_speed_mps", "wheel_speed_mps", "lat_deg", "lon_deg")


def find(scene: Scene) -> list[QualityMark]:
    """Marks on the channels of motion (see the module)."""
    rpm, speed = scene.maybe("engine_rpm"), _speed(scene)
    if rpm is None or speed is None or not bool((rpm == 0.0).any()):
        return []
    with np.errstate(invalid="ignore"):
        turning = rpm > 0.0
        carried = (rpm == 0.0) & (speed > TRANSPORT.rolling_mps)
    marks: list[QualityMark] = []
    for first, past in _joined(carried, turning):
        seconds = past - first
        mean = float(np.nanmean(speed[first:past]))
        if seconds >= TRANSPORT.shortest_s and mean >= TRANSPORT.mean_mps:
            marks.extend(_judge(scene, first, past, mean))
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
    seen = f"{3.6 * mean_mps:.0f} km/h on average for {minutes:.0f} min with an engine speed of 0"
    moved = _span(scene, "throttle_pct", first, past)
    warmed = _gain(scene, "coolant_c", first, past)
    if moved > TRANSPORT.throttle_moves_pct or warmed > TRANSPORT.coolant_rise_c:
        why = (
            f"the throttle moves by {moved:.0f} %"
            if moved > TRANSPORT.throttle_moves_pct
            else (f"the coolant warms by {warmed:.0f} C")
        )
        detail = f"{seen}, yet {why}: the engine ran and its speed was not logged. Check the engine speed lead"
        return scene.marks(mask, ("engine_rpm",), "rpm_lost", detail)
    if not scene.has("throttle_pct") and not scene.has("coolant_c") and scene.traces["engine_rpm"].high <= 0.0:
        detail = (
            f"{seen}, and never another in this log: whether the bike was carried or the engine speed lead was off "
            "can't be told. It counts as riding"
        )
        return scene.marks(mask, ("engine_rpm",), "transport_or_rpm_lost", detail, "kept")
    height = scene.maybe("elevation_m")
    if height is not None:
        fell = _end_to_end(height[first:past])
        if fell / (mean_mps * (past - first)) < TRANSPORT.coasting_grade:
            detail = (
                f"{seen}, {-fell:.0f} m downhill: whether the bike was carried or rolled can't be told. "
                "It counts as riding"
            )
            return scene.marks(mask, ("gps_speed_mps", "wheel_speed_mps"), "transport_or_coasting", detail, "kept")
    detail = f"{seen}: the bike was carried (van, trailer), or pulled. It does not count as riding"
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


def _end_to_end(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1] - known[0]) if known.size >= 2 else 0.0
