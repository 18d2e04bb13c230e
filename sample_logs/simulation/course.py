"""Closed loops in the plane: what the ground is like, how it climbs and where it bends.

The loops lie at a spot in the open ocean on purpose, so that the tracks belong to nobody's land.
"""

import math
from dataclasses import dataclass

import numpy as np

GRAVITY_MPS2 = 9.80665
ORIGIN_LAT_DEG = 43.2
ORIGIN_LON_DEG = -31.6
BASE_ELEVATION_M = 320.0


@dataclass(frozen=True)
class Ground:
    """What a kind of ground does to the bike and to the rider's hands."""

    drag: float
    slip_stiffness: float  # drive force over weight, per unit of slip
    grip: float  # the largest drive force over weight
    accelerate_mps2: float
    on_off: float  # how much of the riding is short throttle openings
    bend_per_m: float  # sharpest curvature of the winding part
    bend_length_m: float
    shelter: float  # share of the wind that trees and banks hold off
    turns: bool = True  # whether the loop's large-scale turning happens here


GROUNDS = {
    "lane": Ground(0.050, 8.0, 0.60, 1.8, 0.0, 1 / 45, 140.0, 0.3),
    "hard": Ground(0.055, 8.0, 0.60, 2.5, 0.15, 1 / 24, 115.0, 0.2),
    "gravel": Ground(0.045, 7.0, 0.55, 2.0, 0.0, 1 / 85, 260.0, 0.1),
    "fast_gravel": Ground(0.048, 7.0, 0.55, 1.5, 0.0, 1 / 900, 900.0, 0.0),
    "wide_open": Ground(0.085, 7.5, 0.60, 9.0, 0.0, 0.0, 400.0, 0.0, turns=False),
    "sand": Ground(0.260, 2.4, 0.82, 1.5, 1.0, 1 / 60, 150.0, 0.2),
    "forest": Ground(0.095, 6.0, 0.50, 1.7, 0.35, 1 / 14, 62.0, 0.7),
    "rocks": Ground(0.090, 5.0, 0.55, 1.0, 0.3, 1 / 30, 70.0, 0.4),
    "downhill": Ground(0.080, 6.0, 0.50, 1.4, 0.2, 1 / 16, 70.0, 0.4),
}


@dataclass(frozen=True)
class Zone:
    name: str
    ground: str
    length_m: float
    speed_mps: float
    grade: float | None = 0.0  # None: takes its share of what is left to close the loop
    drag: float | None = None


@dataclass
class Course:
    """Tables at one-metre spacing along the loop, as plain lists for the time loop."""

    name: str
    zones: list[Zone]
    length_m: int
    starts_m: list[int]
    zone_at: list[int]
    drag: list[float]
    sine: list[float]  # sine of the slope angle
    bend_speed_mps: list[float]
    east_m: np.ndarray
    north_m: np.ndarray
    elevation_m: np.ndarray
    heading_x: list[float]
    heading_y: list[float]

    def ground(self, zone: int) -> Ground:
        return GROUNDS[self.zones[zone].ground]

    def position(self, distance_m: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """East, north and elevation at distances that may run over several laps."""
        along = np.mod(distance_m, self.length_m)
        marks = np.arange(self.length_m + 1)
        return tuple(np.interp(along, marks, table) for table in (self.east_m, self.north_m, self.elevation_m))


def to_degrees(east_m: np.ndarray, north_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Plane metres to latitude and longitude, with the ellipsoid's radii at the origin."""
    semi_major_m, squared = 6378137.0, 0.00669437999014
    sine = math.sin(math.radians(ORIGIN_LAT_DEG))
    width = 1.0 - squared * sine * sine
    meridian_m = semi_major_m * (1.0 - squared) / width**1.5
    parallel_m = semi_major_m / math.sqrt(width) * math.cos(math.radians(ORIGIN_LAT_DEG))
    lat = ORIGIN_LAT_DEG + np.degrees(north_m / meridian_m)
    lon = ORIGIN_LON_DEG + np.degrees(east_m / parallel_m)
    return lat, lon


def _edge_window(along_m: np.ndarray, length_m: float, edge_m: float) -> np.ndarray:
    """Zero at both ends, one inside: zones join without a kink."""
    inside = np.minimum(along_m, length_m - along_m) / edge_m
    return np.clip(inside, 0.0, 1.0)


def _close(curvature: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Adds gentle turning until the path ends where it began, one full turn later."""
    count = len(curvature)
    phase = 2.0 * np.pi * np.arange(count) / count
    shapes = [weight, weight * np.cos(phase), weight * np.sin(phase)]

    def miss(amounts):
        total = curvature + sum(a * shape for a, shape in zip(amounts, shapes, strict=True))
        heading = np.cumsum(total)
        return np.array([heading[-1] - 2.0 * np.pi, np.cos(heading).sum() / count, np.sin(heading).sum() / count])

    amounts = np.array([2.0 * np.pi / weight.sum(), 0.0, 0.0])
    for _ in range(60):
        here = miss(amounts)
        if np.abs(here).max() < 1e-13:
            break
        slope = np.empty((3, 3))
        for k in range(3):
            nudge = np.zeros(3)
            nudge[k] = 1e-9
            slope[:, k] = (miss(amounts + nudge) - here) / 1e-9
        amounts = amounts - np.linalg.solve(slope, here)
    else:
        raise RuntimeError("these zones do not close to a loop")
    return curvature + sum(a * shape for a, shape in zip(amounts, shapes, strict=True))


def build(name: str, zones: list[Zone], at_m: tuple[float, float] = (0.0, 0.0)) -> Course:
    """`at_m`: how far east and north of the origin the loop begins."""
    starts = [0]
    for zone in zones:
        starts.append(starts[-1] + int(zone.length_m))
    length = starts.pop()
    zone_at = np.zeros(length, dtype=int)
    drag, curvature, weight, grade = (np.zeros(length) for _ in range(4))
    fixed_rise_m = sum(z.length_m * z.grade for z in zones if z.grade is not None)
    free_m = sum(z.length_m for z in zones if z.grade is None)
    for i, (zone, start) in enumerate(zip(zones, starts, strict=True)):
        part = slice(start, start + int(zone.length_m))
        along = np.arange(int(zone.length_m), dtype=float)
        ground = GROUNDS[zone.ground]
        zone_at[part] = i
        base = ground.drag if zone.drag is None else zone.drag
        patches = 0.05 * np.sin(2 * np.pi * along / 37.0 + i) + 0.04 * np.sin(2 * np.pi * along / 91.0)
        drag[part] = base * (1.0 + patches)
        window = _edge_window(along, zone.length_m, 40.0)
        winding = 0.65 * np.sin(2 * np.pi * along / ground.bend_length_m + i)
        winding += 0.35 * np.sin(2 * np.pi * along / (ground.bend_length_m * 0.618) + 2.1 * i)
        curvature[part] = ground.bend_per_m * window * winding
        weight[part] = window if ground.turns else 0.0
        climb = -fixed_rise_m / free_m if zone.grade is None else zone.grade
        grade[part] = climb
        if zone.ground not in ("wide_open", "fast_gravel", "rocks"):
            grade[part] += 0.012 * np.sin(2 * np.pi * along * round(zone.length_m / 160.0) / zone.length_m)
    grade = _smooth_round(grade, 15)
    grade -= grade.mean()
    curvature = _close(curvature, weight)
    heading = np.cumsum(curvature)
    east = np.concatenate([[0.0], np.cumsum(np.cos(heading))])
    north = np.concatenate([[0.0], np.cumsum(np.sin(heading))])
    elevation = BASE_ELEVATION_M + np.concatenate([[0.0], np.cumsum(grade)])
    bend_speed = np.sqrt(4.2 / np.maximum(np.abs(_smooth_round(curvature, 3)), 1e-4))
    return Course(
        name=name,
        zones=zones,
        length_m=length,
        starts_m=starts,
        zone_at=zone_at.tolist(),
        drag=np.round(drag, 6).tolist(),
        sine=np.round(grade, 6).tolist(),
        bend_speed_mps=np.round(bend_speed, 4).tolist(),
        east_m=np.round(east + at_m[0], 4),
        north_m=np.round(north + at_m[1], 4),
        elevation_m=np.round(elevation, 4),
        heading_x=np.round(np.cos(heading), 6).tolist(),
        heading_y=np.round(np.sin(heading), 6).tolist(),
    )


def _smooth_round(values: np.ndarray, half_width: int) -> np.ndarray:
    """Running mean that goes round the loop's join."""
    padded = np.concatenate([values[-half_width:], values, values[:half_width]])
    kernel = np.ones(2 * half_width + 1) / (2 * half_width + 1)
    return np.convolve(padded, kernel, mode="valid")


def red_loop() -> Course:
    """Nine kilometres with two sand beds, a rocky climb and two tracks that are ridden flat out."""
    return build(
        "red loop",
        [
            Zone("start lane", "lane", 200, 8.0, 0.0),
            Zone("field track", "hard", 560, 14.0, None),
            Zone("lower sand bed", "sand", 1240, 9.6, 0.0, 0.275),
            Zone("pine wood", "forest", 560, 8.6, None),
            Zone("fire lane", "wide_open", 1250, 48.0, 0.025),
            Zone("stone steps", "rocks", 290, 4.7, 0.15),
            Zone("ridge road", "gravel", 900, 17.0, None),
            Zone("gully", "downhill", 560, 9.0, -0.07),
            Zone("upper sand bed", "sand", 450, 7.8, 0.0, 0.28),
            Zone("meadow track", "hard", 480, 13.5, None),
            Zone("power-line track", "wide_open", 980, 48.0, 0.015),
            Zone("home wood", "forest", 480, 9.5, None),
        ],
    )


def long_loop() -> Course:
    """Faster ground: a long gravel road, one flat-out track, two sand beds."""
    return build(
        "long loop",
        [
            Zone("start lane", "lane", 200, 8.0, 0.0),
            Zone("long road", "fast_gravel", 3000, 29.0, 0.0),
            Zone("birch wood", "forest", 500, 8.6, None),
            Zone("dune field", "sand", 920, 8.8, 0.0, 0.265),
            Zone("field track", "hard", 560, 14.0, None),
            Zone("fire lane", "wide_open", 1300, 48.0, 0.022),
            Zone("stone steps", "rocks", 280, 4.7, 0.15),
            Zone("gully", "downhill", 540, 9.0, -0.07),
            Zone("river sand", "sand", 480, 7.6, 0.0, 0.275),
            Zone("meadow track", "hard", 400, 13.0, None),
            Zone("back road", "gravel", 620, 17.0, None),
        ],
    )


def dune_loop() -> Course:
    """Four kilometres in the dunes, six to seven minutes: two sand beds, a wood and a track ridden flat out."""
    return build(
        "dune loop",
        [
            Zone("start lane", "lane", 150, 8.0, 0.0),
            Zone("field track", "hard", 350, 13.5, None),
            Zone("near sand", "sand", 800, 9.2, 0.0, 0.27),
            Zone("pine wood", "forest", 420, 8.4, None),
            Zone("fire lane", "wide_open", 1150, 48.0, 0.02),
            Zone("quarry track", "hard", 380, 12.5, None),
            Zone("far sand", "sand", 480, 7.8, 0.0, 0.28),
            Zone("home wood", "forest", 400, 9.0, None),
        ],
        at_m=(5200.0, -2600.0),
    )


def stone_loop() -> Course:
    """Four kilometres without sand: wood, a rocky climb, gravel, and a track ridden flat out."""
    return build(
        "stone loop",
        [
            Zone("start lane", "lane", 150, 8.0, 0.0),
            Zone("oak wood", "forest", 520, 8.4, None),
            Zone("stone steps", "rocks", 290, 4.7, 0.15),
            Zone("ridge road", "gravel", 800, 16.0, None),
            Zone("gully", "downhill", 520, 9.0, -0.07),
            Zone("power-line track", "wide_open", 1050, 48.0, 0.02),
            Zone("pasture", "hard", 500, 12.5, None),
            Zone("home wood", "forest", 450, 9.0, None),
        ],
        at_m=(-5400.0, 3000.0),
    )
