"""Engine, clutch, gearbox and tyre of one bike, stepped so that every joule can be accounted for."""

import math
from dataclasses import dataclass, field
from typing import NamedTuple

from .course import GRAVITY_MPS2, Ground
from .noise import Line, Sheet

REFERENCE_DENSITY = 1.19  # of the air the power curves were taken in
IDLE_RADPS = 188.0
CUT_RADPS = 1075.0


@dataclass(frozen=True)
class Bike:
    """What the simulated machine truly is; the bike files state it the way a workshop would, within a few percent."""

    id: str
    mass_kg: float
    circumference_m: float
    primary: float
    final: float
    gears: tuple[float, ...]
    efficiency: float
    drag_area_m2: float
    curve_rpm: tuple[float, ...]
    curve_kw: tuple[float, ...]
    motoring_nm: float
    heat_scale: float
    has_fan: bool
    thermostat_c: float | None
    core_area_m2: float
    conservative_heat: float
    conservative_torque: float = 0.978
    engine_inertia_kgm2: float = 0.0040
    wheel_mass_kg: float = 9.0
    clutch_nm: float = 75.0


def opening_share(opening: float, radps: float) -> float:
    """Share of the wide-open torque: a slow engine already gets nearly all it can breathe through a small opening."""
    scale = 0.22 + 0.00050 * radps
    return (1.0 - math.exp(-opening / scale)) / (1.0 - math.exp(-1.0 / scale))


def opening_for(share: float, radps: float) -> float:
    scale = 0.22 + 0.00050 * radps
    return -scale * math.log(1.0 - min(share, 1.0) * (1.0 - math.exp(-1.0 / scale)))


class Hands(NamedTuple):
    """What the rider does over a step; `clutch` is the share of its capacity in use, 1 when it is home."""

    opening: float
    clutch: float
    brake_n: float


class Place(NamedTuple):
    """What the bike meets where it is."""

    ground: Ground
    drag: float
    sine: float
    aero_n: float


class Forces(NamedTuple):
    """Forces of one step; `pass_n` is what the clutch passes on, before gearbox losses."""

    pass_n: float
    push_n: float
    terrain_n: float
    grade_n: float
    aero_n: float
    brake_n: float
    torque_nm: float
    gain: float


@dataclass
class Ledger:
    """Running sums in joules, for checking that the physics closes."""

    crank: float = 0.0
    driveline: float = 0.0
    clutch: float = 0.0
    slip: float = 0.0
    terrain: float = 0.0
    grade: float = 0.0
    aero: float = 0.0
    brake: float = 0.0
    engine_spin: float = 0.0

    def spent(self) -> float:
        """Where the crank's work went, apart from the speed the bike and its wheels now have."""
        machine = self.driveline + self.clutch + self.engine_spin
        return machine + self.slip + self.terrain + self.grade + self.aero + self.brake


@dataclass
class Powertrain:
    bike: Bike
    step_s: float
    speed_mps: float = 0.0
    wheel_mps: float = 0.0
    engine_radps: float = IDLE_RADPS
    gear: int = 1
    locked: bool = False
    torque_nm: float = 0.0
    crank_w: float = 0.0
    indicated_w: float = 0.0
    ledger: Ledger = field(default_factory=Ledger)

    def __post_init__(self):
        bike = self.bike
        points = [(r * math.pi / 30.0, p * 1000.0) for r, p in zip(bike.curve_rpm, bike.curve_kw, strict=True)]
        self._full_nm = Line([w for w, _ in points], [p / w for w, p in points])
        self._share = Sheet(opening_share, 0.01, 101, 25.0, 48)
        self._opening = Sheet(opening_for, 0.01, 101, 25.0, 48)
        self._per_wheel = [2.0 * math.pi * bike.primary * g * bike.final / bike.circumference_m for g in bike.gears]

    def ratio(self, gear: int) -> float:
        """Engine rad/s for each m/s at the tyre."""
        return self._per_wheel[gear - 1]

    def motoring_nm(self, radps: float) -> float:
        return self.bike.motoring_nm * (0.55 + 0.00055 * radps)

    def opening_for_force(self, force_n: float, strength: float) -> float:
        """The opening a practised hand gives for a wanted push at the tyre, in this gear."""
        radps = max(self.engine_radps, 250.0)
        wanted = force_n / (self.ratio(self.gear) * self.bike.efficiency)
        drag = self.motoring_nm(radps)
        full = self._full_nm(radps) * strength
        share = (wanted + drag) / (full + drag)
        return 0.0 if share <= 0.0 else self._opening(min(share, 1.0), radps)

    def _brake_torque(self, opening: float, running: bool, strength: float) -> float:
        w = self.engine_radps
        drag = self.motoring_nm(w)
        if not running:
            self.indicated_w = 0.0
            return -3.0 * drag if w > 1.0 else 0.0
        share = self._share(opening, w)
        if w > CUT_RADPS:
            share = 0.0
        torque = self._full_nm(w) * strength * share - drag * (1.0 - share)
        if w < IDLE_RADPS * 1.15 and opening < 0.05:
            torque = max(torque, min((IDLE_RADPS - w) * 0.08, 9.0))
        self.indicated_w = max(torque + drag, 0.0) * w
        return torque

    def step(self, hands: Hands, place: Place, running: bool, strength: float) -> None:
        """One time step; `strength` is what air and map leave of the engine's torque."""
        bike, dt = self.bike, self.step_s
        opening, clutch, brake_n = hands
        ground, terrain, sine, aero_n = place
        v0, wheel0, w0 = self.speed_mps, self.wheel_mps, self.engine_radps
        k = self.ratio(self.gear)
        torque = self._brake_torque(opening, running, strength)
        weight = bike.mass_kg * GRAVITY_MPS2
        tyre = (ground.slip_stiffness * weight, ground.grip * weight)
        gain, pass_nm, wheel1, push_n = self._couple(torque, clutch, v0, tyre)
        grade_n = weight * sine
        moving = 1.0 if v0 > 0.05 else v0 / 0.05
        terrain_n = terrain * weight * moving
        resist = aero_n + grade_n + terrain_n
        v1 = v0 + (push_n - resist - brake_n) * dt / bike.mass_kg
        if v1 < 0.0:
            # Brakes and ground hold a stopped bike; they push it nowhere.
            brake_n += v1 * bike.mass_kg / dt if brake_n > 0.0 else 0.0
            brake_n = max(brake_n, 0.0)
            v1 = 0.0
        w1 = max(w0 + (torque - pass_nm) * dt / bike.engine_inertia_kgm2, 0.0)
        self.locked = clutch >= 0.98 and abs(w1 - k * wheel1) < 1.0
        forces = Forces(pass_nm * k, push_n, terrain_n, grade_n, aero_n, brake_n, torque, gain)
        self._book((v0, v1), (wheel0, wheel1), (w0, w1), forces)
        self.speed_mps, self.wheel_mps, self.engine_radps, self.torque_nm = v1, wheel1, w1, torque

    def _couple(self, torque: float, clutch: float, speed: float, tyre: tuple[float, float]):
        """Gearbox gain, clutch torque, wheel speed and push after this step.

        Engine and wheel are first taken as one; only where that would ask more of the clutch than it can carry do they
        slide past each other, with the clutch at its capacity. Both together, because either alone is far too light to
        be stepped against the other.
        """
        bike, dt = self.bike, self.step_s
        k, wheel0, w0 = self.ratio(self.gear), self.wheel_mps, self.engine_radps
        gain = bike.efficiency if torque > 0.0 else 1.0 / bike.efficiency
        carried = gain * bike.engine_inertia_kgm2 * k
        both = bike.wheel_mass_kg + carried * k
        together = (bike.wheel_mass_kg * wheel0 + carried * w0) / both
        wheel1, push_n = _turn_wheel((together, speed), gain * torque * k, both / dt, tyre)
        pass_nm = torque - bike.engine_inertia_kgm2 * (k * wheel1 - w0) / dt
        room_nm = clutch * bike.clutch_nm
        if abs(pass_nm) > room_nm:
            pass_nm = room_nm if pass_nm > 0.0 else -room_nm
            gain = bike.efficiency if pass_nm > 0.0 else 1.0 / bike.efficiency
            wheel1, push_n = _turn_wheel((wheel0, speed), gain * pass_nm * k, bike.wheel_mass_kg / dt, tyre)
        return gain, pass_nm, wheel1, push_n

    def _book(self, speeds, wheels, spins, forces: Forces) -> None:
        """Powers at mid-step speeds, which makes the kinetic terms exact."""
        dt, sums = self.step_s, self.ledger
        v, wheel, w = 0.5 * sum(speeds), 0.5 * sum(wheels), 0.5 * sum(spins)
        spin_j = 0.5 * self.bike.engine_inertia_kgm2 * (spins[1] * spins[1] - spins[0] * spins[0])
        crank_j = forces.torque_nm * w * dt
        gearbox_j = forces.pass_n * wheel * dt
        sums.driveline += (1.0 - forces.gain) * gearbox_j
        sums.clutch += crank_j - spin_j - gearbox_j
        sums.crank += crank_j
        sums.engine_spin += spin_j
        sums.slip += forces.push_n * (wheel - v) * dt
        sums.terrain += forces.terrain_n * v * dt
        sums.grade += forces.grade_n * v * dt
        sums.aero += forces.aero_n * v * dt
        sums.brake += forces.brake_n * v * dt
        self.crank_w = crank_j / dt


def _turn_wheel(speeds: tuple[float, float], drive_n: float, inertia: float, tyre: tuple[float, float]):
    """Wheel speed after one step and the push it gives; `inertia` is rotating mass over step length, in kg/s.

    Solved implicitly: the tyre's slip stiffness is far too stiff to be stepped forward.
    """
    wheel0, v = speeds
    stiff_n, limit_n = tyre
    b = stiff_n - drive_n - inertia * wheel0
    wheel1 = (-b + math.sqrt(b * b + 4.0 * inertia * stiff_n * max(v, 0.02))) / (2.0 * inertia)
    push_n = drive_n - inertia * (wheel1 - wheel0)
    if abs(push_n) > limit_n:
        held_n = limit_n if push_n > 0.0 else -limit_n
        wheel1 = max(wheel0 + (drive_n - held_n) / inertia, 0.0)
        push_n = drive_n - inertia * (wheel1 - wheel0)
    return wheel1, push_n
