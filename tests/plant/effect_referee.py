"""Bikes with a known effect of the conservative map, and riders who use that map as riders do.

The true ratio is `Estimands.heat_ratio(same="power")`: heat into the metal on the conservative map over that on the
standard one at half of peak power and 80 % of its speed, both maps making the same power. It is what `ridelog effect`
calls `heat_ratio`. At the same throttle the conservative map makes less work and so less heat still: that one is
`heat_ratio(same="throttle")` and is held against `same_throttle`. All figures of riders are assumed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from plant.bikes import BIKES, Machine, machine_of
from plant.course import GROUNDS, make_course
from plant.drive import DT, drive
from plant.engine import Engine
from plant.sensors import Sensors
from plant.simulate import Simulated, simulate
from plant.truth import Estimands

Array = npt.NDArray[np.float64]
Use = Literal["real", "sand_only", "never"]

TUNING_BIKES = range(8)
"""Machines the estimate was made with."""

SCORING_BIKES = range(300, 363)
"""Machines nobody looked at while it was made."""

RATIOS = (0.86, 0.92, 1.0)
RIDES = 8
SAND = [ground.name for ground in GROUNDS].index("sand")


def ratio_of(group: int) -> float:
    """The true ratio of a group's machine."""
    return RATIOS[group % len(RATIOS)]


def machine(group: int, ratio: float | None = None) -> Machine:
    """The machine of a group: retard and mixture as drawn, and so much more or less heat that its ratio is the true
    one."""
    drawn = machine_of(list(BIKES)[group // len(RATIOS) % len(BIKES)], 9000 + group)
    wanted = ratio_of(group) if ratio is None else ratio

    def miss(map_heat: float) -> float:
        return Estimands(replace(drawn, map_heat=map_heat)).heat_ratio() - wanted

    return replace(drawn, map_heat=float(brentq(miss, 0.6, 1.5, xtol=1e-5)))


def spans(ground: npt.NDArray[np.int64]) -> list[tuple[bool, int, int]]:
    """(sand, first, past) of the ride's stretches, in drive steps; halts belong to what was ridden before."""
    ridden = np.where(ground < 0, -1, ground)
    last = np.maximum.accumulate(np.where(ridden >= 0, np.arange(ridden.size), 0))
    kind = ridden[last]
    edges = [0, *(np.flatnonzero(np.diff(kind)) + 1).tolist(), kind.size]
    return [(bool(kind[a] == SAND), a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]


def real_plan(ground: npt.NDArray[np.int64], rng: np.random.Generator) -> list[tuple[float, str]]:
    """When a rider switches: in sand mostly, often late, at times not at all; forgets to switch back; now and then
    elsewhere. `ground` is that of the same ride on the standard map, which is ridden at nearly the same pace."""
    used = np.zeros(ground.size, dtype=np.bool_)
    minds = float(rng.uniform(0.55, 0.9))
    for sand, first, past in spans(ground):
        length = past - first
        if sand and rng.random() < minds:
            begin = first + int(float(rng.lognormal(np.log(15.0), 0.9)) / DT)
            back = float(rng.uniform(120.0, 600.0)) if rng.random() < 0.2 else float(rng.uniform(0.0, 60.0))
            used[begin : past + int(back / DT)] |= begin < past
        elif not sand and rng.random() < 0.12:
            begin = first + int(float(rng.uniform(0.0, 0.6)) * length)
            used[begin : begin + int(float(rng.uniform(0.3, 1.0)) * length)] = True
    return _plan(used)


def _plan(used: npt.NDArray[np.bool_]) -> list[tuple[float, str]]:
    edges = [0, *(np.flatnonzero(np.diff(used)) + 1).tolist()]
    return [(edge * DT, "conservative" if used[edge] else "standard") for edge in edges]


def course_kinds(rng: np.random.Generator) -> tuple[str, ...] | None:
    """Ground in order: a sandy day every second time, else a mix."""
    if rng.random() < 0.5:
        return None
    others = [ground.name for ground in GROUNDS if ground.name != "sand"]
    picked = rng.permutation(others)[:4].tolist()
    return ("sand", picked[0], picked[1], "sand", picked[2], picked[3])


def play(
    group: int, number: int, bike: Machine, use: Use = "real", sensors: Sensors | None = None
) -> tuple[Simulated, float]:
    """A ride of a group's machine, and its air temperature."""
    rng = np.random.default_rng([group, number, 83])
    ambient_c, duration_s = float(rng.uniform(5.0, 33.0)), float(rng.uniform(1500.0, 3000.0))
    level = float(np.exp(rng.normal(0.0, 0.03)))
    day = replace(
        bike,
        heat_scale=bike.heat_scale * level,
        air_hA=bike.air_hA * float(np.exp(rng.normal(0.0, 0.06))),
    )
    seed = 100_000 + 100 * group + number
    kinds = course_kinds(rng)
    course = make_course(seed, duration_s, kinds)
    engine = Engine(day)

    def ground_on(plan: npt.NDArray[np.bool_]) -> npt.NDArray[np.int64]:
        return drive(engine, course, seed, duration_s, ambient_c=ambient_c, wind_mps=0.5, conservative=plan).ground

    steps = int(duration_s / DT) + 1
    used = np.zeros(steps, dtype=np.bool_)
    plan: list[tuple[float, str]] = [(0.0, "standard")]
    if use != "never":
        ground = ground_on(used)
        plan = real_plan(ground, rng)
    if use == "sand_only":
        # What lies behind a switch hangs on it: with each round one more edge of the sand stands.
        for _ in range(40):
            before, used = used, np.zeros(steps, dtype=np.bool_)
            for sand, first, past in spans(ground):
                used[first:past] |= sand
            if (used == before).all():
                break
            ground = ground_on(used)
        plan = _plan(used)
    ridden = simulate(
        seed, bike.bike.id, machine=day, map_plan=tuple(plan), ambient_c=ambient_c, duration_s=duration_s, kinds=kinds,
        sensors=sensors,
    )  # fmt: skip
    return ridden, ambient_c
