"""The rider and the machine along the course: forces, gears, clutch, wheel slip, throttle. A force balance in time.

The force balance is that of any vehicle-dynamics textbook; how a rider shifts, slips the clutch and works the throttle
is assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from plant.air import LAPSE, P0, R_AIR, T0, G, density
from plant.course import GROUNDS, STEP_M, Course, Ground
from plant.engine import IDLE_RPM, Engine

Array = npt.NDArray[np.float64]
DT = 0.04
"""Time step of the drive, s (25 Hz)."""
GRID_RPM = 100.0
GRID_THROTTLE = 50


@dataclass(frozen=True)
class Drive:
    """What happened, one entry per DT: SI units, throttle 0..1, rpm in 1/min, `gear` 0 in neutral."""

    t_s: Array
    s_m: Array
    v_mps: Array
    air_mps: Array
    rpm: Array
    throttle: Array
    gear: npt.NDArray[np.int64]
    brake_n: Array
    slip: Array
    engine_on: npt.NDArray[np.bool_]
    conservative: npt.NDArray[np.bool_]
    elevation_m: Array
    ground: npt.NDArray[np.int64]
    """Index into course.GROUNDS, -1 at a standstill with the engine on, -2 with it off."""
    drag: Array
    grade_sine: Array


class _Torque:
    """Torque tables in plain lists: indicated torque in standard air per map, friction, and their inverse."""

    def __init__(self, engine: Engine) -> None:
        rpm = np.arange(500.0, engine.rev_limit + 1500.0, GRID_RPM)
        throttle = np.linspace(0.0, 1.0, GRID_THROTTLE + 1)
        speed, opening = np.meshgrid(rpm, throttle, indexing="ij")
        flat = [engine.indicated_nm(speed.ravel(), opening.ravel(), c).reshape(speed.shape) for c in (False, True)]
        self.made = [np.maximum.accumulate(table, axis=1).tolist() for table in flat]
        self.lost = engine.friction_nm(rpm).tolist()
        self.last = len(rpm) - 2

    def at(self, rpm: float, throttle: float, conservative: bool) -> tuple[float, float]:
        """(indicated torque in standard air, friction torque) in N m."""
        x = (rpm - 500.0) / GRID_RPM
        i = min(max(int(x), 0), self.last)
        f = min(max(x - i, 0.0), 1.0)
        y = throttle * GRID_THROTTLE
        j = min(int(y), GRID_THROTTLE - 1)
        g = y - j
        low, high = self.made[conservative][i], self.made[conservative][i + 1]
        a = low[j] + g * (low[j + 1] - low[j])
        b = high[j] + g * (high[j + 1] - high[j])
        return a + f * (b - a), self.lost[i] + f * (self.lost[i + 1] - self.lost[i])

    def throttle_for(self, rpm: float, indicated: float, conservative: bool) -> float:
        """Throttle that makes an indicated torque (nearest speed of the table), 1 where none does."""
        i = min(max(int((rpm - 500.0) / GRID_RPM + 0.5), 0), self.last)
        row = self.made[conservative][i]
        if indicated <= row[0]:
            return 0.0
        if indicated >= row[-1]:
            return 1.0
        low, high = 0, GRID_THROTTLE
        while high - low > 1:
            middle = (low + high) // 2
            if row[middle] < indicated:
                low = middle
            else:
                high = middle
        share = (indicated - row[low]) / max(row[high] - row[low], 1e-9)
        return float(low + share) / GRID_THROTTLE


class _Rider:
    """Bike and rider in motion: the state that one step hands to the next."""

    def __init__(self, engine: Engine, eager: float) -> None:
        m = engine.machine
        self.engine, self.m, self.eager = engine, m, eager
        self.torque = _Torque(engine)
        ratios = [m.bike.primary * gear * m.bike.final for gear in m.bike.gears]
        radius = m.circumference_m / (2.0 * math.pi)
        self.per_mps = [60.0 * ratio / m.circumference_m for ratio in ratios]
        self.mass = [m.mass_kg + (1.1 + 0.004 * ratio**2) / radius**2 for ratio in ratios]
        self.unit = [ratio * m.efficiency / radius for ratio in ratios]
        self.weight = m.mass_kg * G
        self.s = self.v = self.throttle = self.brake = self.slip = 0.0
        self.rpm, self.gear = IDLE_RPM, 0
        self.shifting, self.since_shift = 0.0, 9.0
        self.surging = False

    def stand(self, off: bool, sway: float) -> None:
        """A step at a halt, engine idling or running down."""
        self.v = self.slip = self.throttle = self.brake = 0.0
        self.gear = 0
        goal = 0.0 if off else IDLE_RPM + 45.0 * sway
        self.rpm += (goal - self.rpm) * min(DT / (0.5 if off else 0.25), 1.0)
        if off and self.rpm < 60.0:
            self.rpm = 0.0

    def _wanted_gain(self, ground: Ground, target: float, sway: float) -> float:
        """Acceleration the rider asks for, m/s2."""
        if not ground.surge or target <= 3.0:
            want = min(max(self.eager * (target - self.v) / 0.6, -4.5), 3.2 * self.eager)
            return want + sway * min(self.v / 4.0, 1.0)
        if self.v < target - 0.7:
            self.surging = True
        elif self.v > target + 0.6:
            self.surging = False
        return 1.7 * self.eager if self.surging else -1.3

    def _shift(self, ground: Ground, target: float, wanted: float) -> None:
        """Change gear where speed, throttle and ground call for it."""
        peak, v, gear = self.engine.peak_rpm, self.v, self.gear
        free = v * self.per_mps[gear]
        up = min(ground.shift_up * peak + (0.30 * peak if wanted > 0.8 else 0.0), 0.97 * self.engine.rev_limit)
        if gear < len(self.per_mps) - 1 and free > up and self.since_shift > 1.0 and self.slip < 0.4:
            self.gear, self.shifting, self.since_shift = gear + 1, 0.18, 0.0
        elif gear > 0 and self.since_shift > 0.6:
            room = (0.88 if v < target - 0.8 else 0.7) * peak
            if free < 0.40 * peak or (wanted > 0.92 and v * self.per_mps[gear - 1] < room):
                self.gear, self.shifting, self.since_shift = gear - 1, 0.15, 0.0

    def _clutched(self, drive_nm: float, spin: float) -> float:
        """Torque that passes the clutch; moves the engine's speed to what wheel or slipping clutch demand."""
        bite = 2300.0 + 2700.0 * self.throttle
        goal = min(spin, self.engine.rev_limit + 150.0)
        if spin < bite:
            drive_nm = max(drive_nm, 0.0) if self.throttle > 0.02 else 0.0
            goal = bite if self.throttle > 0.02 else max(IDLE_RPM, spin)
        self.rpm += (goal - self.rpm) * DT / (0.07 if self.rpm < goal else 0.12)
        return 0.0 if self.shifting > 0.0 else drive_nm

    def move(self, here: _Place, target: float, sway: float, conservative: bool) -> None:
        """A step in motion: want, throttle, gear, clutch, slip, forces."""
        v, gear = self.v, self.gear
        cosine = math.sqrt(1.0 - here.sine * here.sine)
        wind = v + here.headwind
        resist = here.drag * self.weight * cosine + self.weight * here.sine
        resist += 0.5 * here.air * self.m.drag_area_m2 * wind * abs(wind)
        want = self._wanted_gain(here.ground, target, sway)
        held = here.ground.grip * self.weight * (cosine + 0.25 * max(here.sine, 0.0)) * 0.80
        need = min(self.mass[gear] * want + resist, 0.86 * held)
        unit, scale = self.unit[gear], here.air / _RHO0
        made, lost = self.torque.at(self.rpm, self.throttle, conservative)
        self.since_shift += DT
        wanted = 0.0
        if self.shifting > 0.0:
            self.shifting -= DT
        else:
            if need > 0.0:
                wanted = self.torque.throttle_for(self.rpm, (need / unit + lost) / scale, conservative)
            self._shift(here.ground, target, wanted)
        self.throttle += (wanted - self.throttle) * DT / 0.12
        if self.rpm > self.engine.rev_limit:
            made = 0.0
        drive_nm = self._clutched(made * scale - lost, v * (1.0 + self.slip) * self.per_mps[self.gear])
        force = min(drive_nm * unit, 0.95 * held)
        x = abs(force) / held
        self.slip += (here.ground.slip * x / (1.0 - min(x, 0.95)) - self.slip) * DT / 0.10
        self.brake = 0.0
        if need < force and want < 0.2:
            self.brake = min(force - max(need, -0.75 * self.weight), 0.7 * self.weight)
        # Below walking pace the rider's feet help.
        self.v = max(v + (force - self.brake - resist) / self.mass[self.gear] * DT, 0.3)
        self.s += self.v * DT


_RHO0 = P0 / (R_AIR * T0)


class _Place(NamedTuple):
    """Ground and air where the bike is."""

    ground: Ground
    sine: float
    drag: float
    headwind: float
    air: float


def drive(
    engine: Engine,
    course: Course,
    seed: int,
    duration_s: float,
    *,
    ambient_c: float,
    wind_mps: float,
    conservative: npt.NDArray[np.bool_] | None,
) -> Drive:
    """Ride the course for `duration_s`. `conservative` per step; None: switched in sand, a few seconds late."""
    rng = np.random.default_rng([seed, 23])
    steps = int(duration_s / DT) + 1
    plan = None if conservative is None else conservative.tolist()
    knots = int(duration_s / 8.0) + 4
    headwind = (wind_mps * np.interp(np.arange(steps) * DT, np.arange(knots) * 8.0, rng.normal(size=knots))).tolist()
    hand = rng.normal(0.0, 0.35, size=int(duration_s / 0.8) + 3).tolist()  # the rider's unsteadiness, m/s2
    sines, drags, targets = course.sine.tolist(), course.drag.tolist(), course.target_mps.tolist()
    kinds, heights = course.ground.tolist(), course.elevation_m.tolist()
    late = float(rng.uniform(2.0, 14.0))
    eager = float(rng.uniform(0.85, 1.25))  # how hard this rider opens the throttle on this day
    rider = _Rider(engine, eager)
    rows: list[tuple[float, ...]] = []
    on, slot = [True] * steps, [False] * steps
    holding, stop_index, off = float(rng.uniform(20.0, 70.0)), 0, False
    in_sand, air, last_point = 0.0, _RHO0, len(sines) - 2
    for k in range(steps):
        p = min(int(rider.s / STEP_M), last_point)
        kind, sway = kinds[p], hand[int(k * DT / 0.8)]
        if k % 50 == 0:
            air = density(heights[p], ambient_c - LAPSE * (heights[p] - heights[0]))
        if plan is None:
            in_sand = min(in_sand + DT, late + 15.0) if GROUNDS[kind].surge else max(in_sand - DT, 0.0)
            slot[k] = in_sand > late
        else:
            slot[k] = plan[k]
        wind, state, gear = rider.v + headwind[k], kind, 0.0
        if holding > 0.0:
            holding -= DT
            rider.stand(off, sway)
            state = -2 if off else -1
            on[k] = not off
            if holding <= 0.0:
                off = False
                rider.rpm = max(rider.rpm, 1200.0)
        else:
            ahead = targets[min(int((rider.s + 0.5 * rider.v) / STEP_M), last_point)]
            rider.move(_Place(GROUNDS[kind], sines[p], drags[p], headwind[k], air), ahead, sway, slot[k])
            gear = rider.gear + 1.0
            if stop_index < len(course.stops) and rider.s >= course.stops[stop_index].at_m - 2.0:
                holding, off = course.stops[stop_index].seconds, course.stops[stop_index].engine_off
                stop_index += 1
        rows.append(
            (
                rider.s,
                rider.v,
                wind,
                rider.rpm,
                rider.throttle,
                gear,
                rider.brake,
                rider.slip,
                state,
                drags[p],
                sines[p],
            )
        )
    s, v, wind_a, rpm, throttle, gears, brake, slip, states, drag, sine = np.array(rows).T.copy()
    return Drive(
        t_s=np.asarray(np.arange(steps) * DT, dtype=np.float64), s_m=s, v_mps=v, air_mps=np.abs(wind_a), rpm=rpm,
        throttle=throttle, gear=gears.astype(np.int64), brake_n=brake, slip=slip, engine_on=np.asarray(on),
        conservative=np.asarray(slot), elevation_m=_along(course, s), ground=states.astype(np.int64), drag=drag,
        grade_sine=sine,
    )  # fmt: skip


def _along(course: Course, s: Array) -> Array:
    """Height at each place, between the course's points."""
    return np.interp(s, np.arange(len(course.elevation_m)) * STEP_M, course.elevation_m)
