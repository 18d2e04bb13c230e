"""One ride of one bike: course, rider, engine, heat, logger."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from plant.air import R_AIR, pressure_pa
from plant.bikes import Fault, Machine, machine_of
from plant.course import make_course
from plant.drive import DT, Drive, drive
from plant.engine import Engine
from plant.sensors import Sensors, emit
from plant.thermal import Drives, Nodes, integrate
from plant.truth import Trace, Truth
from ridelog.bike import Bike
from ridelog.ride import Ride

Array = npt.NDArray[np.float64]
MapPlan = Literal["standard", "conservative", "advice", "alternate"] | Sequence[tuple[float, str]]


@dataclass(frozen=True)
class Simulated:
    """What a logger wrote, and what was true. `sensors` is the logger as drawn."""

    ride: Ride
    truth: Truth
    sensors: Sensors


def _map_by_step(plan: MapPlan, seed: int, steps: int) -> npt.NDArray[np.bool_] | None:
    """Conservative map on or off per drive step; None where the rider follows the ground."""
    if plan == "advice":
        return None
    if plan in {"standard", "conservative"}:
        return np.full(steps, plan == "conservative")
    if plan == "alternate":
        rng = np.random.default_rng([seed, 41])
        edges = np.cumsum(rng.uniform(60.0, 480.0, size=int(steps * DT / 60.0) + 2))
        return (np.searchsorted(edges, np.arange(steps) * DT) % 2).astype(np.bool_)
    if isinstance(plan, str):
        raise ValueError(f"map_plan is {plan!r}: a known word or pairs (start_s, map) expected")  # noqa: TRY004
    result = np.zeros(steps, dtype=np.bool_)
    for start_s, name in plan:
        if name not in ("standard", "conservative"):
            raise ValueError(f"map {name!r}: 'standard' or 'conservative' expected")
        result[int(start_s / DT) :] = name == "conservative"
    return result


def heat_drives(machine: Machine, engine: Engine, ridden: Drive, air_c: Array, every: int) -> tuple[Drives, Array]:
    """What acts on the nodes, averaged over `every` drive steps, and brake power on the same steps."""
    cut = machine.overrun_cut & (ridden.throttle < 0.01) & (ridden.rpm > 2600.0) & (ridden.ground >= 0)
    firing = ridden.engine_on & ~cut & (ridden.rpm > 400.0)
    opening = np.where(ridden.ground == -1, engine.idle_throttle, ridden.throttle)
    pressure = np.vectorize(pressure_pa)(ridden.elevation_m[::25]).repeat(25)[: len(ridden.t_s)]
    burn = engine.burn(
        ridden.rpm,
        opening,
        pressure_pa=pressure,
        air_c=air_c,
        conservative=ridden.conservative,
        firing=firing,
    )
    density = pressure / (R_AIR * (air_c + 273.15))
    steps = (len(ridden.t_s) - 1) // every

    def mean(x: Array) -> Array:
        return np.asarray(x[: steps * every].reshape(steps, every).mean(axis=1))

    drives = Drives(
        dt_s=DT * every, rpm=mean(ridden.rpm), airspeed=mean(ridden.air_mps), density=mean(density), air_c=mean(air_c),
        wall_a=mean(burn.wall_a), wall_b=mean(burn.wall_b), case_w=mean(burn.case_w),
        engine_on=ridden.engine_on[: steps * every : every],
    )  # fmt: skip
    return drives, mean(burn.brake_w)


def _joined(first: Drives, second: Drives) -> Drives:
    """Two stretches one after the other."""

    def both(name: str) -> Array:
        return np.concatenate([getattr(first, name), getattr(second, name)])

    return first.with_arrays(both)


def simulate(
    seed: int,
    bike: str | Bike = "heron-300",
    *,
    machine: Machine | None = None,
    machine_seed: int = 0,
    fault: Fault | None = None,
    severity: float | None = None,
    fault_from_s: float = 0.0,
    map_plan: MapPlan = "standard",
    ambient_c: float = 20.0,
    duration_s: float = 3600.0,
    kinds: tuple[str, ...] | None = None,
    wind_mps: float = 0.5,
    start_c: float | None = None,
    start_elevation_m: float = 400.0,
    sensors: Sensors | None = None,
    every: int = 2,
) -> Simulated:
    """Ride a bike.

    `seed` draws course, rider, wind and logger; `machine_seed` the true machine behind the bike file (or give
    `machine`). `fault_from_s`: the fault sets in then, and `truth` describes the faulted machine. `kinds`: names of
    plant.course.GROUNDS in order, repeated, instead of a random mix. `start_c`: coolant at the start, the air's where
    None for odd seeds and 65 C for even ones. `wind_mps`: rms head or tail wind. `every`: drive steps (0.04 s) per heat
    step.
    """
    healthy = machine_of(bike, machine_seed) if machine is None else machine
    final = healthy.with_fault(fault, severity)
    engine = Engine(healthy)
    course = make_course(seed, duration_s, kinds, start_elevation_m)
    steps = int(duration_s / DT) + 1
    plan = _map_by_step(map_plan, seed, steps)
    ridden = drive(engine, course, seed, duration_s, ambient_c=ambient_c, wind_mps=wind_mps, conservative=plan)
    rng = np.random.default_rng([seed, 53])
    knots = np.arange(0.0, duration_s + 1800.0, 900.0)
    drift = np.interp(ridden.t_s, knots, np.concatenate([[0.0], np.cumsum(rng.normal(0.0, 0.35, len(knots) - 1))]))
    air_c = ambient_c - 0.0065 * (ridden.elevation_m - start_elevation_m) + drift
    drives, brake = heat_drives(healthy, engine, ridden, air_c, every)
    warm = start_c if start_c is not None else (ambient_c if seed % 2 else 65.0)
    case = ambient_c + 0.7 * (warm - ambient_c)
    if fault is None or fault_from_s <= 0.0:
        if fault is not None:
            drives, _ = heat_drives(final, Engine(final), ridden, air_c, every)
        nodes = integrate(final, drives, (warm, warm, warm, warm, case))
    else:
        at = int(fault_from_s / drives.dt_s)
        later, _ = heat_drives(final, Engine(final), ridden, air_c, every)
        one = integrate(healthy, drives.mapped(lambda x: x[:at]), (warm, warm, warm, warm, case))
        row = one.temperatures[-1]
        two = integrate(
            final, later.mapped(lambda x: x[at:]), (row[0], row[1], row[2], row[3], row[4]), bool(one.fan[-1])
        )
        drives = _joined(drives.mapped(lambda x: x[:at]), later.mapped(lambda x: x[at:]))
        nodes = Nodes(
            np.concatenate([one.temperatures[:-1], two.temperatures]), np.concatenate([one.fan, two.fan]),
            np.concatenate([one.opening, two.opening]), np.concatenate([one.heat_w, two.heat_w]),
            one.in_j + two.in_j, one.out_j + two.out_j, one.stored_j + two.stored_j,
        )  # fmt: skip
    trace = Trace(
        t_s=np.asarray(np.arange(len(drives.rpm)) * drives.dt_s, dtype=np.float64),
        coolant_c=nodes.temperatures[:-1, 1],
        metal_c=nodes.temperatures[:-1, 0],
        fan=nodes.fan,
        opening=nodes.opening,
        brake_w=brake,
        heat_w=nodes.heat_w,
        air_c=drives.air_c,
    )
    name = f"{final.bike.id}-{seed}"
    ride, logger = emit(final, ridden, trace, sensors or Sensors(), seed=seed, ambient_c=ambient_c, name=name)
    truth = Truth(final, trace, ridden, drives, nodes, fault, fault_from_s if fault is not None else 0.0)
    return Simulated(ride, truth, logger)
