"""Ignition angles as an engine's control would set them and a logger write them down, with the map known.

Nothing of this is shared with what infers the map. All values assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from plant.simulate import Simulated
from ridelog.channels import CHANNELS
from ridelog.ignition_table import IgnitionTable
from ridelog.ride import ChannelInfo, Ride

Array = npt.NDArray[np.float64]
RPM = np.array([1000.0, 2000, 3000, 4000, 5000, 5500, 6000, 6500, 7000, 7500, 8000, 8500, 9000, 9500, 10000])
THROTTLE = np.array([0.0, 5, 10, 20, 30, 40, 50, 65, 80, 100])
KINDS = ("uniform", "loaded", "mixed", "slight")


@dataclass(frozen=True)
class Control:
    """How the angle comes about. Degrees, seconds; `lookup` "lines" or "cells"; `hz` of the channel, `step` its
    resolution; `hot_per_c` taken away for each C of coolant above 85; `knock_per_h` retards an hour."""

    kind: str
    differ_deg: float
    lookup: str
    noise_deg: float
    step_deg: float
    offset_deg: float
    lag_s: float
    hz: float
    hot_per_c: float
    knock_per_h: float
    throttle_scale: float

    @classmethod
    def drawn(cls, rng: np.random.Generator) -> Control:
        """One of the many there may be."""
        wide = rng.random() < 0.2
        return cls(
            kind=str(rng.choice(KINDS)),
            differ_deg=float(rng.uniform(3.0, 8.0)),
            lookup=str(rng.choice(["lines", "lines", "cells"])),
            noise_deg=float(rng.choice([0.1, 0.3, 0.8])),
            step_deg=float(rng.choice([0.1, 0.5, 1.0])),
            offset_deg=float(rng.normal(0.0, 4.0 if wide else 0.4)),
            lag_s=float(rng.uniform(-0.1, 0.4)),
            hz=float(rng.choice([1.0, 5.0, 20.0])),
            hot_per_c=float(rng.choice([0.0, 0.0, 0.1])),
            knock_per_h=float(rng.choice([0.0, 10.0, 40.0])),
            throttle_scale=float(rng.uniform(0.96, 1.04)),
        )


def tables(rng: np.random.Generator, control: Control) -> tuple[IgnitionTable, IgnitionTable]:
    """The standard table of some engine and the conservative one."""
    x = (RPM / 1000.0)[:, None]
    y = (THROTTLE / 100.0)[None, :]
    peak = rng.uniform(4.5, 6.5)
    standard = 24.0 - 0.55 * (x - peak) ** 2 - rng.uniform(0.0, 6.0) * y + 3.0 * np.sin(0.8 * x + rng.uniform(0, 6))
    standard = np.round(standard * 2.0) / 2.0
    less = np.full(standard.shape, control.differ_deg)
    if control.kind == "loaded":
        less = control.differ_deg * np.clip((y - 0.25) / 0.3, 0.0, 1.0) * np.clip((x - 3.5) / 1.5, 0.0, 1.0)
    elif control.kind == "mixed":
        rough = rng.uniform(0.0, 2.0, size=(4, 4))
        rows, columns = np.linspace(0, 3, x.size), np.linspace(0, 3, y.size)
        along = np.stack([np.interp(rows, range(4), rough[:, n]) for n in range(4)])
        less = control.differ_deg * np.stack([np.interp(columns, range(4), along[:, n]) for n in range(x.size)])
    elif control.kind == "slight":
        less = np.full(standard.shape, 1.0) * (y > 0.3)
    conservative = standard - np.round(less * 2.0) / 2.0
    return _table(standard), _table(conservative)


def _table(degrees: Array) -> IgnitionTable:
    rows = tuple(tuple(float(value) for value in np.clip(row, -19.0, 59.0)) for row in degrees)
    return IgnitionTable(tuple(RPM.tolist()), tuple(THROTTLE.tolist()), rows)


def _looked_up(table: IgnitionTable, rpm: Array, throttle: Array, lookup: str) -> Array:
    cells = np.asarray(table.advance_deg)
    if lookup == "cells":
        row = np.abs(rpm[:, None] - RPM[None, :]).argmin(axis=1)
        column = np.abs(throttle[:, None] - THROTTLE[None, :]).argmin(axis=1)
        return np.asarray(cells[row, column])
    by_rpm = np.stack([np.interp(rpm, RPM, cells[:, n]) for n in range(THROTTLE.size)])
    place = np.interp(throttle, THROTTLE, np.arange(THROTTLE.size))
    low = np.minimum(place.astype(int), THROTTLE.size - 2)
    share = place - low
    at = np.arange(rpm.size)
    return np.asarray(by_rpm[low, at] * (1.0 - share) + by_rpm[low + 1, at] * share)


def with_ignition(simulated: Simulated, seed: int, control: Control) -> tuple[Ride, IgnitionTable, IgnitionTable]:
    """The ride with an ignition angle in place of its map switch, and both tables as the bike file would have them."""
    rng = np.random.default_rng([seed, 71])
    standard, conservative = tables(rng, control)
    drive, ride = simulated.truth.drive, simulated.ride
    rpm, throttle = drive.rpm, np.clip(100.0 * drive.throttle * control.throttle_scale, 0.0, 100.0)
    angle = np.where(
        drive.conservative,
        _looked_up(conservative, rpm, throttle, control.lookup),
        _looked_up(standard, rpm, throttle, control.lookup),
    )
    coolant = np.interp(drive.t_s, simulated.truth.trace.t_s, simulated.truth.trace.coolant_c)
    angle -= control.hot_per_c * np.maximum(coolant - 85.0, 0.0)
    step = float(drive.t_s[1])
    for begin in rng.uniform(0.0, drive.t_s[-1], rng.poisson(control.knock_per_h * drive.t_s[-1] / 3600.0)):
        held, by = rng.uniform(0.5, 4.0), rng.uniform(2.0, 9.0)
        since = drive.t_s - begin
        angle -= np.where((since >= 0.0) & (throttle > 40.0), by * np.exp(-np.maximum(since - held, 0.0) / 1.5), 0.0)
    idling = (throttle < 2.0) & (rpm < 2600.0)
    angle = np.where(idling, 12.0 + 4.0 * np.sin(drive.t_s * 2.1), angle)
    angle = np.where((throttle < 2.0) & ~idling, rng.uniform(5.0, 25.0), angle)
    lag = round(control.lag_s / step)
    angle = np.roll(angle, lag)
    t_s = ride.samples["t_s"].to_numpy()
    log_hz = 1.0 / float(np.median(np.diff(t_s)))
    shown = t_s if control.hz >= log_hz else np.floor(t_s * control.hz + 1e-9) / control.hz
    index = np.clip(np.searchsorted(drive.t_s, shown + 1e-9, "right") - 1, 0, angle.size - 1)
    noise = control.noise_deg * rng.normal(size=angle.size)
    value = np.round((angle + noise)[index] / control.step_deg + control.offset_deg / control.step_deg)
    value *= control.step_deg
    samples = ride.samples.drop("map_slot").with_columns(pl.Series("ignition_deg", value, dtype=pl.Float64))
    info = {name: one for name, one in ride.channels.items() if name != "map_slot"}
    hz = min(control.hz, log_hz)
    info["ignition_deg"] = ChannelInfo(
        "ignition_deg", CHANNELS["ignition_deg"].unit, hz, control.step_deg, 1.0, hz < log_hz, "logged", "ignition"
    )
    changed = {"samples": samples, "channels": info}
    return _replaced(ride, changed), standard, conservative


def _replaced(ride: Ride, changed: dict[str, object]) -> Ride:
    from dataclasses import replace

    return replace(ride, **changed)  # type: ignore[arg-type]


def truth_by_second(simulated: Simulated) -> tuple[Array, Array]:
    """Whether the conservative map was on, at the middle of each second, and whether it was on throughout it."""
    drive = simulated.truth.drive
    count = math.ceil(simulated.ride.duration_s)
    first = np.searchsorted(drive.t_s, np.arange(count))
    middle = np.minimum(first + 12, drive.conservative.size - 1)
    last = np.minimum(first + 24, drive.conservative.size - 1)
    value = drive.conservative[middle].astype(np.float64)
    return value, (drive.conservative[first] == drive.conservative[last]).astype(np.float64)
