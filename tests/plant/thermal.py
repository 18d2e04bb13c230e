"""The heat nodes and how they move in time.

Five nodes: `metal` (head and cylinder), `jacket` (coolant round them, where the sensor sits), `top` (hose, inlet tank,
first half of the cores), `bottom` (the rest, on the way back to the pump) and `case` (crankcase and gearbox, loosely
tied to the metal). Coolant flow in proportion to engine speed carries heat between the three coolant nodes; the
radiator takes heat out of `bottom` at a rate set by what enters at `top`. A wax thermostat, where there is one, lets
only a share of the pump's flow through the radiator. Values assumed; the radiator is in radiator.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from plant.bikes import Machine
from plant.radiator import CP_COOLANT, STILL_KG_S, core_loss_still, core_w_per_k

Array = npt.NDArray[np.float64]
NODES = ("metal", "jacket", "top", "bottom", "case")


def pump_kg_s(m: Machine, rpm: float) -> float:
    """Coolant flow of the pump, kg/s: in proportion to engine speed."""
    return m.pump_kg_s * rpm / 6000.0


def metal_jacket_w_per_k(m: Machine, flow: float) -> float:
    """Metal to coolant, W/K; a floor of boiling and natural convection stays without flow."""
    return m.metal_to_jacket * (0.16 + 0.84 * math.pow(flow / 0.25, 0.7))


def metal_air_w_per_k(m: Machine, airspeed: float) -> float:
    """Metal to the air, W/K."""
    return m.metal_to_air * (1.6 + 0.85 * math.sqrt(max(airspeed, 0.0)))


def case_air_w_per_k(m: Machine, airspeed: float) -> float:
    """Crankcase to the air, W/K."""
    return m.case_to_air * (3.0 + 1.9 * math.sqrt(max(airspeed, 0.0)))


def opening_at(m: Machine, coolant_c: float) -> float:
    """Share of the flow a settled thermostat lets through the radiator; 1 where there is none."""
    if m.thermostat_stuck is not None:
        return m.thermostat_stuck
    if m.thermostat_c is None:
        return 1.0
    x = (coolant_c - m.thermostat_c) / m.thermostat_span_k
    x = min(max(x, 0.0), 1.0)
    return 0.04 + 0.96 * x * x * (3.0 - 2.0 * x)


@dataclass(frozen=True)
class Drives:
    """What acts on the nodes, one entry per step of `dt_s`, each constant over its step."""

    dt_s: float
    rpm: Array
    airspeed: Array
    density: Array
    air_c: Array
    wall_a: Array
    wall_b: Array
    case_w: Array
    engine_on: npt.NDArray[np.bool_]

    def with_arrays(self, array: Callable[[str], Array]) -> Drives:
        """The same step with other arrays, asked for by their names."""
        return Drives(
            dt_s=self.dt_s, rpm=array("rpm"), airspeed=array("airspeed"), density=array("density"),
            air_c=array("air_c"), wall_a=array("wall_a"), wall_b=array("wall_b"), case_w=array("case_w"),
            engine_on=array("engine_on").astype(np.bool_),
        )  # fmt: skip

    def mapped(self, change: Callable[[Array], Array]) -> Drives:
        """The same with `change` applied to every array."""
        return self.with_arrays(lambda name: change(getattr(self, name)))


@dataclass(frozen=True)
class Nodes:
    """Node temperatures at the start of each step, C, and the heat that went in and out over all (J)."""

    temperatures: Array
    """(steps + 1) x 5, in the order of NODES."""
    fan: npt.NDArray[np.bool_]
    opening: Array
    heat_w: Array
    in_j: float
    out_j: float
    stored_j: float


def integrate(
    m: Machine, drives: Drives, start: tuple[float, float, float, float, float], fan_start: bool = False
) -> Nodes:
    """Move the nodes through the steps: midpoint rule for the heat flows, events (fan, thermostat) per step."""
    steps = len(drives.rpm)
    h = drives.dt_s
    tm, tj, tt, tb, tc = start
    cm, cj, ct, cb, cc = m.metal_c, m.jacket_c, m.top_c, m.bottom_c, m.case_c
    rows: list[tuple[float, float, float, float, float]] = []
    fans, openings, heats = [False] * steps, [1.0] * steps, [0.0] * steps
    fan, sensed, opening = fan_start, tj, opening_at(m, tj)
    wax = tj
    total_in = total_out = 0.0
    inputs = zip(
        drives.rpm.tolist(), drives.airspeed.tolist(), drives.density.tolist(), drives.air_c.tolist(),
        drives.wall_a.tolist(), drives.wall_b.tolist(), drives.case_w.tolist(), drives.engine_on.tolist(), strict=True,
    )  # fmt: skip
    has_thermostat = m.thermostat_c is not None
    key: tuple[float, ...] = ()
    core = still = mj = ma = ca = flow_w = 0.0
    for k, (rpm, air_v, rho, ta, qa, qb, qc, on) in enumerate(inputs):
        rows.append((tm, tj, tt, tb, tc))
        if m.fan_on_c is not None:
            sensed += (tj - sensed) * min(h / m.sensor_lag_s, 1.0)
            fan = on and (sensed >= m.fan_on_c if not fan else sensed > m.fan_on_c - m.fan_band_k)
        if has_thermostat:
            wax += (tj - wax) * min(h / m.thermostat_lag_s, 1.0)
            opening = opening_at(m, wax)
        rise = tt - ta
        new = (rpm, air_v, rho, float(fan), round(opening, 3), float(int(rise)))
        if new != key:
            key = new
            pump = pump_kg_s(m, rpm)
            flow = pump * opening + STILL_KG_S
            core = core_w_per_k(m, airspeed=air_v, flow=flow, density=rho, fan=fan, rise_k=rise)
            still = core_loss_still(m, airspeed=air_v, flow=flow, density=rho, rise_k=rise)
            mj = metal_jacket_w_per_k(m, pump + STILL_KG_S)
            ma, ca = metal_air_w_per_k(m, air_v), case_air_w_per_k(m, air_v)
            flow_w = flow * CP_COOLANT
        mc = m.metal_to_case
        boil = 2500.0 * max(tj - m.boil_c, 0.0)
        # Half a step, then the whole step with the flows found there.
        g = 0.5 * h
        um = tm + g * (qa - qb * tm - mj * (tm - tj) - ma * (tm - ta) - mc * (tm - tc)) / cm
        uj = tj + g * (mj * (tm - tj) + flow_w * (tb - tj) - boil) / cj
        ut = tt + g * (flow_w * (tj - tt) - 0.5 * still * (tt - ta)) / ct
        ub = tb + g * (flow_w * (tt - tb) - core * (tt - ta) - 0.5 * still * (tb - ta)) / cb
        uc = tc + g * (qc + mc * (tm - tc) - ca * (tc - ta)) / cc
        heat = qa - qb * um
        out_air = ma * (um - ta) + ca * (uc - ta) + core * (ut - ta) + 0.5 * still * (ut + ub - 2.0 * ta) + boil
        tm += h * (heat - mj * (um - uj) - ma * (um - ta) - mc * (um - uc)) / cm
        tj += h * (mj * (um - uj) + flow_w * (ub - uj) - boil) / cj
        tt += h * (flow_w * (uj - ut) - 0.5 * still * (ut - ta)) / ct
        tb += h * (flow_w * (ut - ub) - core * (ut - ta) - 0.5 * still * (ub - ta)) / cb
        tc += h * (qc + mc * (um - uc) - ca * (uc - ta)) / cc
        total_in += h * (heat + qc)
        total_out += h * out_air
        fans[k], openings[k], heats[k] = fan, opening, heat
    rows.append((tm, tj, tt, tb, tc))
    table = np.array(rows)
    capacity = np.array([cm, cj, ct, cb, cc])
    stored = float((table[-1] - table[0]) @ capacity)
    return Nodes(table, np.asarray(fans), np.asarray(openings), np.asarray(heats), total_in, total_out, stored)


def matrix(
    m: Machine, *, rpm: float, airspeed: float, density: float, fan: bool, opening: float, rise_k: float
) -> Array:
    """Conductance matrix K of the nodes at held conditions: heat leaving each node is K (T - T_air), W/K."""
    pump = pump_kg_s(m, rpm)
    flow = pump * opening + STILL_KG_S
    core = core_w_per_k(m, airspeed=airspeed, flow=flow, density=density, fan=fan, rise_k=rise_k)
    still = 0.5 * core_loss_still(m, airspeed=airspeed, flow=flow, density=density, rise_k=rise_k)
    mj = metal_jacket_w_per_k(m, pump + STILL_KG_S)
    ma, ca, mc = metal_air_w_per_k(m, airspeed), case_air_w_per_k(m, airspeed), m.metal_to_case
    w = flow * CP_COOLANT
    return np.array(
        [
            [mj + ma + mc, -mj, 0.0, 0.0, -mc],
            [-mj, mj + w, 0.0, -w, 0.0],
            [0.0, -w, w + still, 0.0, 0.0],
            [0.0, 0.0, core - w, w + still, 0.0],
            [-mc, 0.0, 0.0, 0.0, mc + ca],
        ]
    )
