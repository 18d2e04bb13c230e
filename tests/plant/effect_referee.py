"""Bikes with a known effect of the conservative map, and riders who use that map as riders do.

`ridelog effect` tells the heat input on the conservative map over that on the standard one at the same work and speed,
over the loads that were ridden. So the truth (`true_ratios`) is, over all moments on the conservative map: heat from
gas to metal as it was, over the heat the standard map would have given with the throttle that makes the same power at
the same engine speed; metal at 115 C for both. `Estimands.heat_ratio` is the same at one load, half of peak power,
where friction counts less: it lies about 0.01 further from 1. At the same throttle the conservative map makes less work
and so less heat still: `Truths.same_throttle`, held against the field of that name. All figures of riders are assumed.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from plant.air import P0, T0
from plant.bikes import BIKES, Machine, bike_of, machine_of
from plant.course import GROUNDS, make_course
from plant.drive import DT, drive
from plant.engine import METAL_REF_C, Engine
from plant.sensors import Sensors
from plant.simulate import Simulated, simulate
from plant.truth import Estimands
from ridelog.analysis.effect import Estimate, Part, pooled
from ridelog.effect_ride import part_of
from ridelog.ride import Ride

Array = npt.NDArray[np.float64]
Use = Literal["real", "sand_only", "never"]

TUNING_BIKES = range(8)
"""Machines the estimate was made with."""

SCORING_BIKES = range(300, 363)
"""Machines nobody looked at while it was made."""

RATIOS = (0.86, 0.92, 1.0)
RIDES = 8
SAND = [ground.name for ground in GROUNDS].index("sand")


TYPICAL_POWER, TYPICAL_SPEED = 0.15, 0.65
"""A load as ridden on average, over peak power and its speed: there a machine has its ratio."""


def ratio_of(group: int) -> float:
    """The true ratio of a group's machine."""
    return RATIOS[group % len(RATIOS)]


def machine(group: int, ratio: float | None = None) -> Machine:
    """The machine of a group: retard and mixture as drawn, and so much more or less heat that its ratio is the true
    one."""
    drawn = machine_of(list(BIKES)[group // len(RATIOS) % len(BIKES)], 9000 + group)
    wanted = ratio_of(group) if ratio is None else ratio

    def miss(map_heat: float) -> float:
        known = Estimands(replace(drawn, map_heat=map_heat))
        load = (TYPICAL_POWER * 1000.0 * drawn.bike.peak_power_kw, TYPICAL_SPEED * known.engine.peak_rpm)
        return known.heat_w(*load, conservative=True) / known.heat_w(*load) - wanted

    return replace(drawn, map_heat=float(brentq(miss, 0.6, 1.5, xtol=1e-5)))


def spans(ground: npt.NDArray[np.int64]) -> list[tuple[bool, int, int]]:
    """(sand, first, past) of the ride's stretches, in drive steps; halts belong to what was ridden before."""
    ridden = np.where(ground < 0, -1, ground)
    last = np.maximum.accumulate(np.where(ridden >= 0, np.arange(ridden.size), 0))
    kind = ridden[last]
    edges = [0, *(np.flatnonzero(np.diff(kind)) + 1).tolist(), kind.size]
    return [(bool(kind[a] == SAND), a, b) for a, b in itertools.pairwise(edges)]


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


@dataclass(frozen=True)
class Truths:
    """True ratios over the moments on the conservative map of some rides."""

    same_work: float
    same_throttle: float


def true_ratios(rides: Sequence[Simulated]) -> Truths:
    """The true ratios over what was ridden. Raises ValueError where the conservative map was never on."""
    heats = np.zeros(3)
    for ridden in rides:
        truth = ridden.truth
        engine, track = truth.engine, truth.drive
        on = np.flatnonzero(track.conservative & track.engine_on & (track.gear > 0) & (track.throttle > 0.01))[::5]
        if on.size == 0:
            continue
        rpm, throttle = track.rpm[on], track.throttle[on]
        heats += [
            _heat_w(engine, rpm, throttle, conservative=True),
            _heat_w(engine, rpm, _throttle_for(engine, rpm, throttle), conservative=False),
            _heat_w(engine, rpm, throttle, conservative=False),
        ]
    if heats[0] <= 0.0:
        raise ValueError("the conservative map was never on")
    return Truths(float(heats[0] / heats[1]), float(heats[0] / heats[2]))


def _heat_w(engine: Engine, rpm: Array, throttle: Array, *, conservative: bool) -> float:
    flags = np.full(rpm.size, conservative)
    burn = engine.burn(
        rpm, throttle, pressure_pa=P0, air_c=T0 - 273.15, conservative=flags, firing=np.ones(rpm.size, dtype=np.bool_)
    )
    return float((burn.wall_a - METAL_REF_C * burn.wall_b).sum())


def _throttle_for(engine: Engine, rpm: Array, throttle: Array) -> Array:
    """Throttle that makes on the standard map what this one makes on the conservative map; wide open where none
    does."""
    speeds, grid = np.arange(500.0, engine.rev_limit + 1500.0, 100.0), np.linspace(0.0, 1.0, 201)
    table = np.array([engine.indicated_nm(np.full_like(grid, speed), grid) for speed in speeds])
    made = engine.indicated_nm(rpm, throttle, conservative=True)
    row = np.clip(np.round((rpm - speeds[0]) / 100.0).astype(np.int64), 0, speeds.size - 1)
    # The same figure read off the table on the conservative side cancels the error of the nearest row.
    exact = engine.indicated_nm(rpm, throttle)
    wanted = np.empty_like(throttle)
    for which in np.unique(row):
        here = row == which
        line = np.maximum.accumulate(table[which])
        was = np.interp(throttle[here], grid, line)
        wanted[here] = np.interp(was * made[here] / np.maximum(exact[here], 1e-6), line, grid)
    return wanted


@dataclass(frozen=True)
class Outcome:
    """What was said of one machine's rides, and the truth of them."""

    group: int
    bike: str
    wanted: float
    truths: Truths
    said: Estimate
    rides: int

    @property
    def identified(self) -> bool:
        """Whether a ratio was told."""
        return self.said.reason is None

    def holds(self) -> tuple[bool, bool]:
        """Whether the intervals hold the truth: at the same work, at the same throttle."""
        assert self.said.ratio is not None
        assert self.said.same_throttle is not None
        work, throttle = self.said.ratio, self.said.same_throttle
        return (
            work.low <= self.truths.same_work <= work.high,
            throttle.low <= self.truths.same_throttle <= throttle.high,
        )

    def text(self) -> str:
        """One line."""
        band, near = self.said.ratio, self.said.same_throttle
        told = f"{band.value:.3f} ({band.low:.3f} to {band.high:.3f})" if band is not None else "nothing"
        also = f"{near.value:.3f} ({near.low:.3f} to {near.high:.3f})" if near is not None else "nothing"
        return (
            f"{self.group} {self.bike}: true {self.truths.same_work:.3f}, told {told}; at the throttle true "
            f"{self.truths.same_throttle:.3f}, told {also}; rides {self.rides}, {self.said.reason or 'identified'}, "
            f"explained {self.said.explained}"
        )


def judge(group: int, use: Use = "real", rides: int = RIDES) -> Outcome:
    """The estimate from a group's rides beside the truth of them."""
    bike = machine(group)
    played = [play(group, number, bike, use) for number in range(rides)]
    truths = true_ratios([ridden for ridden, _ in played])
    return judged(group, bike.bike.id, truths, [(ridden.ride, air_c) for ridden, air_c in played])


def judged(group: int, bike: str, truths: Truths, rides: Sequence[tuple[Ride, float]]) -> Outcome:
    """The same of rides that were ridden before, each with its air temperature."""
    given = [part_of(ride, bike_of(bike), ambient_c=air_c) for ride, air_c in rides]
    parts = [one for one in given if isinstance(one, Part)]
    return Outcome(group, bike, ratio_of(group), truths, pooled(parts), len(parts))


@dataclass(frozen=True)
class Score:
    """All outcomes."""

    outcomes: tuple[Outcome, ...]

    @property
    def told(self) -> list[Outcome]:
        """Those of which a ratio was told."""
        return [one for one in self.outcomes if one.identified]

    def coverage(self) -> tuple[float, float]:
        """Share of intervals that hold the truth: at the same work, at the same throttle."""
        held = np.array([one.holds() for one in self.told])
        return float(held[:, 0].mean()), float(held[:, 1].mean())

    def widths(self) -> Array:
        """Widths of the intervals at the same work; those not told count as infinite."""
        return np.array(
            [one.said.ratio.high - one.said.ratio.low if one.identified and one.said.ratio else np.inf
             for one in self.outcomes]
        )  # fmt: skip

    def text(self) -> str:
        """Every figure, a line each."""
        work, throttle = self.coverage()
        lines = [one.text() for one in self.outcomes]
        lines.append(
            f"bikes {len(self.outcomes)}, told {len(self.told)}; interval holds the truth {work:.3f} at the same work, "
            f"{throttle:.3f} at the same throttle; median width {np.median(self.widths()):.3f}, 90th percentile "
            f"{np.percentile(self.widths(), 90.0, method='lower'):.3f}"
        )
        for wanted in RATIOS:
            these = [one for one in self.told if one.wanted == wanted]
            if not these:
                continue
            errors = np.array([one.said.ratio.value - one.truths.same_work for one in these if one.said.ratio])
            near = np.array(
                [one.said.same_throttle.value - one.truths.same_throttle for one in these if one.said.same_throttle]
            )
            lines.append(
                f"  {wanted:.2f}: {len(these)} bikes, error {errors.mean():+.3f}, sd {errors.std():.3f}; at the "
                f"throttle {near.mean():+.3f}, sd {near.std():.3f}"
            )
        return "\n".join(lines)
