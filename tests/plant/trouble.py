"""Trouble that the heat nodes know nothing of: gas and air past the sensor, sick sensors, map numbers that mislead.

All figures are assumed. Each function takes arrays and a generator and gives new arrays.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from plant.truth import Trace
from ridelog.ride import ChannelInfo, Ride

Array = npt.NDArray[np.float64]

SENSOR_TROUBLE = ("dropout", "stuck", "substitute", "loose")


def gas_jumps(trace: Trace, rng: np.random.Generator, peak_kw: float) -> Trace:
    """Hot gas from the cylinder past the sensor: steep rises of 4 to 12 C while the engine pulls, about one in 15
    to 45 s of hard pull and fewer of less, each gone again within half a minute; six or so a ride at least."""
    step = float(trace.t_s[1] - trace.t_s[0])
    window = max(round(8.0 / step), 1)
    pull = np.convolve(trace.brake_w, np.full(window, 1.0 / window))[: trace.brake_w.size] / (1000.0 * peak_kw)
    chance = step / float(rng.uniform(15.0, 45.0)) * np.clip((pull - 0.10) / 0.20, 0.0, 1.0)
    chance *= max(6.0 / max(float(chance.sum()), 1e-9), 1.0)
    starts = np.flatnonzero(rng.random(pull.size) < chance)
    added = np.zeros(pull.size)
    for start in starts.tolist():
        t = trace.t_s[start:] - trace.t_s[start]
        tall, away = float(rng.uniform(4.0, 12.0)), float(rng.uniform(6.0, 16.0))
        added[start:] = np.maximum(added[start:], tall * (1.0 - np.exp(-t / 1.5)) * np.exp(-t / away))
    return replace(trace, coolant_c=trace.coolant_c + added)


def air_bubbles(trace: Trace, rng: np.random.Generator) -> Trace:
    """Air past the sensor: swings of 3 to 9 C either way for 3 to 15 s, whatever the load, one in 25 to 70 s."""
    step = float(trace.t_s[1] - trace.t_s[0])
    every = float(rng.uniform(25.0, 70.0))
    added = np.zeros(trace.t_s.size)
    for start in np.flatnonzero(rng.random(added.size) < step / every).tolist():
        size = round(float(rng.uniform(3.0, 15.0)) / step)
        shape = np.sin(np.pi * np.linspace(0.0, 1.0, size))[: added.size - start]
        sign = 1.0 if rng.random() < 0.5 else -1.0
        added[start : start + size] += sign * float(rng.uniform(3.0, 9.0)) * shape
    return replace(trace, coolant_c=trace.coolant_c + added)


def sick_coolant(ride: Ride, kind: str, rng: np.random.Generator) -> Ride:
    """The ride with a sick coolant sensor: `dropout` (no value, or one end of the range, time and again), `stuck` (one
    value for most of the ride), `substitute` (an invented climb to a round number), `loose` (leaps that no coolant
    makes)."""
    t = ride.samples["t_s"].to_numpy()
    y = ride.samples["coolant_c"].to_numpy().copy()
    gone = np.zeros(y.size, dtype=np.bool_)
    if kind == "dropout":
        end = float(rng.choice([-40.0, 140.0, np.nan]))
        for start_s in np.cumsum(rng.exponential(45.0, size=200)):
            here = (t >= start_s) & (t < start_s + rng.uniform(2.0, 40.0))
            y[here] = end
        gone = np.isnan(y)
    elif kind == "stuck":
        first = float(rng.uniform(0.1, 0.4)) * t[-1]
        y[t >= first] = y[np.searchsorted(t, first)]
    elif kind == "substitute":
        unit = ride.channels["coolant_c"].resolution or 1.0
        cap, away = float(rng.choice([80.0, 90.0])), float(rng.uniform(90.0, 200.0))
        start_c = float(rng.uniform(15.0, 30.0))
        curve = start_c + (cap + 2.0 - start_c) * (1.0 - np.exp(-t / away))
        y = np.round(np.minimum(curve, cap) / unit) * unit
    else:
        for start_s in np.cumsum(rng.exponential(25.0, size=300)):
            here = (t >= start_s) & (t < start_s + rng.uniform(0.3, 4.0))
            y[here] += float(rng.choice([-1.0, 1.0])) * float(rng.uniform(15.0, 50.0))
    values = pl.Series("coolant_c", [None if g else v for g, v in zip(gone.tolist(), y.tolist(), strict=True)])
    info = replace(ride.channels["coolant_c"], coverage=1.0 - float(gone.mean()))
    return _with(ride, values.cast(pl.Float64), info)


def swapped_slots(ride: Ride) -> Ride:
    """Map slots 1 and 2 written the other way round."""
    return _with(ride, (3.0 - ride.samples["map_slot"]).alias("map_slot"), ride.channels["map_slot"])


def bouncing_slots(ride: Ride, rng: np.random.Generator) -> Ride:
    """A map switch that bounces: the other slot for a tenth of a second to a second, time and again."""
    t = ride.samples["t_s"].to_numpy()
    slot = ride.samples["map_slot"].to_numpy().copy()
    for start_s in np.cumsum(rng.exponential(12.0, size=600)):
        here = (t >= start_s) & (t < start_s + rng.uniform(0.1, 1.0))
        slot[here] = 3.0 - slot[here]
    return _with(ride, pl.Series("map_slot", slot), ride.channels["map_slot"])


def _with(ride: Ride, values: pl.Series, info: ChannelInfo) -> Ride:
    channels: dict[str, Any] = {**ride.channels, values.name: info}
    return replace(ride, samples=ride.samples.with_columns(values), channels=channels)
