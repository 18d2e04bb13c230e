"""The time loop: one rider on one bike round one course on one day."""

from array import array
from dataclasses import dataclass, field

import numpy as np

from .cooling import SOUND, CoolingSystem, EngineState, Faults
from .course import GROUNDS, Course
from .noise import Wander, source
from .rider import MapHand, Press, Rider, Stop
from .vehicle import REFERENCE_DENSITY, Bike, Place, Powertrain

STEP_S = 0.02
THERMAL_EVERY = 5
CHANNELS = (
    "t_s",
    "distance_m",
    "speed_mps",
    "wheel_mps",
    "engine_radps",
    "torque_nm",
    "crank_w",
    "opening",
    "clutch",
    "gear",
    "conservative",
    "running",
    "zone",
    "drag",
    "sine",
    "coolant_c",
    "metal_c",
    "heat_w",
    "shed_w",
    "fan_on",
)


@dataclass(frozen=True)
class Day:
    """Air and sun of a ride."""

    ambient_c: float
    wind_mps: float = 2.0
    wind_x: float = 0.8
    wind_y: float = 0.6
    pressure_pa: float = 97600.0
    sun_c: float = 1.0

    @property
    def density(self) -> float:
        return self.pressure_pa / (287.05 * (self.ambient_c + 273.15))


@dataclass(frozen=True)
class RidePlan:
    bike: Bike
    course: Course
    day: Day
    seed: int
    laps: float
    pace: float = 1.0
    stops: tuple[Stop, ...] = ()
    queue_s: float = 25.0  # idling at the start
    press: object = Press()
    always_conservative: bool = False
    conservative_laps: tuple[int, ...] = ()  # whole laps, counted from 1
    start_c: float | None = None
    blocked: float = 0.0
    end_s: float = 20.0
    end_engine_runs: bool = True
    faults: Faults = SOUND


@dataclass
class Trace:
    """What truly happened, at every step, and the books of the powertrain."""

    plan: RidePlan
    channels: dict[str, np.ndarray] = field(default_factory=dict)
    train: Powertrain | None = None

    def __getitem__(self, name: str) -> np.ndarray:
        return self.channels[name]

    @property
    def duration_s(self) -> float:
        return float(self.channels["t_s"][-1])


def simulate(plan: RidePlan) -> Trace:
    course, day, bike = plan.course, plan.day, plan.bike
    train = Powertrain(bike, STEP_S)
    stops = [Stop(0.0, plan.queue_s), *plan.stops, Stop(plan.laps * course.length_m, plan.end_s, plan.end_engine_runs)]
    rider = Rider(course, train, plan.seed, plan.pace, stops)
    press = plan.press if callable(plan.press) else lambda _name, _lap: plan.press
    hand = MapHand(course, press, plan.always_conservative, plan.conservative_laps)
    start_c = day.ambient_c if plan.start_c is None else plan.start_c
    cooling = CoolingSystem(bike, day.ambient_c, day.density, start_c, plan.blocked, plan.faults)
    gust = Wander(source(plan.seed, "gust"), 0.8, 6.0, STEP_S)
    cloud = Wander(source(plan.seed, "cloud"), 0.7, 150.0, STEP_S * THERMAL_EVERY)
    log = {name: array("d") for name in CHANNELS}
    columns = [log[name].append for name in CHANNELS]
    distance_m, density, count = 0.0, day.density, 0
    indicated_sum_w = 0.0
    while not rider.finished:
        along = int(distance_m) % course.length_m
        zone = course.zone_at[along]
        ground = GROUNDS[course.zones[zone].ground]
        t_s = count * STEP_S
        conservative = hand.step(t_s, distance_m)
        strength = density / REFERENCE_DENSITY * (bike.conservative_torque if conservative else 1.0)
        blow = day.wind_mps * (day.wind_x * course.heading_x[along] + day.wind_y * course.heading_y[along])
        wind = (gust.step() + blow) * (1.0 - ground.shelter)
        air = train.speed_mps + wind
        aero_n = 0.5 * density * bike.drag_area_m2 * air * abs(air)
        sine, drag = course.sine[along], course.drag[along]
        hands = rider.step(distance_m, sine, aero_n, strength)
        before = train.speed_mps
        train.step(hands, Place(ground, drag, sine, aero_n), rider.engine_runs, strength)
        distance_m += 0.5 * (before + train.speed_mps) * STEP_S
        indicated_sum_w += train.indicated_w
        if count % THERMAL_EVERY == 0:
            heat = bike.conservative_heat if conservative else 1.0
            cooling.step(
                STEP_S * THERMAL_EVERY,
                EngineState(indicated_sum_w / THERMAL_EVERY, train.engine_radps, rider.engine_runs, heat),
                abs(air),
                day.sun_c + cloud.step(),
            )
            indicated_sum_w = 0.0
        values = (
            t_s,
            distance_m,
            train.speed_mps,
            train.wheel_mps,
            train.engine_radps,
            train.torque_nm,
            train.crank_w,
            hands.opening,
            hands.clutch,
            train.gear,
            conservative,
            rider.engine_runs,
            zone,
            drag,
            sine,
            cooling.coolant_c,
            cooling.metal_c,
            cooling.heat_w,
            cooling.shed_w,
            cooling.fan_on,
        )
        for append, value in zip(columns, values, strict=True):
            append(value)
        count += 1
        if count > 5_000_000:
            raise RuntimeError("the ride does not end")
    return Trace(plan, {name: np.frombuffer(column, dtype=float) for name, column in log.items()}, train)
