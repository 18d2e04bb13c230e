"""The heat balance of a ride: from the grid to a fit, its figures, and what it says of the ride.

Whether a ride can be fitted is settled here, with the reason where it can't.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ridelog import results
from ridelog.analysis import filters, motion, roadload, thermal, thermal_fit, thermal_prior, thermal_use
from ridelog.analysis.thermal import Conditions, Plant
from ridelog.analysis.thermal_fit import Fitted, Prior
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analysis.thermal_use import Drawn
from ridelog.analyze_drive import Drive, Scene
from ridelog.bike import Bike
from ridelog.results import Band, CoolingAt, FloatArray, Heat
from ridelog.ride import Ride
from ridelog.words import doubts as reasons

COLD_BELOW_C = 45.0
COLD_RISE_C = 20.0
COLD_WITHIN_S = 90.0
"""A coolant that reads under 45 C in the first 90 s and then rises by 20 C began near the air's temperature."""

AMBIENT_SD_C = {"given by hand": 1.0, "logged": 1.0, "cold start": 3.0}
"""How far the air at the radiator is off what was told. Common practice, no source."""

COARSEST_C = 4.0
"""A sensor of coarser steps shows a warm-up in a dozen readings: not fitted."""

LEAST_SPREAD_MPS = 1.0
LEAST_LOAD_SPREAD = 0.15
TELLING_SHARE = 0.75
"""A fit that leaves both heat and flow over three quarters as uncertain as before the ride has told nothing."""

FIRM_ROLLING = 0.04
"""Rolling resistance of firm ground, where power has to be taken from motion alone. A band of 0.015 to 0.08 is
published for roads and hard dirt."""

OVERRUN_OPENING, OVERRUN_SHARE, OVERRUN_TURNING = 0.03, 0.5, 0.35
"""Turned by the wheel with the throttle shut, an engine makes half its idling load (or has its fuel cut). Assumed."""

LAPSE_C_PER_M = 0.0065

PLAIN = ("pace", "fan", "opens_c", "ambient_c")
"""Parameters that are not kept as logarithms."""

UNFITTED_ERROR_C = 4.0
"""What the balance misses by on a ride it was not fitted to, linked over minutes."""


@dataclass(frozen=True)
class Balance:
    """What later stages use. `drawn` is the ride under drawn parameters (None: not fitted, and no other rides to go
    by), `own` what other rides of the bike may use of the fit, `error_c` what the balance misses by."""

    heat: Heat
    drawn: Drawn | None = None
    own: RideFit | None = None
    basis: Literal["library", "bike", "default"] = "default"
    error_c: float = UNFITTED_ERROR_C


def plant_of(bike: Bike) -> Plant:
    """What the bike file fixes for the balance."""
    peak_rpm = bike.power_curve_rpm[int(np.argmax(bike.power_curve_kw))]
    return Plant(bike.peak_power_kw, peak_rpm, bike.fan_on_c, bike.thermostat_c)


@dataclass(frozen=True)
class Air:
    """Air temperature of the balance along the grid, and how good it is."""

    ambient_c: FloatArray
    source: str
    sd_c: float


def ambient(scene: Scene) -> Air | None:
    """As told or logged, else from a cold start; None where neither can be had. A single figure is carried over the
    ride's heights at the standard lapse rate."""
    grid, air = scene.grid, scene.air
    if air.ambient_source == "logged":
        logged = grid.channels["ambient_c"]
        known = np.isfinite(logged)
        filled = np.interp(grid.t_s, grid.t_s[known], logged[known])
        return Air(filled, "logged", AMBIENT_SD_C["logged"])
    value = air.known_ambient_c
    source = "given by hand"
    if value is None:
        value = _cold_start_c(grid.get("coolant_c"), grid.t_s)
        source = "cold start"
    if value is None:
        return None
    height = grid.get("elevation_m")
    lapse = np.zeros(grid.t_s.size)
    if height is not None:
        known = np.isfinite(height)
        filled = np.interp(grid.t_s, grid.t_s[known], height[known])
        lapse = LAPSE_C_PER_M * (filled - filled[0])
    return Air(value - lapse, source, AMBIENT_SD_C[source])


def _cold_start_c(coolant_c: FloatArray | None, t_s: FloatArray) -> float | None:
    if coolant_c is None:
        return None
    early = np.flatnonzero(np.isfinite(coolant_c) & (t_s <= COLD_WITHIN_S))
    if early.size == 0:
        return None
    first = float(coolant_c[early[: max(1, early.size // 10)]].mean())
    later = coolant_c[np.isfinite(coolant_c)]
    return first if first < COLD_BELOW_C and float(later.max()) - first >= COLD_RISE_C else None


def conditions(
    scene: Scene, driven: Drive, air: Air, map_conservative: FloatArray | None
) -> tuple[Conditions, str] | str:
    """The ride step by step and where its power comes from, or why there is none."""
    grid, bike = scene.grid, scene.bike
    rpm = grid.get("engine_rpm")
    if bike is None:
        return reasons.HEAT_WITHOUT_BIKE
    if rpm is None:
        return reasons.HEAT_WITHOUT_ENGINE_SPEED
    if scene.moved is None:
        return reasons.HEAT_WITHOUT_SPEED
    plant = plant_of(bike)
    if driven.power_w is not None:
        power, source = driven.power_w / 1000.0, "throttle"
        overrun = (driven.opening < OVERRUN_OPENING) if driven.opening is not None else np.zeros(rpm.size, np.bool_)
    else:
        power, source = _power_from_motion(scene, scene.moved, bike), "motion"
        overrun = power <= 0.0
    overrun &= rpm > OVERRUN_TURNING * plant.peak_rpm
    turning = rpm / plant.peak_rpm * np.where(overrun, OVERRUN_SHARE, 1.0)
    size = round(thermal.STEP_S / grid.step_s)

    def steps(values: FloatArray) -> FloatArray:
        return filters.block_mean(values, size, (size + 1) // 2)

    fan = grid.get("fan_on")
    used = map_conservative if map_conservative is not None else np.full(grid.t_s.size, np.nan)
    coolant = grid.get("coolant_c")
    count = -(-grid.t_s.size // size)
    ride = Conditions(
        t_s=np.arange(count, dtype=np.float64) * thermal.STEP_S,
        # The coolant at the step's start, the rest as means over the step.
        coolant_c=coolant[::size] if coolant is not None else np.full(count, np.nan),
        power_kw=steps(np.maximum(power, 0.0)),
        turning=steps(turning),
        speed_mps=steps(scene.moved.speed_mps),
        ambient_c=steps(air.ambient_c),
        running=np.nan_to_num(steps((rpm > 0.0).astype(np.float64))) > 0.5,
        fan_logged=steps(fan) if fan is not None else None,
        conservative=np.round(steps(used)),
    )
    return ride, source


def _power_from_motion(scene: Scene, moved: motion.Motion, bike: Bike) -> FloatArray:
    """Least power the motion takes on firm ground, kW: for logs without a usable throttle."""
    grade = np.nan_to_num(scene.slope.grade) if scene.slope is not None else np.zeros(scene.grid.t_s.size)
    radius_m = bike.tyre_circumference_m / (2.0 * math.pi)
    force = roadload.force_n(
        bike.total_kg,
        rolling=FIRM_ROLLING,
        grade=grade,
        rotating=float(roadload.rotating_factor(bike.total_kg, radius_m, float(np.median(bike.overall_ratios)))),
        acceleration_mps2=moved.acceleration_mps2,
        air=roadload.air_n(scene.air.density, bike.drag_area_m2, moved.speed_mps),
    )
    return np.asarray(force * moved.speed_mps / bike.driveline_efficiency / 1000.0, dtype=np.float64)


def balance(
    scene: Scene,
    driven: Drive,
    ride: Ride,
    map_conservative: FloatArray | None,
    others: Sequence[RideFit],
    *,
    full: bool = True,
) -> Balance:
    """Fit the ride, or say why not; with other rides of the bike to go by, estimates need no fit of the ride itself.

    `full` false leaves out everything but the fit."""
    air = ambient(scene)
    if air is None:
        return Balance(Heat(False, reasons.NO_AIR_TEMPERATURE))
    made = conditions(scene, driven, air, map_conservative)
    if isinstance(made, str) or scene.bike is None:
        return Balance(Heat(False, str(made)))
    steps, source = made
    plant = plant_of(scene.bike)
    both = bool((steps.conservative > 0.0).any() and (steps.conservative == 0.0).any())
    base = thermal_prior.default_prior(plant, ratio=scene.bike.heat_ratio, map_seen=both, ambient_sd_c=air.sd_c)
    prior = thermal_prior.pooled(others, base, may_be_faulty=True) if others else base
    starts = thermal_fit.window_starts(steps)
    basis: Literal["bike", "default"] = "bike" if scene.bike.heat_ratio is not None else "default"
    reason = _not_fit(ride, steps, starts)
    if reason is None:
        task = Task(plant, steps, prior, starts, ride.channels["coolant_c"].resolution or 0.0)
        fitted = task.fit()
        reason = _nothing_told(fitted, prior) or _no_better(fitted, task)
    if reason is not None:
        heat = Heat(False, reason, baseline_rides=len(others), load_source=source)
        if not others:
            return Balance(heat, basis=basis)
        healthy = thermal_prior.pooled(others, base, may_be_faulty=False)
        drawn = Drawn(plant, steps, thermal_use.draws(healthy.mean, _with_ratio(healthy.covariance, healthy)))
        if starts.size:
            heat = replace(
                heat,
                estimates_miss_c=_miss_c(plant, steps, healthy.mean, starts),
                persistence_rmse_c=_stays_c(steps, starts),
            )
        return Balance(heat, drawn, basis=basis)
    own = thermal_prior.kept(ride.id, fitted, prior)
    if not full:
        return Balance(Heat(True, None), None, own)
    drawn = Drawn(plant, steps, thermal_use.draws(fitted.theta, _with_ratio(fitted.covariance, prior)))
    heat = replace(
        _heat(task, fitted, drawn),
        baseline_rides=len(others),
        ambient_source=air.source,
        load_source=source,
    )
    return Balance(heat, drawn, own, basis, fitted.error_c)


@dataclass(frozen=True)
class Task:
    """One ride to be fitted: from where, over which windows, with which prior."""

    plant: Plant
    steps: Conditions
    prior: Prior
    starts: thermal.IndexArray
    resolution_c: float

    def fit(self, near: FloatArray | None = None) -> Fitted:
        """The fit over all windows."""
        return thermal_fit.fit(self.plant, self.steps, self.prior, self.starts, self.resolution_c, near=near)

    def stays_c(self) -> float:
        """Error after a minute of a coolant that stays as it is."""
        return _stays_c(self.steps, self.starts)


def _stays_c(steps: Conditions, starts: thermal.IndexArray) -> float:
    ahead_c = steps.coolant_c[starts + thermal_fit.WINDOW_STEPS]
    return float(np.sqrt(((steps.coolant_c[starts] - ahead_c) ** 2).mean()))


def _miss_c(plant: Plant, steps: Conditions, theta: FloatArray, starts: thermal.IndexArray) -> float:
    """Error after a minute of the balance at `theta`, from each window's own reading."""
    reach = thermal_fit.WINDOW_STEPS
    path = thermal.march(plant, theta[None], steps, thermal.Windows(starts, reach, steps.coolant_c[starts]))[-1, 0]
    return float(np.sqrt(((path - steps.coolant_c[starts + reach]) ** 2).mean()))


def _with_ratio(covariance: FloatArray, prior: Prior) -> FloatArray:
    """The covariance with the spread of the map's effect, which is not fitted where the ride shows only one map."""
    whole = covariance.copy()
    if prior.covariance[thermal.KAPPA, thermal.KAPPA] == 0.0:
        whole[thermal.KAPPA, thermal.KAPPA] = prior.ratio_sd**2
    return whole


def own_fit(scene: Scene, driven: Drive, ride: Ride, map_conservative: FloatArray | None) -> RideFit | None:
    """The fit alone, from the default prior; None where the ride can't be fitted."""
    return balance(scene, driven, ride, map_conservative, (), full=False).own


def _not_fit(ride: Ride, steps: Conditions, starts: thermal.IndexArray) -> str | None:
    info = ride.channels.get("coolant_c")
    if info is None or not np.isfinite(steps.coolant_c).any():
        marks = sorted(
            {mark.kind for mark in ride.quality if mark.channel == "coolant_c" and mark.action == "excluded"}
        )
        return reasons.no_coolant_to_fit(marks)
    if info.resolution is not None and info.resolution >= COARSEST_C:
        return reasons.too_coarse(info.resolution)
    if starts.size < thermal_fit.LEAST_WINDOWS:
        need_s = thermal.STEP_S * (thermal_fit.LEAST_WINDOWS * thermal_fit.EVERY_STEPS + thermal_fit.WINDOW_STEPS)
        return reasons.too_short(starts.size, thermal_fit.LEAST_WINDOWS, need_s / 60.0)
    inside = np.zeros(steps.t_s.size, dtype=np.bool_)
    for first in starts:
        inside[first : first + thermal_fit.WINDOW_STEPS] = True
    speed, power = steps.speed_mps[inside], steps.power_kw[inside]
    steady = float(speed.std()) < LEAST_SPREAD_MPS
    if steady and float(power.std()) < LEAST_LOAD_SPREAD * max(float(power.mean()), 1.0):
        return reasons.NO_VARIATION
    return None


def _no_better(fitted: Fitted, task: Task) -> str | None:
    """A sensor that does not follow the engine can still be fitted, but not foretold."""
    stays_c = task.stays_c()
    if fitted.error_c < stays_c:
        return None
    return reasons.foretells_nothing(fitted.error_c, stays_c)


def _nothing_told(fitted: Fitted, prior: Prior) -> str | None:
    left = np.sqrt(np.diag(fitted.covariance)[[thermal.HEAT, thermal.FLOW]])
    before = np.sqrt(np.diag(prior.covariance)[[thermal.HEAT, thermal.FLOW]])
    if bool((left > TELLING_SHARE * before).all()):
        return reasons.NOTHING_TOLD
    return None


def _band(values: FloatArray) -> Band:
    low, high = np.quantile(values[1:], [0.025, 0.975])
    return Band(float(values[0]), float(min(low, values[0])), float(max(high, values[0])))


def _heat(task: Task, fitted: Fitted, drawn: Drawn) -> Heat:
    figures = thermal_use.figures(drawn.thetas)
    cooling = tuple(
        CoolingAt(speed, _band(figures.cooling_per_s[:, n])) for n, speed in enumerate(thermal_use.SPEEDS_MPS)
    )
    before = np.diag(task.prior.covariance)
    free = {name: n for n, name in enumerate(thermal.NAMES) if before[n] > 0.0}
    hold_c, stays_c = _holdout(task, fitted.theta)
    air_c = float(np.nanmean(task.steps.ambient_c)) + drawn.thetas[:, thermal.AMBIENT]
    return Heat(
        fitted=True,
        reason=None,
        heat_input=_band(figures.heat_input),
        cooling=cooling,
        fan_step_per_s=_band(figures.fan_step_per_s) if task.plant.fan_on_c is not None else None,
        time_constant_s=_band(figures.time_constant_s),
        rmse_c=fitted.error_c,
        holdout_rmse_c=hold_c,
        persistence_rmse_c=stays_c,
        map_ratio=_band(figures.ratio),
        ambient_c=_band(air_c),
        windows=fitted.windows,
        parameters={
            name: _band(drawn.thetas[:, n] if name in PLAIN else np.exp(drawn.thetas[:, n])) for name, n in free.items()
        },
        from_prior={name: float(min(1.0, fitted.covariance[n, n] / before[n])) for name, n in free.items()},
    )


def _holdout(task: Task, near: FloatArray) -> tuple[float | None, float]:
    """Error after 60 s of each half predicted by a fit to the other, and that of a coolant that stays as it is."""
    reach, coolant_c = thermal_fit.WINDOW_STEPS, task.steps.coolant_c
    stays_c = task.stays_c()
    middle = task.starts.size // 2
    halves = (task.starts[:middle], task.starts[middle:])
    if min(half.size for half in halves) < thermal_fit.LEAST_WINDOWS:
        return None, stays_c
    squares = []
    for learned, there in (halves, halves[::-1]):
        # Windows that reach over the middle are in neither half.
        here = learned[(learned + reach < there[0]) | (learned > there[-1] + reach)]
        theta = replace(task, starts=here).fit(near).theta
        told = thermal_fit.thinned(there)
        windows = thermal.Windows(told, reach, coolant_c[told])
        path = thermal.march(task.plant, theta[None], task.steps, windows)[-1, 0]
        squares.append((path - coolant_c[told + reach]) ** 2)
    return float(np.sqrt(np.concatenate(squares).mean())), stays_c


def prior_hash(others: Sequence[RideFit]) -> str | None:
    """SHA-256 over the rides a prior came from, their days' air and their fits; None without any."""
    if not others:
        return None
    digest = hashlib.sha256()
    for one in others:
        digest.update(f"{one.ride}\n{one.other or ''}\n{one.day or ''}\n{one.air_c!r}\n".encode())
        for values in (one.theta, one.information, one.prior_mean, one.prior_covariance):
            digest.update(np.ascontiguousarray(values, dtype="<f8").tobytes())
    return digest.hexdigest()


def prior_of(others: Sequence[RideFit]) -> results.Prior:
    """The rides a fit's starting knowledge came from, as the result names them."""
    build = tuple(one.ride for one in others if one.other not in (None, thermal_prior.ACROSS_SERVICE))
    level: Literal["bike", "build", "default"] = "build" if build else "bike" if others else "default"
    return results.Prior(
        rides=tuple(one.ride for one in others),
        hash=prior_hash(others),
        level=level,
        same_build=build,
        across_service=tuple(one.ride for one in others if one.other == thermal_prior.ACROSS_SERVICE),
    )
