"""Invented bikes: what their files say, and the true machine behind each file, which differs from it a little."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ridelog.bike import Bike, parse_bike

Fault = Literal["fins_blocked", "heat_high", "fan_off", "flow_low", "thermostat_open", "thermostat_closed"]

_TEXT = """schema = 1
id = "{id}"
build = "{build}"
[mass]
total_kg = {kg}
[wheels]
tyre_circumference_m = {circ}
[gearing]
primary = {primary}
final = {final}
gears = {gears}
driveline_efficiency = 0.90
[engine]
displacement_cc = {cc}
power_curve_rpm = {rpm}
power_curve_kw = {kw}
compression_ratio = {cr}
fuel_ron = 98
built_for_elevation_m = [0, 1000]
[aero]
drag_area_m2 = {cda}
[cooling]
glycol_volume_share = 0.5
cap_kpa = {cap}
{extra}
[maps]
conservative_slot = 2
slot_values = {{ "1" = 1, "2" = 2 }}
[thresholds]
warm = 95.0
hot = 105.0
limit = 115.0
"""


def _text(
    bike_id: str,
    *,
    build: str,
    kg: float,
    cc: float,
    rpm: list[float],
    kw: list[float],
    gears: list[float],
    primary: float,
    final: float,
    circ: float = 2.06,
    cr: float = 12.5,
    cda: float = 0.55,
    cap: float = 110.0,
    fan: float | None = None,
    thermostat: float | None = None,
) -> str:
    lines = []
    if fan is not None:
        lines.append(f"fan_on_c = {fan}")
    if thermostat is not None:
        lines.append(f"thermostat_c = {thermostat}")
    return _TEXT.format(
        id=bike_id, build=build, kg=kg, cc=cc, rpm=rpm, kw=kw, gears=gears, primary=primary, final=final,
        circ=circ, cr=cr, cda=cda, cap=cap, extra="\n".join(lines),
    )  # fmt: skip


BIKES: dict[str, str] = {
    "heron-300": _text(
        "heron-300", build="heron", kg=196.0, cc=293.0, rpm=[3000, 5000, 6500, 8200, 9500],
        kw=[7.0, 16.5, 28.0, 36.0, 29.0], gears=[2.43, 1.86, 1.47, 1.19, 0.99, 0.86], primary=2.75, final=3.846,
        fan=95.0,
    ),
    "otter-250": _text(
        "otter-250", build="otter", kg=184.0, cc=249.0, rpm=[3000, 5000, 7000, 8600, 9800],
        kw=[5.0, 12.0, 26.0, 33.0, 26.0], gears=[2.30, 1.80, 1.44, 1.18, 1.00, 0.85], primary=2.80, final=3.923,
        cda=0.52, cr=13.0,
    ),
    "marten-300": _text(
        "marten-300", build="marten", kg=208.0, cc=300.0, rpm=[3000, 4500, 6000, 7800, 9000],
        kw=[8.0, 15.0, 25.0, 33.5, 27.0], gears=[2.50, 1.92, 1.50, 1.21, 1.00, 0.84], primary=2.70, final=3.769,
        cda=0.60, cr=11.8, fan=98.0, thermostat=65.0, cap=140.0,
    ),
    "stoat-200": _text(
        "stoat-200", build="stoat", kg=172.0, cc=194.0, rpm=[3500, 5500, 7500, 9000, 10200],
        kw=[4.0, 10.0, 20.0, 25.5, 20.5], gears=[2.36, 1.82, 1.46, 1.20, 1.02, 0.88], primary=3.10, final=3.923,
        cda=0.50, cr=12.8, thermostat=70.0,
    ),
}  # fmt: skip
"""Bike id -> text of its bike file."""


def bike_of(bike: str | Bike) -> Bike:
    """A bike by id, or the one given."""
    return parse_bike(BIKES[bike], f"{bike}.bike.toml") if isinstance(bike, str) else bike


@dataclass(frozen=True)
class Machine:
    """The true machine. All values assumed unless said; SI units, temperatures in C.

    Capacities in J/K, conductances in W/K, pump flow in kg/s at 6000 1/min, core area in m2.
    """

    bike: Bike
    mass_kg: float
    drag_area_m2: float
    efficiency: float
    circumference_m: float
    # heat made
    heat_scale: float
    phi_standard: float
    phi_conservative: float
    retard_deg: float
    overrun_cut: bool
    # thermal
    metal_c: float
    jacket_c: float
    top_c: float
    bottom_c: float
    case_c: float
    metal_to_jacket: float
    metal_to_case: float
    metal_to_air: float
    case_to_air: float
    pump_kg_s: float
    core_m2: float
    face_ratio: float
    air_hA: float  # noqa: N815
    air_exponent: float
    water_hA: float  # noqa: N815
    draught_mps: float
    recirculation: float
    fan_mps: float
    fan_on_c: float | None
    fan_band_k: float
    thermostat_c: float | None
    thermostat_span_k: float
    thermostat_lag_s: float
    thermostat_stuck: float | None
    sensor_lag_s: float
    boil_c: float
    fault: Fault | None = None
    map_heat: float = 1.0
    """In-cylinder heat on the conservative map over what retard and mixture alone make of it."""

    def with_fault(self, fault: Fault | None, severity: float | None = None) -> Machine:
        """The machine with a fault. `severity`: blocked share (0.4), extra heat (0.25), share of flow left (0.35)."""
        if fault is None:
            return self
        new = replace(self, fault=fault)
        if fault == "fins_blocked":
            left = 1.0 - (0.4 if severity is None else severity)
            return replace(new, core_m2=self.core_m2 * left, air_hA=self.air_hA * left)
        if fault == "heat_high":
            return replace(new, heat_scale=self.heat_scale * (1.25 if severity is None else 1.0 + severity))
        if fault == "fan_off":
            if self.fan_on_c is None:
                raise ValueError(f"{self.bike.id} has no fan")
            return replace(new, fan_on_c=None)
        if fault == "flow_low":
            return replace(new, pump_kg_s=self.pump_kg_s * (0.35 if severity is None else severity))
        if self.thermostat_c is None:
            raise ValueError(f"{self.bike.id} has no thermostat")
        return replace(new, thermostat_stuck=1.0 if fault == "thermostat_open" else 0.10)


def machine_of(bike: str | Bike, machine_seed: int = 0) -> Machine:
    """The true machine behind a bike file: the same for every ride of that bike with the same `machine_seed`."""
    profile = bike_of(bike)
    rng = np.random.default_rng([zlib.crc32(profile.id.encode()), machine_seed])

    def near(value: float, share: float) -> float:
        """`value` with a random error: normal, sigma = share / 2, cut at the share."""
        return value * (1.0 + share * float(np.clip(rng.normal(0.0, 0.5), -1.0, 1.0)))

    size = profile.peak_power_kw / 35.0
    cooling = size**0.6
    return Machine(
        bike=profile,
        mass_kg=near(profile.total_kg, 0.05),
        drag_area_m2=near(profile.drag_area_m2, 0.10),
        efficiency=near(profile.driveline_efficiency, 0.03),
        circumference_m=near(profile.tyre_circumference_m, 0.01),
        heat_scale=near(1.0, 0.10),
        phi_standard=float(rng.uniform(1.08, 1.16)),
        phi_conservative=float(rng.uniform(1.22, 1.30)),
        retard_deg=float(rng.uniform(3.0, 6.0)),
        overrun_cut=bool(rng.random() < 0.5),
        metal_c=near(2900.0 * size**0.7, 0.08),
        jacket_c=near(1750.0 * size**0.7, 0.08),
        top_c=near(1500.0 * cooling, 0.08),
        bottom_c=near(2100.0 * cooling, 0.08),
        case_c=near(7500.0 * size**0.5, 0.10),
        metal_to_jacket=near(520.0 * size**0.7, 0.10),
        metal_to_case=near(1.8, 0.20),
        metal_to_air=near(1.0, 0.20),
        case_to_air=near(1.0, 0.20),
        pump_kg_s=near(0.26 * cooling, 0.12),
        core_m2=near(0.039 * cooling, 0.06),
        face_ratio=near(0.255, 0.10),
        air_hA=near(212.0 * cooling, 0.10),
        air_exponent=float(rng.uniform(0.48, 0.60)),
        water_hA=near(780.0 * cooling, 0.10),
        draught_mps=near(0.16, 0.20),
        recirculation=float(rng.uniform(0.04, 0.12)),
        fan_mps=near(1.15, 0.12),
        fan_on_c=profile.fan_on_c,
        fan_band_k=float(rng.uniform(3.5, 4.5)),
        thermostat_c=profile.thermostat_c,
        thermostat_span_k=float(rng.uniform(10.0, 13.0)),
        thermostat_lag_s=float(rng.uniform(6.0, 12.0)),
        thermostat_stuck=None,
        sensor_lag_s=float(rng.uniform(1.5, 4.0)),
        boil_c=129.0 + 0.2 * (profile.cap_kpa - 110.0),
    )
