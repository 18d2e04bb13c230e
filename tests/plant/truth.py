"""What the simulator knows for sure: conductances, heat input, settle temperatures and the trace without a sensor.

Definitions
-----------
Reference conditions: calm air at 1.15 kg/m3, thermostat fully open, pump at `reference_rpm` = 0.60 x the speed of peak
power, coolant 70 K above the air (only natural draught depends on it), gearbox oil at its own balance without friction.

`conductance_w_per_k(v)`: at held conditions the nodes settle with K x = q e_metal, x = T - T_air. The conductance is
G = q / x_jacket: all heat that leaves (radiator, metal and crankcase losses) per kelvin between the coolant at the
sensor and the air.

`capacity_j_per_k`: the C for which slow heating obeys C dT/dt = q - G (T - T_air) at the sensor, exact to first order
in the rate. With slowly changing heat x = h q, h = K^-1[:, metal], to lowest order; what the nodes then store lowers
the sensor by sum(g_i c_i h_i) dq/dt, g = K^-1[jacket, :]. Set equal to C dx/dt / G of the one-lump law this gives
C = sum(c_i (g_i / g_metal) (h_i / h_jacket)), G = 1 / g_metal: each node weighed by how far it rises beside the sensor
and by how much heat stored in it would have warmed the sensor. C / G is thus the mean delay of the sensor's answer to
a pulse of heat. C is taken once, at 5 m/s and fan off, without the crankcase node (it follows over many minutes; its
losses stay in G).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from plant.air import P0, T0
from plant.bikes import Machine
from plant.course import GROUNDS
from plant.drive import Drive
from plant.engine import Engine
from plant.radiator import STILL_KG_S
from plant.thermal import Drives, Nodes, integrate, matrix, metal_jacket_w_per_k, opening_at, pump_kg_s

Array = npt.NDArray[np.float64]
RHO_REF = 1.15
RISE_REF_K = 70.0


@dataclass(frozen=True)
class Estimands:
    """True figures of one machine (with its fault, where it has one) at the reference conditions."""

    machine: Machine

    @cached_property
    def engine(self) -> Engine:
        """The machine's engine."""
        return Engine(self.machine)

    @property
    def reference_rpm(self) -> float:
        """Engine speed at which the pump is taken, 1/min."""
        return 0.60 * self.engine.peak_rpm

    def _inverse(self, airspeed: float, fan: bool, rpm: float | None) -> Array:
        k = matrix(
            self.machine,
            rpm=self.reference_rpm if rpm is None else rpm,
            airspeed=airspeed,
            density=RHO_REF,
            fan=fan,
            opening=1.0 if self.machine.thermostat_stuck is None else self.machine.thermostat_stuck,
            rise_k=RISE_REF_K,
        )
        return np.asarray(np.linalg.inv(k))

    def conductance_w_per_k(self, airspeed: float, *, fan: bool = False, rpm: float | None = None) -> float:
        """G in W/K at an airspeed in m/s."""
        return 1.0 / float(self._inverse(airspeed, fan, rpm)[1, 0])

    def capacity_at(self, airspeed: float, *, fan: bool = False, rpm: float | None = None, case: bool = False) -> float:
        """C in J/K at other conditions than the reference ones, with the crankcase where `case` is true."""
        m = self.machine
        inverse = self._inverse(airspeed, fan, rpm)
        c = np.array([m.metal_c, m.jacket_c, m.top_c, m.bottom_c, m.case_c if case else 0.0])
        return float(np.sum(inverse[1] * c * inverse[:, 0]) / inverse[1, 0] ** 2)

    @cached_property
    def capacity_j_per_k(self) -> float:
        """C in J/K (see the module)."""
        return self.capacity_at(5.0)

    def conductance_per_s(self, airspeed: float, *, fan: bool = False, rpm: float | None = None) -> float:
        """G / C in 1/s, C at its reference."""
        return self.conductance_w_per_k(airspeed, fan=fan, rpm=rpm) / self.capacity_j_per_k

    @cached_property
    def fan_step_per_s(self) -> float:
        """What the fan adds to G / C at rest, 1/s; 0 where there is none or it never runs."""
        if self.machine.fan_on_c is None:
            return 0.0
        return self.conductance_per_s(0.0, fan=True) - self.conductance_per_s(0.0)

    def heat_w(self, power_w: float, rpm: float, *, conservative: bool = False, coolant_c: float = 90.0) -> float:
        """Heat into the metal node at a brake power and speed in standard air, with coolant at a temperature, W."""
        throttle = self.engine.throttle_for(rpm, power_w, conservative)
        a, b, _ = self._wall(throttle, rpm, conservative, T0 - 273.15)
        to_jacket = metal_jacket_w_per_k(self.machine, pump_kg_s(self.machine, rpm) + STILL_KG_S)
        metal = (a + to_jacket * coolant_c) / (b + to_jacket)
        return a - b * metal

    def _wall(self, throttle: float, rpm: float, conservative: bool, air_c: float) -> tuple[float, float, float]:
        one, yes = np.array([1.0]), np.array([True])
        burn = self.engine.burn(
            one * rpm,
            one * throttle,
            pressure_pa=P0,
            air_c=air_c,
            conservative=yes if conservative else ~yes,
            firing=yes,
        )
        return float(burn.wall_a[0]), float(burn.wall_b[0]), float(burn.case_w[0])

    @cached_property
    def reference_power_w(self) -> float:
        """Half of the file's peak power, W."""
        return 500.0 * self.machine.bike.peak_power_kw

    @cached_property
    def heat_input(self) -> float:
        """K/s per kW of brake power at half of peak power and 80 % of its speed, standard map, coolant at 90 C."""
        heat = self.heat_w(self.reference_power_w, 0.8 * self.engine.peak_rpm)
        return heat / self.capacity_j_per_k / (self.reference_power_w / 1000.0)

    def heat_ratio(self, *, same: str = "power") -> float:
        """Heat with the conservative map over heat with the standard one, at the reference load.

        `same`: "power" holds brake power and speed, "throttle" holds throttle and speed.
        """
        rpm, power = 0.8 * self.engine.peak_rpm, self.reference_power_w
        if same == "power":
            return self.heat_w(power, rpm, conservative=True) / self.heat_w(power, rpm)
        throttle = self.engine.throttle_for(rpm, power)
        a, b, _ = self._wall(throttle, rpm, True, T0 - 273.15)
        c, d, _ = self._wall(throttle, rpm, False, T0 - 273.15)
        return (a - 115.0 * b) / (c - 115.0 * d)

    def steady_c(
        self, power_w: float, rpm: float, airspeed: float, ambient_c: float, *, conservative: bool = False
    ) -> Settle:
        """Where the coolant settles at held power, speed and air (thermostat and fan as they act), density 1.15."""
        throttle = self.engine.throttle_for(rpm, power_w, conservative)
        a, b, case = self._wall(throttle, rpm, conservative, ambient_c)
        return settle(
            self.machine, wall_a=a, wall_b=b, case_w=case, rpm=rpm, airspeed=airspeed, density=RHO_REF, air_c=ambient_c
        )


@dataclass(frozen=True)
class Settle:
    """A settle temperature. `fan`: "off", "on" or "cycling" (then `coolant_c` is the middle of the fan's band)."""

    coolant_c: float
    fan: str
    off_c: float
    on_c: float


def settle(
    m: Machine,
    *,
    wall_a: float,
    wall_b: float,
    case_w: float,
    rpm: float,
    airspeed: float,
    density: float,
    air_c: float,
) -> Settle:
    """Steady state of the plant under held inputs; boiling is left out."""

    def one(fan: bool) -> float:
        jacket = top = air_c + RISE_REF_K
        source = np.array([wall_a - wall_b * air_c, 0.0, 0.0, 0.0, case_w])
        for _ in range(200):
            k = matrix(
                m, rpm=rpm, airspeed=airspeed, density=density, fan=fan, opening=opening_at(m, jacket),
                rise_k=max(top - air_c, 0.0),
            )  # fmt: skip
            k[0, 0] += wall_b
            x = np.linalg.solve(k, source)
            new, new_top = air_c + float(x[1]), air_c + float(x[2])
            done = abs(new - jacket) < 1e-6
            jacket += 0.25 * (min(new, jacket + 40.0) - jacket)
            top += 0.25 * (min(new_top, top + 40.0) - top)
            if done:
                break
        return jacket

    off = one(False)
    if m.fan_on_c is None:
        return Settle(off, "off", off, off)
    on = one(True)
    low = m.fan_on_c - m.fan_band_k
    if off < m.fan_on_c:
        return Settle(off, "off", off, on)
    if on > low:
        return Settle(on, "on", off, on)
    return Settle(m.fan_on_c - 0.5 * m.fan_band_k, "cycling", off, on)


@dataclass(frozen=True)
class Trace:
    """The ride as it was, one entry per heat step (`t_s`): no sensor, no noise."""

    t_s: Array
    coolant_c: Array
    metal_c: Array
    fan: npt.NDArray[np.bool_]
    opening: Array
    brake_w: Array
    heat_w: Array
    air_c: Array

    def seconds_above(self, threshold_c: float) -> float:
        """Exact seconds the piecewise-linear coolant trace spends above a threshold."""
        a, b = self.coolant_c[:-1] - threshold_c, self.coolant_c[1:] - threshold_c
        dt = np.diff(self.t_s)
        span = np.where(a == b, 1.0, a - b)
        share = np.where((a > 0) & (b > 0), 1.0, np.where((a > 0) & (b <= 0), a / span, 0.0))
        share = np.where((a <= 0) & (b > 0), -b / span, share)
        return float(np.sum(dt * share))


@dataclass(frozen=True)
class Truth(Estimands):
    """All that is known of one ride: the machine's figures, the trace, the drive (25 Hz), what acted on the nodes."""

    trace: Trace
    drive: Drive
    drives: Drives
    nodes: Nodes
    fault: str | None
    faulted_from_s: float

    def sections(self, min_s: float = 0.0) -> list[tuple[str, float, float]]:
        """(name, start_s, end_s) of what was ridden: names of plant.course.GROUNDS, "idle" and "engine_off"."""
        ground, t = self.drive.ground, self.drive.t_s
        edges = np.flatnonzero(np.diff(ground)) + 1
        starts, ends = [0, *edges.tolist()], [*edges.tolist(), len(ground) - 1]
        names = {-1: "idle", -2: "engine_off"} | {i: g.name for i, g in enumerate(GROUNDS)}
        found = [(names[int(ground[a])], float(t[a]), float(t[b])) for a, b in zip(starts, ends, strict=True)]
        return [part for part in found if part[2] - part[1] >= min_s]

    def _mean(self, start_s: float, end_s: float) -> tuple[slice, dict[str, float]]:
        h = self.drives.dt_s
        first = round(start_s / h)
        part = slice(first, max(round(end_s / h), first + 1))
        names = ("wall_a", "wall_b", "case_w", "rpm", "airspeed", "density", "air_c")
        return part, {name: float(np.mean(getattr(self.drives, name)[part])) for name in names}

    def settle(self, start_s: float, end_s: float) -> Settle:
        """Settle temperature with the stretch's mean heat, engine speed, airspeed and air held for ever."""
        _, mean = self._mean(start_s, end_s)
        return settle(self.machine, **mean)

    def settle_c(self, start_s: float, end_s: float) -> float:
        """`settle(...)` as a temperature, C."""
        return self.settle(start_s, end_s).coolant_c

    def settle_repeated_c(self, start_s: float, end_s: float, total_s: float = 2400.0) -> float:
        """Mean coolant temperature of the stretch once it has been ridden over and over for `total_s`, C."""
        part, _ = self._mean(start_s, end_s)
        d = self.drives
        n = part.stop - part.start
        times = max(int(np.ceil(total_s / (n * d.dt_s))), 1)
        again = d.mapped(lambda x: np.tile(x[part], times))
        row = self.nodes.temperatures[part.start]
        nodes = integrate(
            self.machine, again, (row[0], row[1], row[2], row[3], row[4]), bool(self.nodes.fan[part.start])
        )
        return float(np.mean(nodes.temperatures[-n:, 1]))
