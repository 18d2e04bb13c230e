"""A seeded course: ground, slope and target speed over distance, and the stops along it. All values assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

STEP_M = 2.0
"""Spacing of the course's points."""


@dataclass(frozen=True)
class Ground:
    """One kind of section. Drag coefficients and slopes as bands; speeds in km/h; `corner_m` mean corner spacing."""

    name: str
    seconds: tuple[float, float]
    kmh: tuple[float, float]
    slow_share: tuple[float, float]
    corner_m: float
    drag: tuple[float, float]
    rough: float
    grade: tuple[float, float]
    grade_sd: float
    grip: float
    slip: float
    surge: bool
    shift_up: float
    weight: float


# Drag bands: hard road 0.015-0.02, dirt 0.05-0.08, sand 0.2-0.3: Carvill's data handbook and lecture tables for cars.
GROUNDS: tuple[Ground, ...] = (
    Ground(
        "paved", seconds=(90, 360), kmh=(55, 85), slow_share=(0.55, 0.9), corner_m=260, drag=(0.015, 0.022), rough=0.05,
        grade=(-0.03, 0.03), grade_sd=0.015, grip=0.95, slip=0.010, surge=False, shift_up=0.60, weight=1.0,
    ),
    Ground(
        "dirt_road", seconds=(90, 400), kmh=(50, 90), slow_share=(0.45, 0.85), corner_m=160, drag=(0.045, 0.075),
        rough=0.15, grade=(-0.05, 0.05), grade_sd=0.025, grip=0.65, slip=0.020, surge=False, shift_up=0.72, weight=1.6,
    ),
    Ground(
        "forest", seconds=(120, 500), kmh=(28, 58), slow_share=(0.35, 0.8), corner_m=40, drag=(0.06, 0.11), rough=0.25,
        grade=(-0.07, 0.07), grade_sd=0.05, grip=0.60, slip=0.030, surge=False, shift_up=0.62, weight=1.6,
    ),
    Ground(
        "rocks", seconds=(90, 360), kmh=(16, 32), slow_share=(0.3, 0.75), corner_m=18, drag=(0.09, 0.14), rough=0.35,
        grade=(-0.04, 0.11), grade_sd=0.07, grip=0.62, slip=0.040, surge=False, shift_up=0.50, weight=1.2,
    ),
    Ground(
        "sand", seconds=(60, 330), kmh=(22, 52), slow_share=(0.5, 0.85), corner_m=70, drag=(0.20, 0.31), rough=0.20,
        grade=(-0.03, 0.04), grade_sd=0.03, grip=0.62, slip=0.055, surge=True, shift_up=0.82, weight=1.4,
    ),
    Ground(
        "slow_climb", seconds=(60, 270), kmh=(9, 20), slow_share=(0.5, 0.9), corner_m=25, drag=(0.08, 0.13), rough=0.30,
        grade=(0.14, 0.26), grade_sd=0.05, grip=0.72, slip=0.045, surge=False, shift_up=0.50, weight=1.0,
    ),
    Ground(
        "descent", seconds=(60, 200), kmh=(18, 38), slow_share=(0.4, 0.8), corner_m=30, drag=(0.06, 0.11), rough=0.25,
        grade=(-0.18, -0.07), grade_sd=0.05, grip=0.60, slip=0.030, surge=False, shift_up=0.55, weight=1.1,
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Stop:
    """A halt. `at_m` along the course; the engine is off during it where `engine_off` is true."""

    at_m: float
    seconds: float
    engine_off: bool


@dataclass(frozen=True)
class Course:
    """Arrays over distance (one entry per STEP_M), the section each belongs to, and the stops in order."""

    elevation_m: Array
    sine: Array
    drag: Array
    target_mps: Array
    ground: npt.NDArray[np.int64]
    stops: tuple[Stop, ...]


def _smooth_noise(rng: np.random.Generator, n: int, length: float) -> Array:
    """Noise of unit variance with a correlation length in points."""
    knots = max(int(n / length) + 3, 4)
    values = rng.normal(size=knots)
    x = np.linspace(0.0, knots - 1.0, n)
    low = np.minimum(x.astype(np.int64), knots - 2)
    f = x - low
    blend = 0.5 - 0.5 * np.cos(np.pi * f)
    return np.asarray((values[low] * (1 - blend) + values[low + 1] * blend) / 0.87)


def _speeds(rng: np.random.Generator, ground: Ground, n: int) -> Array:
    """Target speed along a section: a straight-line speed with slower corners."""
    top = rng.uniform(*ground.kmh) / 3.6
    target = np.full(n, top) * (1.0 + 0.08 * _smooth_noise(rng, n, 40.0))
    at = float(rng.exponential(ground.corner_m))
    while at < n * STEP_M:
        i = int(at / STEP_M)
        width = int(rng.integers(2, 6))
        target[i : i + width] = np.minimum(target[i : i + width], top * rng.uniform(*ground.slow_share))
        at += 6.0 + float(rng.exponential(ground.corner_m))
    return np.maximum(target, 1.5)


def make_course(seed: int, duration_s: float, kinds: tuple[str, ...] | None = None, start_m: float = 400.0) -> Course:
    """A course long enough for a ride of `duration_s`. `kinds` fixes the sections' order (repeated) where given."""
    rng = np.random.default_rng([seed, 11])
    names = [g.name for g in GROUNDS]
    weights = np.array([g.weight for g in GROUNDS])
    parts: dict[str, list[Array]] = {k: [] for k in ("grade", "drag", "target", "ground")}
    stops: list[Stop] = []
    spent, length, last, count, height = 0.0, 0.0, -1, 0, start_m
    while spent < duration_s * 1.6 + 120.0:
        if kinds is not None:
            g = names.index(kinds[count % len(kinds)])
        else:
            chance = weights.copy()
            if last >= 0:
                chance[last] = 0.0
            # Come down again after climbing, and do not go below the valley floor.
            chance[6] *= np.clip((height - start_m) / 120.0 + 0.6, 0.1, 3.0)
            chance[5] *= np.clip(1.4 - (height - start_m) / 500.0, 0.2, 2.0)
            g = int(rng.choice(len(GROUNDS), p=chance / chance.sum()))
        ground = GROUNDS[g]
        seconds = float(rng.uniform(*ground.seconds))
        pace = 0.75 * sum(ground.kmh) / 2.0 / 3.6
        n = max(int(seconds * pace / STEP_M), 20)
        mean_grade = float(rng.uniform(*ground.grade))
        grade = mean_grade + ground.grade_sd * _smooth_noise(rng, n, 25.0)
        drag = rng.uniform(*ground.drag) * np.exp(ground.rough * _smooth_noise(rng, n, 6.0))
        for key, value in (
            ("grade", np.clip(grade, -0.33, 0.33)),
            ("drag", np.minimum(drag, 0.36)),
            ("target", _speeds(rng, ground, n)),
            ("ground", np.full(n, float(g))),
        ):
            parts[key].append(np.asarray(value))
        height += float(np.sum(parts["grade"][-1])) * STEP_M
        length += n * STEP_M
        spent += seconds
        last, count = g, count + 1
        roll = rng.random()
        if roll < 0.35:
            stops.append(Stop(length, float(rng.uniform(20.0, 200.0)), False))
        elif roll < 0.50:
            stops.append(Stop(length, float(rng.uniform(60.0, 420.0)), True))
    joined = {key: np.concatenate(values) for key, values in parts.items()}
    target = joined["target"]
    for stop in stops:
        i = int(stop.at_m / STEP_M)
        target[max(i - 2, 0) : i + 1] = 0.8
    _brake_ahead(target)
    grade = joined["grade"]
    sine = grade / np.sqrt(1.0 + grade**2)
    elevation = start_m + np.concatenate([[0.0], np.cumsum(sine[:-1])]) * STEP_M
    return Course(elevation, sine, joined["drag"], target, joined["ground"].astype(np.int64), tuple(stops))


def _brake_ahead(target: Array, decel: float = 2.2) -> None:
    """Lower targets so that each can be reached from the one before at a deceleration."""
    values = target.tolist()
    for i in range(len(values) - 2, -1, -1):
        limit = (values[i + 1] ** 2 + 2.0 * decel * STEP_M) ** 0.5
        values[i] = min(values[i], limit)
    target[:] = values
