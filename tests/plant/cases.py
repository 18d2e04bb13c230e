"""Blind cases for the diagnosis: a ride, five healthy rides of the same machine before it, and what was wrong.

A block of 48 cases has four machines, one a bike file. Causes come in equal share, drawn by number, so that seeds that
were not used for tuning hold the same mix. All figures are assumed.

What is right for a healthy bike is read off the simulator too (`asked`): a ride that was never hot is `normal`; one
that was is put down to the ground, to standing, to the standard map where the sheet advises the other, or to the day.
Where the log does not tell the map, or tells it the wrong way round, it is the ground.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from plant.bikes import BIKES, Fault, Machine, bike_of, machine_of
from plant.course import GROUNDS
from plant.engine import Engine
from plant.sensors import Sensors, emit
from plant.simulate import MapPlan, Simulated, heat_drives, simulate
from plant.thermal import Nodes, integrate
from plant.trouble import SENSOR_TROUBLE, air_bubbles, bouncing_slots, gas_jumps, sick_coolant, swapped_slots
from plant.truth import Trace, Truth
from ridelog.bike import Bike
from ridelog.quality import find_marks
from ridelog.ride import Ride

Array = npt.NDArray[np.float64]

KINDS = (
    "fins", "flow", "heat", "fan", "thermostat_closed", "thermostat_open", "gas", "sensor", "sand_standard", "terrain",
    "healthy", "air_or_cap",
)  # fmt: skip
BLOCK = 4 * len(KINDS)
HISTORY = 5

HOT_C = 105.0
HOT_S = 30.0
"""A ride is hot once the coolant was over the bike file's `hot` for half a minute in all."""

MOVED_C = 4.0
MOVED_S = 60.0
"""A fault moved the coolant where it was 4 C from that of the healthy machine on the same ride for a minute in all."""

DEEP_DRAG, AFTER_S = 0.20, 60.0
ORDINARY_C = 25.0
HOT_DAY_C = 30.0

_CAUSE = {
    "fins": "airflow_blocked",
    "flow": "coolant_flow_low",
    "heat": "heat_input_high",
    "fan": "fan_fault",
    "thermostat_closed": "thermostat_restricted",
    "thermostat_open": "thermostat_stuck_open",
    "gas": "combustion_gas_in_coolant",
    "sensor": "sensor_fault",
    "air": "air_in_system",
    "cap": "cap_leaking",
}

_HARD = ("slow_climb", "sand", "rocks", "slow_climb", "forest")
_SAND = ("sand", "dirt_road", "sand", "forest")
_SLOW = ("slow_climb", "forest", "rocks", "descent")
_PAIRS = (("fins", "heat"), ("flow", "heat"), ("heat", "fan"), ("gas", "fins"), ("fins", "fan"))


@dataclass(frozen=True)
class Case:
    """A blind case. `causes`: what was wrong, the chief one first; `moved_s`: seconds the coolant was MOVED_C or more
    from that of the healthy machine; `conservative`: share of the sand ridden on the conservative map, in truth, NaN
    without sand; `history` numbers the healthy rides (see `history`)."""

    seed: int
    kind: str
    ride: Ride
    bike: Bike
    causes: tuple[str, ...]
    notes: tuple[str, ...]
    moved_s: float
    conservative: float
    hot_s: float
    map_logged: bool
    slots: str
    severity: float
    machine: tuple[int, str]

    @property
    def moved(self) -> bool:
        """Whether the fault moved the coolant enough to count."""
        return self.moved_s >= MOVED_S


def kind_of(seed: int) -> tuple[str, str]:
    """Kind of trouble and bike of a seed."""
    number = seed % BLOCK
    kind, turn = KINDS[number % len(KINDS)], number // len(KINDS)
    if kind == "air_or_cap":
        kind = ("air", "cap")[turn % 2]
    some = list(BIKES)
    if kind == "fan":
        some = [bike for bike in BIKES if bike_of(bike).fan_on_c is not None]
    elif kind.startswith("thermostat"):
        some = [bike for bike in BIKES if bike_of(bike).thermostat_c is not None]
    return kind, some[turn % len(some)]


def machine_seed(seed: int) -> int:
    """The machines of a seed's block: the same for all its cases."""
    return 7919 + seed // BLOCK


def history(machine: int, bike: str, number: int, *, swapped: bool = False) -> Ride:
    """A healthy ride of a machine, with quality marks as an import would set them; `swapped`: its logger writes the
    map's slots the other way round."""
    ride = _healthy_ride(machine, bike, number)
    return _marked(swapped_slots(ride) if swapped else ride, bike_of(bike))


@lru_cache(maxsize=4 * HISTORY)
def _healthy_ride(machine: int, bike: str, number: int) -> Ride:
    rng = np.random.default_rng([machine, number, 71])
    plans: tuple[MapPlan, ...] = ("standard", "advice", "alternate")
    return simulate(
        int(rng.integers(1, 2**30)),
        bike,
        machine_seed=machine,
        ambient_c=float(rng.uniform(5.0, 33.0)),
        duration_s=float(rng.uniform(1500.0, 2400.0)),
        map_plan=plans[int(rng.integers(3))],
    ).ride


def case(seed: int) -> Case:
    """One blind case."""
    kind, bike_id = kind_of(seed)
    rng = np.random.default_rng([seed, 97])
    healthy = machine_of(bike_id, machine_seed(seed))
    second = _second(kind, healthy, rng)
    severity = _severity(kind, rng)
    sick = _faulted(healthy, kind, severity)
    if second is not None:
        sick = _faulted(sick, second, _severity(second, rng))
    plan, kinds, (low_c, high_c) = _outing(kind, second, rng)
    ambient_c = float(rng.uniform(low_c, high_c))
    unlogged = bool(rng.random() < 1.0 / 3.0)
    sensors = Sensors(
        coolant_step=float(rng.choice([0.1, 0.2, 0.5, 1.0, 2.0])),
        leave_out=("ambient_c", "map_slot") if unlogged else ("ambient_c",),
    )
    duration_s = float(rng.uniform(1200.0, 2400.0))
    for _ in range(4):
        ridden = simulate(
            int(rng.integers(1, 2**30)), bike_id, machine=sick, map_plan=plan, kinds=kinds, ambient_c=ambient_c,
            duration_s=duration_s, sensors=sensors,
        )  # fmt: skip
        # A machine without a fault is its own twin.
        twin = twin_of(ridden.truth, healthy) if sick != healthy else ridden.truth.nodes
        trace = ridden.truth.trace
        if not _called_for(kind, second, twin, trace, ambient_c):
            continue
        break
    parts = {kind, second}
    if "gas" in parts:
        trace = gas_jumps(trace, rng, healthy.bike.peak_power_kw)
    if "air" in parts:
        trace = air_bubbles(trace, rng)
    ride = _written(ridden, trace, ambient_c)
    if kind == "sensor":
        ride = sick_coolant(ride, SENSOR_TROUBLE[seed // BLOCK % len(SENSOR_TROUBLE)], rng)
    ride, bike, slots = _slots(ride, healthy.bike, rng, logged=not unlogged)
    causes = tuple(_CAUSE[part] for part in (kind, second) if part in _CAUSE)
    if not causes:
        causes = asked(ridden.truth, healthy, ambient_c, map_told=not unlogged and slots != "inverted")
    notes = ("coolant at the overflow after the ride, level low",) if kind == "cap" else ()
    apart = np.abs(trace.coolant_c - twin.temperatures[: trace.t_s.size, 1]) >= MOVED_C
    step_s = float(trace.t_s[1] - trace.t_s[0])
    sand = ridden.truth.drive.ground == [ground.name for ground in GROUNDS].index("sand")
    used = ridden.truth.drive.conservative[sand]
    return Case(
        seed, kind if second is None else f"{kind}+{second}", _marked(ride, bike), bike, causes, notes,
        moved_s=float(apart.sum() * step_s), conservative=float(used.mean()) if used.size else float("nan"),
        hot_s=ridden.truth.trace.seconds_above(HOT_C), map_logged=not unlogged, slots=slots, severity=severity,
        machine=(machine_seed(seed), bike_id),
    )  # fmt: skip


def asked(truth: Truth, machine: Machine, ambient_c: float, *, map_told: bool) -> tuple[str, ...]:
    """What made a healthy bike hot, the chief reason first: seconds over HOT_C by where they were ridden. `map_told`:
    the log tells the map as it was."""
    trace, ridden = truth.trace, truth.drive
    step_s = float(trace.t_s[1] - trace.t_s[0])
    every = round(step_s / float(ridden.t_s[1] - ridden.t_s[0]))
    rows = slice(0, trace.t_s.size * every, every)
    running, ground = ridden.engine_on[rows], ridden.ground[rows]
    hot = (trace.coolant_c > HOT_C) & running
    if hot.sum() * step_s < HOT_S:
        return ("normal",)
    # Where the sheet advises the conservative map: deep drag over twenty seconds. Its heat shows for a minute more.
    size = round(20.0 / step_s)
    drag = np.convolve(np.where(ground >= 0, ridden.drag[rows], 0.0), np.full(size, 1.0 / size), mode="same")
    missed = (drag >= DEEP_DRAG) & ~ridden.conservative[rows]
    missed = np.convolve(missed, np.ones(round(AFTER_S / step_s)))[: missed.size] > 0.5
    found = []
    if map_told and missed[hot].mean() >= 0.5:
        found.append("load_without_conservative_map")
    elif (ground < 0)[hot].mean() >= 0.5:
        found.append("standstill_soak")
    else:
        found.append("terrain_load")
    if ambient_c >= HOT_DAY_C:
        mild = twin_of(truth, machine, ORDINARY_C - ambient_c)
        if ((mild.temperatures[:-1, 1] > HOT_C) & running).sum() < 0.34 * hot.sum():
            found.append("hot_conditions")
    return tuple(found)


def twin_of(truth: Truth, machine: Machine, warmer_k: float = 0.0) -> Nodes:
    """The same ride on another machine, on a day that much warmer."""
    every = round(truth.drives.dt_s / float(truth.drive.t_s[1] - truth.drive.t_s[0]))
    air = np.repeat(truth.drives.air_c, every) + warmer_k
    air = np.append(air, np.full(max(truth.drive.t_s.size - air.size, 0), air[-1]))
    drives, _ = heat_drives(machine, Engine(machine), truth.drive, air, every)
    row = truth.nodes.temperatures[0]
    return integrate(machine, drives, (row[0], row[1], row[2], row[3], row[4]))


def _second(kind: str, machine: Machine, rng: np.random.Generator) -> str | None:
    """A second fault in every tenth case of those kinds that come in pairs."""
    draw, pick = rng.random(), rng.random()
    options = [b for a, b in _PAIRS if a == kind] + [a for a, b in _PAIRS if b == kind]
    options = [one for one in options if one != "fan" or machine.fan_on_c is not None]
    # Five of twelve kinds can have a second fault: one in four of them makes a tenth of all.
    return options[int(pick * len(options))] if options and draw < 0.24 else None


def _severity(kind: str, rng: np.random.Generator) -> float:
    low, high = {
        "fins": (0.20, 0.60),
        "flow": (0.30, 0.70),
        "heat": (0.10, 0.30),
        "thermostat_closed": (0.05, 0.20),
    }.get(kind, (0.0, 1.0))
    return float(rng.uniform(low, high))


def _faulted(machine: Machine, kind: str, severity: float) -> Machine:
    names: dict[str, Fault] = {
        "fins": "fins_blocked",
        "flow": "flow_low",
        "heat": "heat_high",
        "fan": "fan_off",
        "thermostat_closed": "thermostat_closed",
        "thermostat_open": "thermostat_open",
    }
    if kind not in names:
        return machine
    left = {"flow": 1.0 - severity, "fins": severity, "heat": severity}.get(kind)
    new = machine.with_fault(names[kind], left)
    return replace(new, thermostat_stuck=severity) if kind == "thermostat_closed" else new


def _outing(
    kind: str, second: str | None, rng: np.random.Generator
) -> tuple[MapPlan, tuple[str, ...] | None, tuple[float, float]]:
    """Map plan, ground and band of air temperatures."""
    plans: tuple[MapPlan, ...] = ("standard", "advice", "alternate", "conservative")
    plan, mixed = plans[int(rng.integers(4))], bool(rng.random() < 0.7)
    if kind == "sand_standard":
        return "standard", _SAND, (16.0, 38.0)
    if kind == "terrain":
        return plans[1 + int(rng.integers(3))], _HARD, (12.0, 38.0)
    if "fan" in (kind, second):
        return plan, None if rng.random() < 0.4 else _SLOW, (18.0, 38.0)
    if kind in ("healthy", "cap"):
        return plan, None, (5.0, 30.0)
    if "gas" in (kind, second):
        mixed = mixed and rng.random() < 0.5
    return plan, None if mixed else (_HARD, _SAND)[int(rng.integers(2))], (5.0, 38.0)


def _called_for(kind: str, second: str | None, twin: Nodes, trace: Trace, ambient_c: float) -> bool:
    """Whether the ride shows what the case is about; else another is ridden."""
    step_s = float(trace.t_s[1] - trace.t_s[0])
    if "fan" in (kind, second):
        return float(twin.fan.sum() * step_s) >= 90.0
    if kind in ("sand_standard", "terrain"):
        return trace.seconds_above(HOT_C) >= 2.0 * HOT_S
    return kind != "cap" or trace.seconds_above(HOT_C) < HOT_S


def _written(ridden: Simulated, trace: Trace, ambient_c: float) -> Ride:
    """The ride as its logger would have written another trace; nothing of it tells whether the bike was healthy."""
    ride = ridden.ride
    if trace is not ridden.truth.trace:
        name = ride.id.rpartition("-")[0]
        ride, _ = emit(
            ridden.truth.machine, ridden.truth.drive, trace, ridden.sensors, seed=int(name.rpartition("-")[2]),
            ambient_c=ambient_c, name=name,
        )  # fmt: skip
    return replace(ride, condition="unknown")


def _slots(ride: Ride, bike: Bike, rng: np.random.Generator, *, logged: bool) -> tuple[Ride, Bike, str]:
    draw, known = rng.random(), rng.random() < 0.5
    if not logged or draw >= 1.0 / 6.0:
        return ride, bike, "plain"
    if draw < 1.0 / 12.0:
        return bouncing_slots(ride, rng), bike, "bouncing"
    if not known:
        return swapped_slots(ride), bike, "inverted"
    # The bike file tells of it, so that the import has turned the numbers already.
    return ride, replace(bike, slot_values=(("1", 2), ("2", 1))), "inverted, told"


def _marked(ride: Ride, bike: Bike) -> Ride:
    """With quality marks as an import would set them."""
    return replace(ride, quality=find_marks(ride.samples, ride.channels, ride.gaps, bike.rpm_per_mps))
