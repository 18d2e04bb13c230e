"""What a logger makes of a ride: lag, noise, resolution, held values, holes. All values assumed."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.signal import lfilter

from plant.bikes import Machine
from plant.drive import Drive
from plant.truth import Trace
from ridelog.channels import CHANNELS
from ridelog.intervals import Interval
from ridelog.ride import ChannelInfo, Ride

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Sensors:
    """The logger. Fields left None are drawn from the ride's seed by `drawn`.

    `log_hz`: rows per second. `*_hz`: the sensor's own rate, its value repeated in the rows between. `coolant_step`: C;
    `coolant_floor`: truncated instead of rounded. `channels` left out of `leave_out` are written.
    `coolant_hole`: (start, end) share of the ride without coolant values. `say_ambient`: the ride's own `ambient_c`.
    `off_with_engine`: no rows while the engine is off, so a gap.
    """

    log_hz: float | None = None
    coolant_hz: float | None = None
    coolant_step: float | None = None
    coolant_floor: bool | None = None
    coolant_lag_s: float | None = None
    coolant_noise: float | None = None
    gps_hz: float | None = None
    gps_lag_s: float | None = None
    gps_noise_mps: float | None = None
    elevation_noise_m: float | None = None
    throttle_step: float | None = None
    rpm_noise: float | None = None
    leave_out: tuple[str, ...] = ("ambient_c",)
    coolant_hole: tuple[float, float] | None = None
    say_ambient: bool = True
    off_with_engine: bool = False

    def drawn(self, rng: np.random.Generator, machine: Machine) -> Sensors:
        """The same with every None filled in. All draws are made, so that one setting does not move the others."""
        draws: dict[str, float | bool] = {
            "log_hz": float(rng.choice([10.0, 20.0])),
            "coolant_hz": float(rng.choice([1.0, 2.0, 4.0])),
            "coolant_step": float(rng.choice([0.1, 0.5, 1.0])),
            "coolant_floor": bool(rng.random() < 0.4),
            "coolant_lag_s": machine.sensor_lag_s,
            "coolant_noise": float(rng.uniform(0.03, 0.12)),
            "gps_hz": float(rng.choice([1.0, 5.0, 10.0])),
            "gps_lag_s": float(rng.uniform(0.1, 0.8)),
            "gps_noise_mps": float(rng.uniform(0.06, 0.2)),
            "elevation_noise_m": float(rng.uniform(0.8, 3.0)),
            "throttle_step": float(rng.choice([0.4, 0.5, 1.0])),
            "rpm_noise": float(rng.uniform(8.0, 35.0)),
        }
        return replace(self, **{k: v for k, v in draws.items() if getattr(self, k) is None})  # type: ignore[arg-type]

    def value(self, name: str) -> float:
        """A drawn number. Raises ValueError for one that is still None."""
        found = getattr(self, name)
        if found is None:
            raise ValueError(f"{name} is not drawn yet, one of {[f.name for f in fields(self)]}")
        return float(found)


def _lagged(t: Array, x: Array, lag_s: float, grid: Array) -> Array:
    """First-order lag of a signal, read at given times (exact for straight lines between samples)."""
    step = float(t[1] - t[0])
    a = math.exp(-step / lag_s) if lag_s > 0.0 else 0.0
    out, _ = lfilter([1.0 - a], [1.0, -a], x, zi=[a * float(x[0])])
    return np.interp(grid, t, out)


def _slow_noise(rng: np.random.Generator, grid: Array, length_s: float) -> Array:
    """Noise of unit variance with a correlation time, straight between knots."""
    knots = np.arange(0.0, float(grid[-1]) + 2.0 * length_s, length_s)
    return np.interp(grid, knots, rng.normal(size=len(knots)) * 1.22)


def _held(rng: np.random.Generator, grid: Array, hz: float, log_hz: float) -> npt.NDArray[np.int64]:
    """For each row, the row at which the value then shown was read."""
    if hz >= log_hz:
        return np.arange(len(grid))
    phase = rng.uniform(0.0, 1.0 / hz)
    slot = np.floor((grid + phase) * hz + 1e-9)
    first = np.concatenate([[True], slot[1:] != slot[:-1]])
    return np.maximum.accumulate(np.where(first, np.arange(len(grid)), 0))


def emit(
    machine: Machine, drive: Drive, trace: Trace, sensors: Sensors, *, seed: int, ambient_c: float, name: str
) -> tuple[Ride, Sensors]:
    """The ride as a logger would have written it, and the logger as drawn."""
    rng = np.random.default_rng([seed, 37])
    s = sensors.drawn(rng, machine)
    log_hz = s.value("log_hz")
    grid = np.arange(0.0, float(trace.t_s[-1]), 1.0 / log_hz)
    n = len(grid)
    noise = {key: rng.normal(size=n) for key in ("coolant", "gps", "rpm", "throttle")}
    gps = _held(rng, grid, s.value("gps_hz"), log_hz)
    slow = _held(rng, grid, s.value("coolant_hz"), log_hz)
    step = np.clip(np.searchsorted(drive.t_s, grid + 1e-9, side="right") - 1, 0, len(drive.t_s) - 1)
    columns: dict[str, npt.NDArray[Any]] = {}
    rate: dict[str, tuple[float, float | None]] = {}

    coolant = _lagged(trace.t_s, trace.coolant_c, s.value("coolant_lag_s"), grid)[slow]
    coolant = coolant + s.value("coolant_noise") * noise["coolant"][slow]
    unit = s.value("coolant_step")
    columns["coolant_c"] = (np.floor(coolant / unit + 1e-9) if s.coolant_floor else np.round(coolant / unit)) * unit
    rate["coolant_c"] = (s.value("coolant_hz"), unit)

    rpm = drive.rpm[step]
    columns["engine_rpm"] = np.where(
        rpm > 60.0, np.round(np.maximum(rpm + s.value("rpm_noise") * noise["rpm"], 0.0)), 0.0
    )
    rate["engine_rpm"] = (log_hz, 1.0)
    opening = 100.0 * drive.throttle[step] + 0.15 * noise["throttle"]
    unit = s.value("throttle_step")
    columns["throttle_pct"] = np.round(np.clip(opening, 0.0, 100.0) / unit) * unit
    rate["throttle_pct"] = (log_hz, unit)

    standing = drive.ground < 0
    speed = _lagged(drive.t_s, np.where(standing, 0.0, drive.v_mps), s.value("gps_lag_s"), grid)
    error = s.value("gps_noise_mps") * (0.6 * noise["gps"] + 0.8 * _slow_noise(rng, grid, 4.0))
    columns["gps_speed_mps"] = np.round(np.abs(speed + error * np.where(speed < 0.3, 0.4, 1.0)), 2)[gps]
    height = np.interp(grid, drive.t_s, drive.elevation_m)
    columns["elevation_m"] = np.round(height + s.value("elevation_noise_m") * _slow_noise(rng, grid, 20.0), 1)[gps]
    turn = np.cumsum(_slow_noise(rng, grid, 6.0) * np.interp(grid, drive.t_s, drive.v_mps) * 0.01 / log_hz)
    moved = np.diff(np.interp(grid, drive.t_s, drive.s_m), prepend=0.0)
    north = np.cumsum(moved * np.cos(turn)) + 1.5 * _slow_noise(rng, grid, 30.0)
    east = np.cumsum(moved * np.sin(turn)) + 1.5 * _slow_noise(rng, grid, 30.0)
    # Metres per degree at 45.5 deg north on the WGS 84 ellipsoid, from a geodesic library.
    columns["lat_deg"] = np.round(45.5 + north / 111_141.55, 7)[gps]
    columns["lon_deg"] = np.round(7.5 + east / 78_158.06, 7)[gps]
    for key in ("gps_speed_mps", "elevation_m", "lat_deg", "lon_deg"):
        rate[key] = (s.value("gps_hz"), {"gps_speed_mps": 0.01, "elevation_m": 0.1}.get(key, 1e-7))

    columns["gear"] = drive.gear[step].astype(np.float64)
    columns["map_slot"] = np.where(
        drive.conservative[step], float(machine.bike.conservative_slot), _standard_slot(machine)
    )
    columns["ambient_c"] = np.round(np.interp(grid, trace.t_s, trace.air_c), 1)
    columns["battery_v"] = np.round(np.where(drive.engine_on[step], 14.1, 12.5) + 0.05 * rng.normal(size=n), 2)
    rate |= {
        key: (log_hz, res) for key, res in (("gear", 1.0), ("map_slot", 1.0), ("ambient_c", 0.1), ("battery_v", 0.01))
    }

    keep = np.ones(n, dtype=np.bool_)
    if s.off_with_engine:
        keep = drive.engine_on[step]
    rows = grid[keep] - grid[keep][0]
    frame: dict[str, pl.Series] = {"t_s": pl.Series("t_s", rows)}
    info: dict[str, ChannelInfo] = {}
    for key, values in columns.items():
        if key in s.leave_out:
            continue
        series = pl.Series(key, values[keep], dtype=pl.Float64)
        coverage = 1.0
        if key == "coolant_c" and s.coolant_hole is not None:
            low, high = (share * float(rows[-1]) for share in s.coolant_hole)
            hole = (rows >= low) & (rows < high)
            series = pl.Series(key, [None if h else v for v, h in zip(values[keep].tolist(), hole, strict=True)])
            series = series.cast(pl.Float64)
            coverage = 1.0 - float(np.mean(hole))
        hz, resolution = rate[key]
        frame[key] = series
        info[key] = ChannelInfo(
            name=key, unit=CHANNELS[key].unit, rate_hz=hz, resolution=resolution, coverage=coverage,
            held=hz < log_hz, origin="logged", source=name,
        )  # fmt: skip
    jumps = np.flatnonzero(np.diff(rows) > 1.5 / log_hz)
    gaps = tuple(Interval(float(rows[i]), float(rows[i + 1])) for i in jumps)
    ride = Ride(
        id=f"{name}-{hashlib.sha256(f'{name}{seed}'.encode()).hexdigest()[:8]}",
        samples=pl.DataFrame(list(frame.values())),
        channels=info,
        sources=(),
        gaps=gaps,
        start_utc=datetime(2026, 6, 1 + seed % 28, 8, 0, tzinfo=UTC),
        timezone="UTC",
        bike=machine.bike.id,
        ambient_c=float(round(ambient_c)) if s.say_ambient else None,
        condition="healthy" if machine.fault is None else "faulty",
        distance_m=float(drive.s_m[-1]),
        peak_c=None if "coolant_c" in s.leave_out else float(np.max(columns["coolant_c"][keep])),
    )
    return ride, s


def _standard_slot(machine: Machine) -> float:
    """The first slot of the bike file that is not the conservative one."""
    other = [slot for _, slot in machine.bike.slot_values if slot != machine.bike.conservative_slot]
    return float(other[0]) if other else 1.0
