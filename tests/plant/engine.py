"""The engine: trapped air through a throttled orifice and a scavenged cylinder, work, friction and heat to the walls.

Air through the throttle follows the compressible orifice, the crankcase pumps a volume per turn, and the pressure
between them balances the two (mean-value form). Scavenging is perfect mixing times a pipe factor; the pipe factor is
what makes the wide-open curve that of the bike file. Constants are assumed unless a source stands beside them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from plant.air import P0, R_AIR, T0
from plant.bikes import Machine

Array = npt.NDArray[np.float64]

GAMMA = 1.4
LHV = 43.0e6  # J/kg, gasoline, from memory
STOICH = 14.6  # kg air per kg gasoline, from memory
BURNT = 0.88  # share of the heat the trapped air could release that is released
AIR_HEAT = LHV / STOICH * BURNT
CP_GAS = 1200.0
IDLE_RPM = 1700.0
METAL_REF_C = 115.0


def orifice(ratio: Array) -> Array:
    """Flow function of an isentropic orifice, choked below a pressure ratio of 0.528 (textbook, from memory)."""
    critical = (2.0 / (GAMMA + 1.0)) ** (GAMMA / (GAMMA - 1.0))
    r = np.clip(ratio, critical, 1.0)
    inner = np.maximum(r ** (2.0 / GAMMA) - r ** ((GAMMA + 1.0) / GAMMA), 0.0)
    return np.asarray(np.sqrt(2.0 * GAMMA / (GAMMA - 1.0) * inner))


_RATIO = 1.0 - np.concatenate([np.linspace(0.0, 0.02, 60) ** 2 / 0.02, np.linspace(0.0204, 0.99, 600)])
_DEMAND = orifice(_RATIO) / _RATIO


@dataclass(frozen=True)
class Burn:
    """What the engine does, one entry per time: all powers in W.

    Heat to the metal node is `wall_a - wall_b * T_metal` (T in C), friction included; `case_w` goes to the crankcase.
    """

    brake_w: Array
    indicated_w: Array
    friction_w: Array
    wall_a: Array
    wall_b: Array
    case_w: Array
    fuel_w: Array
    released_w: Array


class Engine:
    """Engine of one machine: torque and heat from speed, throttle opening, air and map."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        bike = machine.bike
        self.volume = bike.displacement_cc * 1e-6
        self.curve_rpm = np.asarray(bike.power_curve_rpm)
        self.curve_kw = np.asarray(bike.power_curve_kw)
        self.peak_rpm = float(self.curve_rpm[int(np.argmax(self.curve_kw))])
        self.rev_limit = float(self.curve_rpm[-1]) + 300.0
        self.bore_area = math.pi / 4.0 * 0.038**2 * (self.volume / 293e-6) ** 0.7 * 0.36  # pulsating flow in 0.36
        self._rpm = np.arange(1000.0, self.rev_limit + 1001.0, 100.0)
        self._pipe = np.ones_like(self._rpm)
        self._fit_pipe()
        self.idle_throttle = self._find_idle()

    # -- charging -------------------------------------------------------------------------------------------------
    def pump_ratio(self, rpm: Array) -> Array:
        """Delivery ratio of the crankcase at full intake pressure."""
        x = (rpm - self.peak_rpm) / (0.45 * self.peak_rpm)
        return 0.52 + 0.45 * np.exp(-(x**2))

    def area(self, throttle: Array) -> Array:
        """Free throttle area with the idle passage, m2; throttle 0..1."""
        return np.asarray(self.bore_area * (0.0065 + 0.9935 * (1.0 - np.cos(throttle * math.pi / 2.0))))

    def intake_ratio(self, rpm: Array, throttle: Array, air_k: Array | float) -> Array:
        """Pressure behind the throttle over ambient pressure, where throttle flow equals crankcase flow."""
        demand = self.pump_ratio(rpm) * self.volume * rpm / 60.0 / (self.area(throttle) * np.sqrt(R_AIR * air_k))
        return np.asarray(np.interp(demand, _DEMAND, _RATIO))

    def charge(self, rpm: Array, throttle: Array, air_k: Array | float) -> Array:
        """Charging efficiency: trapped fresh air over air of ambient density filling the displacement."""
        ratio = self.intake_ratio(rpm, throttle, air_k)
        full = self.intake_ratio(rpm, np.ones_like(rpm), air_k)
        mixed = 1.0 - np.exp(-self.pump_ratio(rpm) * ratio)
        pipe = np.interp(rpm, self._rpm, self._pipe)
        return np.asarray(mixed * (1.0 + (pipe - 1.0) * (ratio / full) ** 0.8))

    @staticmethod
    def quality(charge: Array) -> Array:
        """Share of the good combustion left when residual gas dilutes a small charge."""
        return np.asarray(1.0 - 0.55 * np.exp(-((np.maximum(charge, 1e-6) / 0.22) ** 1.5)))

    def efficiency(self, rpm: Array) -> Array:
        """Indicated work over heat released, standard map, undiluted."""
        return np.asarray(0.36 - 0.03 * ((rpm / self.peak_rpm - 0.9) / 0.6) ** 2)

    @staticmethod
    def friction_pa(rpm: Array) -> Array:
        """Mean pressure of friction and scavenging, Pa."""
        n = rpm / 6000.0
        return np.asarray(1e5 * (0.30 + 0.25 * n + 0.20 * n**2))

    # -- maps -----------------------------------------------------------------------------------------------------
    def map_factors(self, conservative: bool) -> tuple[float, float, float, float]:
        """(mixture, work factor, in-cylinder heat factor, gas temperature K above the standard mixture's).

        Retard: sizes of a single-zone burn-rate and wall-heat calculation (8 deg: work -5.9 %, wall heat -19 %).
        Mixture: adiabatic flame temperature falls about 75 K from 1.1 to 1.3 times stoichiometric fuel (equilibrium of
        iso-octane and air by a chemistry library); the mean gas temperature is taken to move by half of it.
        """
        m = self.machine
        if not conservative:
            return m.phi_standard, 1.0 - 0.7 * (m.phi_standard - 1.10) ** 2, 1.0, 0.0
        d = m.retard_deg
        work = (1.0 - 0.003 * d - 0.0005 * d**2) * (1.0 - 0.7 * (m.phi_conservative - 1.10) ** 2)
        gas = -0.5 * 375.0 * (m.phi_conservative - m.phi_standard)
        return m.phi_conservative, work, m.map_heat * (1.0 - 0.0265 * d + 0.00035 * d**2), gas

    # -- work and heat --------------------------------------------------------------------------------------------
    def indicated_nm(self, rpm: Array, throttle: Array, conservative: bool = False) -> Array:
        """Indicated torque in standard air; scales with air density."""
        charge = self.charge(rpm, throttle, T0)
        _, work, _, _ = self.map_factors(conservative)
        _, work0, _, _ = self.map_factors(False)
        mass = charge * self.volume * P0 / (R_AIR * T0)
        energy = mass * AIR_HEAT * self.efficiency(rpm) * self.quality(charge) * (work / work0)
        return np.asarray(energy / (2.0 * math.pi))

    def friction_nm(self, rpm: Array) -> Array:
        """Friction torque."""
        return np.asarray(self.friction_pa(rpm) * self.volume / (2.0 * math.pi))

    def burn(
        self,
        rpm: Array,
        throttle: Array,
        *,
        pressure_pa: Array | float,
        air_c: Array | float,
        conservative: npt.NDArray[np.bool_],
        firing: npt.NDArray[np.bool_],
    ) -> Burn:
        """Powers and heats at every instant. `firing` is false where no fuel is given or the engine stands."""
        m = self.machine
        turning = rpm > 100.0
        speed = np.maximum(rpm, 500.0)
        charge = self.charge(speed, throttle, T0)
        density = pressure_pa / (R_AIR * (np.asarray(air_c) + 273.15))
        rate = np.where(firing, charge * self.volume * density * speed / 60.0, 0.0)
        std, con = self.map_factors(False), self.map_factors(True)
        phi = np.where(conservative, con[0], std[0])
        work = np.where(conservative, con[1] / std[1], 1.0)
        cylinder = np.where(conservative, con[2], 1.0)
        quality = self.quality(charge)
        released = rate * AIR_HEAT * (0.55 + 0.45 * quality)
        indicated = rate * AIR_HEAT * self.efficiency(speed) * quality * work
        friction = np.where(turning, self.friction_pa(speed) * self.volume * speed / 60.0, 0.0)
        # In-cylinder: mass flow to the 0.75, mean gas temperature (form of Taylor's correlation, from memory).
        gas_c = 410.0 + 290.0 * quality + np.where(conservative, con[3], 0.0)
        wall_h = 280.0 * (self.volume / 293e-6) ** 0.2 * cylinder * rate**0.75
        wall_ref = wall_h * (gas_c - METAL_REF_C)
        through = rate * (1.0 + phi / STOICH) * 1.15 + 1e-9
        exhaust_c = np.asarray(air_c) + np.maximum(released - indicated - wall_ref, 0.0) / (through * CP_GAS)
        port_h = 32.0 * (self.volume / 293e-6) ** 0.2 * rate**0.6
        scale = m.heat_scale
        wall_a = scale * (wall_h * gas_c + port_h * exhaust_c + 0.6 * friction)
        wall_b = scale * (wall_h + port_h)
        fuel = phi * rate / STOICH * LHV * 1.08
        brake = np.where(turning, indicated - friction, 0.0)
        return Burn(brake, indicated, friction, wall_a, wall_b, 0.4 * friction, fuel, released)

    def throttle_for(self, rpm: float, power_w: float, conservative: bool = False) -> float:
        """Throttle 0..1 that makes a brake power at a speed in standard air. Raises ValueError where none does."""
        grid = np.linspace(0.0, 1.0, 2001)
        speed = np.full_like(grid, rpm)
        power = (self.indicated_nm(speed, grid, conservative) - self.friction_nm(speed)) * rpm * math.pi / 30.0
        if not power[0] <= power_w <= power[-1]:
            raise ValueError(f"{power_w:.0f} W at {rpm:.0f} 1/min is outside {power[0]:.0f}..{power[-1]:.0f} W")
        return float(np.interp(power_w, power, grid))

    # -- fits -----------------------------------------------------------------------------------------------------
    def wide_open_w(self, rpm: Array) -> Array:
        """Wide-open brake power of the bike file, W: straight lines, continued with constant torque below."""
        low, high = float(self.curve_rpm[0]), float(self.curve_rpm[-1])
        inside = np.interp(rpm, self.curve_rpm, self.curve_kw) * 1000.0
        over = inside * np.maximum(1.0 - 0.0012 * np.maximum(rpm - high, 0.0), 0.1)
        return np.asarray(np.where(rpm < low, inside * rpm / low, over))

    def _fit_pipe(self) -> None:
        mean = self.wide_open_w(self._rpm) / (self.volume * self._rpm / 60.0) + self.friction_pa(self._rpm)
        per_charge = P0 / (R_AIR * T0) * AIR_HEAT * self.efficiency(self._rpm)
        charge = mean / per_charge
        for _ in range(50):
            charge = mean / (per_charge * self.quality(charge))
        full = self.intake_ratio(self._rpm, np.ones_like(self._rpm), T0)
        self._pipe = charge / (1.0 - np.exp(-self.pump_ratio(self._rpm) * full))

    def _find_idle(self) -> float:
        grid = np.linspace(0.0, 0.3, 1201)
        speed = np.full_like(grid, IDLE_RPM)
        net = self.indicated_nm(speed, grid) - self.friction_nm(speed)
        return float(np.interp(0.0, net, grid))
