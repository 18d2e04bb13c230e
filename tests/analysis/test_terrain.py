"""Terrain drag, on rides whose ground is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from ridelog.advice import default_advice, parse_advice
from ridelog.analysis.motion import grade, motion
from ridelog.analysis.segments import find
from ridelog.analysis.shapes import Signals, Stretch, Terrain
from ridelog.analysis.terrain import driven, terrain
from ridelog.constants import GRAVITY_MPS2
from ridelog.intervals import Interval, iou

STEP_S = 0.2
MASS_KG, DRAG_AREA_M2, EFFICIENCY, PEAK_W, GAMMA, DENSITY = 195.0, 0.55, 0.90, 36_000.0, 1.06, 1.15


@dataclass(frozen=True)
class Part:
    """A piece of a ride: ground drag, slope, the speed the rider holds, throttle in bursts, corners he brakes for."""

    seconds: float
    drag: float
    speed_mps: float
    grade: float = 0.0
    bursts: bool = False
    corners: bool = False
    change_mps2: float = 2.0


HARD = Part(60.0, 0.05, 12.0, corners=True)
FOREST = Part(60.0, 0.10, 8.0, bursts=True, corners=True)


@dataclass(frozen=True)
class Ridden:
    """What a log would hold of it, on the grid, and where each part truly was."""

    ground: Terrain
    signals: Signals
    spans: list[Interval]


def ride(parts: list[Part], *, noise_mps: float = 0.1, with_grade: bool = True, seed: int = 5) -> Ridden:
    """Step m dv/dt = push - ground - slope - air - brake through the parts; then only what a log sees is used."""
    fine = 0.02
    draw = np.random.default_rng(seed)
    v, height, clock = 5.0, 300.0, 0.0
    speed, power, opening, elevation, spans = [], [], [], [], []
    burst_left, on = 0.0, True
    for part in parts:
        begin = clock
        weight = MASS_KG * GRAVITY_MPS2
        while clock - begin < part.seconds - 1e-9:
            burst_left -= fine
            if burst_left <= 0.0:
                on = not on or not part.bursts
                burst_left = draw.uniform(0.5, 1.2) if on else draw.uniform(0.3, 0.6)
            wanted = part.speed_mps * (0.6 if part.corners and (clock % 9.0) < 3.0 else 1.0)
            force = part.drag * weight + part.grade * weight + 0.5 * DENSITY * DRAG_AREA_M2 * v * v
            change = np.clip(2.0 * (wanted - v), -3.5, part.change_mps2)
            push = force + GAMMA * MASS_KG * change
            brake = 0.0
            if push < 0.0:
                push, brake = 0.0, -push
            elif part.bursts:
                push = 1.6 * push if on else 0.0
            crank = min(push * v / EFFICIENCY, PEAK_W)
            v = max(v + (crank * EFFICIENCY / max(v, 0.5) - force - brake) / (GAMMA * MASS_KG) * fine, 0.0)
            height += part.grade * v * fine
            clock += fine
            speed.append(v)
            power.append(crank)
            opening.append(crank / PEAK_W if crank > 0.0 else 0.0)
            elevation.append(height)
        spans.append(Interval(begin, clock))
    every = round(STEP_S / fine)
    logged = np.array(speed)[::every] + draw.normal(0.0, noise_mps, len(speed[::every]))
    moved = motion(np.maximum(logged, 0.0), STEP_S)
    slope = grade(np.array(elevation)[::every] + draw.normal(0.0, 0.3, logged.size), moved).grade
    throttle = np.array(opening)[::every] + 0.05 * (np.array(opening)[::every] > 0.0)
    home = np.ones(logged.size, dtype=np.bool_)
    soil = terrain(
        power_w=np.array(power)[::every],
        speed_mps=moved.speed_mps,
        acceleration_mps2=moved.acceleration_mps2,
        grade=slope if with_grade else np.zeros(logged.size),
        density_kg_per_m3=DENSITY,
        where=driven(moved.speed_mps, throttle, home, STEP_S, moved.window),
        rotating_factor=np.full(logged.size, GAMMA),
        mass_kg=MASS_KG,
        drag_area_m2=DRAG_AREA_M2,
        efficiency=EFFICIENCY,
        peak_power_w=PEAK_W,
        step_s=STEP_S,
        window=moved.window,
    )
    t_s = np.arange(logged.size) * STEP_S
    return Ridden(soil, Signals(t_s, STEP_S, moved.speed_mps, slope, throttle, np.full(t_s.size, 5000.0), soil), spans)


def drag_in(ridden: Ridden, part: int) -> float:
    start, end = ridden.spans[part]
    raw = ridden.ground.raw[int(start) + 2 : int(end) - 2]
    return float(np.nanmedian(raw))


def heavy(ridden: Ridden) -> list[Stretch]:
    return [one for one in find(ridden.signals, default_advice(), []) if one.kind == "heavy_drag"]


@pytest.mark.parametrize("speed_kmh", [20.0, 30.0, 40.0])
@pytest.mark.parametrize("drag", [0.22, 0.26, 0.30])
def test_sand_ridden_in_bursts_is_flagged_where_it_is(drag: float, speed_kmh: float) -> None:
    sand = Part(70.0, drag, speed_kmh / 3.6, bursts=True)
    ridden = ride([HARD, sand, HARD, FOREST])
    assert drag_in(ridden, 1) == pytest.approx(drag, abs=0.02)
    found = heavy(ridden)
    assert len(found) == 1
    assert iou([found[0].interval], [ridden.spans[1]]) >= 0.8


@pytest.mark.parametrize(
    "parts",
    [
        pytest.param([HARD, HARD], id="hard ground"),
        pytest.param([FOREST, FOREST], id="twisty forest, throttle in bursts, brakes before every corner"),
        pytest.param([Part(12.0, 0.05, v, change_mps2=3.5) for v in (4.0, 20.0) * 6], id="hard acceleration"),
        pytest.param([HARD, Part(60.0, 0.08, 4.5, grade=0.15), HARD], id="steep climb on hard ground"),
        pytest.param([Part(120.0, 0.045, 29.0)], id="fast gravel"),
        pytest.param([Part(60.0, 0.08, 9.0, grade=-0.08, corners=True)], id="downhill on the brakes"),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_other_ground_is_not(parts: list[Part], seed: int) -> None:
    assert heavy(ride(parts, seed=seed)) == []


def test_bounds_come_from_power_and_mass() -> None:
    ground = ride([Part(60.0, 0.26, 8.0)], noise_mps=0.0).ground
    middle = slice(10, 50)
    weight_power = MASS_KG * GRAVITY_MPS2 * 8.0
    air = 0.5 * DENSITY * DRAG_AREA_M2 * 8.0**3
    at_tyre = 0.26 * weight_power + air
    assert np.nanmedian(ground.low[middle]) == pytest.approx((0.8 * at_tyre - air) / (1.1 * weight_power), abs=0.004)
    assert np.nanmedian(ground.high[middle]) == pytest.approx((1.2 * at_tyre - air) / (0.9 * weight_power), abs=0.004)


def test_a_climb_without_elevation_reads_as_drag() -> None:
    # Which is why the caller marks such a stretch uncertain and says that elevation is missing.
    parts = [HARD, Part(60.0, 0.08, 4.5, grade=0.15), HARD]
    assert drag_in(ride(parts, with_grade=False), 1) == pytest.approx(0.23, abs=0.02)


def test_long_shut_throttle_and_slow_going_are_left_out() -> None:
    speed = np.full(200, 8.0)
    speed[150:] = 1.0
    opening = np.full(200, 0.3)
    opening[50:52] = 0.0  # 0.4 s: riding sand
    opening[80:100] = 0.0  # 4 s: coasting or braking
    where = driven(speed, opening, np.ones(200, dtype=np.bool_), STEP_S, 11)
    assert where[45:60].all()
    assert not where[78:102].any()
    assert not where[150:].any()


def test_a_light_throttle_over_a_high_reading_is_not_work() -> None:
    # A level of power keeps a stall at walking pace from counting; the sheet may raise it.
    sheet = parse_advice(
        'schema = 1\nversion = "x"\n[[rule]]\nkind = "heavy_drag"\nmin_power_share = 0.5\n', "x.advice.toml"
    )
    ridden = ride([HARD, Part(70.0, 0.26, 8.0, bursts=True), HARD])
    assert heavy(ridden)
    assert [one for one in find(ridden.signals, sheet, []) if one.kind == "heavy_drag"] == []


@pytest.mark.parametrize(
    ("rolling", "grade", "kmh", "density", "gamma", "acceleration", "crank_kw"),
    [
        (0.015, 0.0, 90.0, 1.225, 1.0, 0.0, 7.197),
        (0.05, 0.0, 60.0, 1.10, 1.0, 0.0, 3.514),
        (0.30, 0.0, 40.0, 1.10, 1.0, 0.0, 7.767),
        (0.08, 0.30, 12.0, 1.0581, 1.0, 0.0, 2.657),
        (0.05, 0.0, 54.0, 1.225, 1.08, 2.0, 10.213),
    ],
)
def test_the_worked_rows_of_road_load_come_back(
    *, rolling: float, grade: float, kmh: float, density: float, gamma: float, acceleration: float, crank_kw: float
) -> None:
    """Forward rows of the road-load equation (any textbook of vehicle dynamics; worked by hand for 200 kg, 0.6 m²,
    driveline 0.90), fed backwards: the drag that comes out is the rolling resistance over weight, Crr cos(th)."""
    size = 600
    found = terrain(
        power_w=np.full(size, 1000.0 * crank_kw),
        speed_mps=np.full(size, kmh / 3.6),
        acceleration_mps2=np.full(size, acceleration),
        grade=np.full(size, grade),
        density_kg_per_m3=density,
        where=np.ones(size, dtype=np.bool_),
        rotating_factor=np.full(size, gamma),
        mass_kg=200.0,
        drag_area_m2=0.6,
        efficiency=0.90,
        peak_power_w=36_000.0,
        step_s=0.2,
        window=11,
    )
    assert found.smooth[60] == pytest.approx(rolling / np.sqrt(1.0 + grade * grade), abs=2e-4)
