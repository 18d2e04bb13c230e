"""Heat on its way from the burnt charge to the air: three stores of heat, a radiator, a fan and a thermostat."""

import math
from dataclasses import dataclass

from .noise import Line, Sheet
from .vehicle import Bike

COOLANT_JPKGK = 3560.0
AIR_JPKGK = 1006.0
METAL_JPK = 3000.0
ENGINE_COOLANT_JPK = 0.55 * COOLANT_JPKGK
RADIATOR_JPK = 0.45 * COOLANT_JPKGK + 620.0


def crossflow_effectiveness(units: float, ratio: float) -> float:
    """Both streams unmixed, the usual closed approximation; the limit for a very unequal pair is exact."""
    if units <= 0.0:
        return 0.0
    if ratio < 1e-6:
        return 1.0 - math.exp(-units)
    return 1.0 - math.exp(units**0.22 / ratio * (math.exp(-ratio * units**0.78) - 1.0))


def radiator_wpk(core_air_mps: float, flow_kgps: float, area_m2: float, density: float, blocked: float) -> float:
    """Heat shed for each degree between coolant in and air in. Mud costs heat transfer more than airflow."""
    air_mps = core_air_mps * (1.0 - 0.15 * blocked)
    if air_mps <= 0.0 or flow_kgps <= 0.0:
        return 0.0
    air_side = 76.0 * (area_m2 / 0.04) * math.sqrt(air_mps) * (1.0 - blocked)
    coolant_side = 620.0 * (flow_kgps / 0.25) ** 0.8
    conductance = 1.0 / (1.0 / air_side + 1.0 / coolant_side)
    air_cap = density * area_m2 * air_mps * AIR_JPKGK
    coolant_cap = flow_kgps * COOLANT_JPKGK
    small, large = min(air_cap, coolant_cap), max(air_cap, coolant_cap)
    return crossflow_effectiveness(conductance / small, small / large) * small


@dataclass(frozen=True, slots=True)
class EngineState:
    """What the cooling system feels of the engine over one of its steps."""

    indicated_w: float
    radps: float
    running: bool
    map_heat: float


@dataclass(frozen=True)
class Faults:
    """What is wrong with the cooling besides blocked fins; nothing as it stands."""

    flow_share: float = 1.0  # of the flow a sound pump gives
    fan_dead: bool = False
    thermostat_open: bool = False


SOUND = Faults()


@dataclass
class CoolingSystem:
    bike: Bike
    air_c: float
    density: float
    start_c: float
    blocked: float = 0.0
    faults: Faults = SOUND

    def __post_init__(self):
        self.metal_c = self.start_c
        self.coolant_c = self.start_c
        self.radiator_c = self.start_c if self.start_c < 40.0 else self.start_c - 6.0
        self.felt_c = self.start_c
        self.fan_on = False
        self.open_share = 0.0 if self.start_c < 60.0 else 0.5
        self.heat_w = 0.0
        self.shed_w = 0.0
        area, density, blocked = self.bike.core_area_m2, self.density, self.blocked

        def shed(air_mps, flow_kgps):
            return radiator_wpk(air_mps, flow_kgps, area, density, blocked)

        self._radiator = Sheet(shed, 0.2, 76, 0.01, 46)
        kilowatts = [0.0, 0.1, 0.25, 0.5, 1, 2, 3, 4, 6, 8, 10, 13, 16, 20, 25, 30, 36, 44, 55]
        self._wall_w = Line([1000.0 * p for p in kilowatts], [1760.0 * p**0.65 for p in kilowatts])

    def step(self, dt: float, engine: EngineState, air_speed_mps: float, sun_c: float) -> None:
        """The burnt charge heats the metal, the pump turns with the engine."""
        bike, running = self.bike, engine.running
        air_c = self.air_c + sun_c
        self.heat_w = self._wall_w(engine.indicated_w) * bike.heat_scale * engine.map_heat if running else 0.0
        self._turn_fan()
        self._move_thermostat(dt)
        pumped_kgps = 0.31 * engine.radps / 850.0 * self.faults.flow_share if running else 0.004
        through_kgps = pumped_kgps * (0.05 + 0.95 * self.open_share)
        ram_mps = 0.25 * max(air_speed_mps, 0.0)
        fan_mps = 1.5 if self.fan_on else 0.0
        drift_mps = 0.14  # warm air rises out of the core by itself
        core_mps = math.sqrt(ram_mps * ram_mps + fan_mps * fan_mps + drift_mps * drift_mps)
        shed_wpk = self._radiator(core_mps, through_kgps)
        carry_wpk = through_kgps * COOLANT_JPKGK
        contact_wpk = 120.0 + 900.0 * pumped_kgps
        skin_wpk = 3.0 + 0.30 * max(air_speed_mps, 0.0)
        to_coolant = contact_wpk * (self.metal_c - self.coolant_c)
        to_radiator = carry_wpk * (self.coolant_c - self.radiator_c)
        # Where the flow has just stopped, a radiator taken as steady would cool its outlet below the air.
        most_w = 90.0 * (self.radiator_c - air_c) + carry_wpk * (self.coolant_c - air_c)
        self.shed_w = min(shed_wpk * (self.coolant_c - air_c), most_w)
        from_skin = skin_wpk * (self.metal_c - air_c)
        self.metal_c += (self.heat_w - to_coolant - from_skin) * dt / METAL_JPK
        self.coolant_c += (to_coolant - to_radiator) * dt / ENGINE_COOLANT_JPK
        self.radiator_c += (to_radiator - self.shed_w) * dt / RADIATOR_JPK
        self.felt_c += (self.coolant_c - self.felt_c) * dt / 4.5

    def _turn_fan(self):
        if not self.bike.has_fan or self.faults.fan_dead:
            return
        if self.felt_c >= 95.0:
            self.fan_on = True
        elif self.felt_c <= 91.0:
            self.fan_on = False

    def _move_thermostat(self, dt):
        if self.bike.thermostat_c is None or self.faults.thermostat_open:
            self.open_share = 1.0
            return
        wanted = min(max((self.coolant_c - self.bike.thermostat_c) / 13.0, 0.0), 1.0)
        self.open_share += (wanted - self.open_share) * dt / 8.0
