"""Throttle, gears, power and terrain drag of a ride: the stages that need the bike file, put together."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from ridelog.analysis import drivetrain, load, motion, roadload, shapes, terrain
from ridelog.analysis import throttle as throttle_stops
from ridelog.analyze_inputs import Air, Ground
from ridelog.bike import Bike
from ridelog.channels import THROTTLE_ZERO
from ridelog.grid import Grid
from ridelog.results import BoolArray, CannotTell, FloatArray
from ridelog.ride import Ride
from ridelog.words import doubts as reasons


@dataclass
class Doubts:
    """What can't be told, and which defaults stood in for something; gathered along the way."""

    cannot_tell: list[CannotTell] = field(default_factory=list)
    defaults: list[str] = field(default_factory=list)

    def say(self, question: str, reason: str) -> None:
        """Note a question the log can't answer, with what would settle it."""
        self.cannot_tell.append(CannotTell(question, reason))


@dataclass(frozen=True)
class Scene:
    """What the stages work on: the grid, how the bike moved over it, and the air. None where the ride does not have
    it. `stop_moves_s`: when the throttle's closed stop moved."""

    grid: Grid
    ground: Ground | None
    moved: motion.Motion | None
    slope: motion.Grade | None
    air: Air
    bike: Bike | None
    stop_moves_s: tuple[float, ...] = ()


@dataclass(frozen=True)
class Gearing:
    """Gears on the grid and where the clutch is home; `learned` ratios of the log itself, (1/min)/(m/s); `factor`: the
    log's ratios over the bike file's, None where they can't be compared."""

    gears: drivetrain.Gears | None = None
    home: BoolArray | None = None
    learned: tuple[float, ...] = ()
    factor: float | None = None
    slip: FloatArray | None = None


@dataclass(frozen=True)
class Drive:
    """Throttle, gears and power on the grid; None where the ride or the bike file does not allow them. `stops` are
    those of the first stretch, `stretches` the start (s) and stops of each where the closed stop moved."""

    stops: throttle_stops.Stops | None
    opening: FloatArray | None
    gearing: Gearing
    power_w: FloatArray | None
    stretches: tuple[tuple[float, throttle_stops.Stops], ...] = ()

    def stops_found(self) -> dict[str, Any] | None:
        """The stops for the facts of a result."""
        if self.stops is None:
            return None
        found = asdict(self.stops)
        if self.stretches:
            found["stretches"] = [{"start_s": start_s, **asdict(stops)} for start_s, stops in self.stretches]
        return found


def stop_moves_s(ride: Ride) -> tuple[float, ...]:
    """When the throttle's closed stop moved, from the ride's marks, in order of time, s."""
    marks = (mark for mark in ride.quality if mark.kind == "throttle_zero" and mark.channel == "throttle_pct")
    return tuple(sorted({mark.start_s for mark in marks}))


def drive(scene: Scene, doubts: Doubts) -> Drive:
    """Learn the throttle's stops, tell the gears, and work out brake power."""
    rpm, pedal = scene.grid.get("engine_rpm"), scene.grid.get("throttle_pct")
    if pedal is not None and not _is_an_opening(scene, pedal, rpm, doubts):
        pedal = None
    stops, opening, stretches = _stops(scene, pedal)
    if stops is not None and not stops.open_learned:
        doubts.say("throttle_stop", reasons.never_open(stops.open_pct))
    gearing = _gearing(scene, rpm, doubts)
    power = None
    bike = scene.bike
    if bike is not None and rpm is not None and opening is not None:
        power = load.brake_power_w(rpm, opening, bike.power_curve_rpm, bike.power_curve_kw, scene.air.density)
        if gearing.home is not None:
            # With the clutch in nothing drives the engine, so it can't brake: idling gives no power and takes none.
            power = np.where(gearing.home, power, np.maximum(power, 0.0))
    return Drive(stops, opening, gearing, power, stretches)


def _stops(
    scene: Scene, pedal: FloatArray | None
) -> tuple[throttle_stops.Stops | None, FloatArray | None, tuple[tuple[float, throttle_stops.Stops], ...]]:
    if pedal is None:
        return None, None, ()
    size = pedal.size
    cuts = sorted({int(cut) for cut in np.searchsorted(scene.grid.t_s, scene.stop_moves_s) if 0 < cut < size})
    if not cuts:
        stops = throttle_stops.learn_stops(pedal, scene.grid.step_s)
        return stops, stops.opening(pedal), ()
    starts = [0, *cuts]
    each, opening = throttle_stops.learn_stretches(pedal, scene.grid.step_s, starts, THROTTLE_ZERO.block_s)
    begin_s = [float(scene.grid.t_s[start]) for start in starts]
    return each[0], opening, tuple(zip(begin_s, each, strict=True))


def _is_an_opening(scene: Scene, pedal: FloatArray, rpm: FloatArray | None, doubts: Doubts) -> bool:
    if rpm is None or scene.moved is None:
        return True
    at_idle = throttle_stops.reading_at_idle(pedal, rpm, scene.moved.speed_mps, scene.grid.step_s)
    if at_idle is None or at_idle < throttle_stops.IDLE_OPENING_PCT:
        return True
    doubts.say("wide_open", reasons.not_an_opening(at_idle))
    return False


def _gearing(scene: Scene, rpm: FloatArray | None, doubts: Doubts) -> Gearing:
    moved = scene.moved
    if rpm is None or moved is None:
        return Gearing()
    wheel, logged = scene.grid.get("wheel_speed_mps"), scene.grid.get("gear")
    turning = wheel if wheel is not None else moved.speed_mps
    step_s = scene.grid.step_s
    steady = drivetrain.steady_log_ratio(rpm, turning, step_s)
    learned = drivetrain.learn_ratios(steady, step_s)
    ratios, source, factor = _ratios(scene.bike, learned, steady, step_s, doubts)
    gears = home = None
    if ratios:
        gears = drivetrain.find_gears(rpm, turning, ratios, source, gripping=wheel is not None)
        home = drivetrain.clutch_home(gears.gear)
    if logged is not None:
        # A logged gear stays in when the clutch is pulled; whether it drives is read from the ratio where there is one.
        in_gear = drivetrain.clutch_home(logged) | ~np.isfinite(logged)
        home = in_gear & (home if home is not None else np.isfinite(logged))
        found = gears.gear if gears is not None else logged
        gears = drivetrain.Gears(np.where(np.isfinite(logged), np.round(logged), found), ratios, "logged")
    return Gearing(gears, home, learned, factor, _slip(scene, rpm, wheel, gears))


def _ratios(
    bike: Bike | None, learned: tuple[float, ...], steady: FloatArray, step_s: float, doubts: Doubts
) -> tuple[tuple[float, ...], str, float | None]:
    """Ratios to tell gears by: the bike file's, slid to where the log has them; else the log's own."""
    if bike is None:
        if not learned:
            doubts.say("gear", reasons.NO_RATIO)
        return learned, "log", None
    check = drivetrain.check_gearing(steady, bike.rpm_per_mps, step_s)
    if check is None:
        return bike.rpm_per_mps, "bike file", None
    if check.agrees:
        return bike.rpm_per_mps, "bike file", check.factor
    doubts.say("gearing", reasons.gearing_off(check.factor))
    return tuple(check.factor * ratio for ratio in bike.rpm_per_mps), "bike file, slid to the log", check.factor


def _slip(scene: Scene, rpm: FloatArray, wheel: FloatArray | None, gears: drivetrain.Gears | None) -> FloatArray | None:
    """Slip where wheel and ground speed are both known, from a wheel sensor or from engine speed in a known gear."""
    if scene.moved is None or scene.ground is None or scene.ground.source == "wheel_speed_mps":
        return None
    if wheel is not None:
        return roadload.driving_slip(wheel, scene.moved.speed_mps)
    if gears is None or scene.bike is None or not gears.rpm_per_mps:
        return None
    # At walking pace the clutch slips, not the tyre.
    ground = np.where(scene.moved.speed_mps > drivetrain.SLOWEST_MPS, scene.moved.speed_mps, np.nan)
    return roadload.driving_slip(rpm / drivetrain.per_gear(gears.gear, gears.rpm_per_mps), ground)


def ground_drag(scene: Scene, driven: Drive, doubts: Doubts) -> shapes.Terrain | None:
    """Terrain drag, or None with the reason in `doubts`."""
    there = {
        "engine speed": scene.grid.get("engine_rpm") is not None,
        "throttle": driven.opening is not None,
        "ground speed": scene.moved is not None,
    }
    lacking = " and no usable ".join(name for name, present in there.items() if not present)
    bike, moved, gearing = scene.bike, scene.moved, driven.gearing
    if bike is None:
        doubts.say("heavy_drag", reasons.drag_without_bike(lacking))
        return None
    if moved is None or driven.power_w is None or driven.opening is None:
        doubts.say("heavy_drag", reasons.drag_lacks(lacking))
        return None
    if gearing.home is None or gearing.gears is None or not gearing.home.any():
        doubts.say("heavy_drag", reasons.NO_GEAR_FITS)
        return None
    radius_m = bike.tyre_circumference_m / (2.0 * math.pi)
    factors = roadload.rotating_factor(bike.total_kg, radius_m, np.array(bike.overall_ratios))
    return terrain.terrain(
        power_w=driven.power_w,
        speed_mps=moved.speed_mps,
        acceleration_mps2=moved.acceleration_mps2,
        grade=scene.slope.grade if scene.slope is not None else np.zeros(scene.grid.t_s.size),
        density_kg_per_m3=scene.air.density,
        where=pulling(scene, driven, moved),
        rotating_factor=drivetrain.per_gear(gearing.gears.gear, factors),
        mass_kg=bike.total_kg,
        drag_area_m2=bike.drag_area_m2,
        efficiency=bike.driveline_efficiency,
        peak_power_w=1000.0 * bike.peak_power_kw,
        step_s=scene.grid.step_s,
        window=moved.window,
    )


def pulling(scene: Scene, driven: Drive, moved: motion.Motion) -> BoolArray:
    """Where power and motion can be set side by side: in gear, clutch home, neither coasting nor
    braking, and the wheel on the ground."""
    gearing, rpm = driven.gearing, scene.grid.get("engine_rpm")
    if gearing.home is None or gearing.gears is None or driven.opening is None or rpm is None:
        return np.zeros(scene.grid.t_s.size, dtype=np.bool_)
    where = terrain.driven(moved.speed_mps, driven.opening, gearing.home, scene.grid.step_s, moved.window)
    ratio = drivetrain.per_gear(gearing.gears.gear, gearing.gears.rpm_per_mps)
    return np.asarray(where & ~drivetrain.unloaded(rpm, ratio, scene.grid.step_s), dtype=np.bool_)
