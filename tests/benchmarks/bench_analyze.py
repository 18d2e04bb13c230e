"""How long the analysis takes: ten hours at 20 Hz, warm, with yardsticks in the same run, and how it grows.

    python tests/benchmarks/bench_analyze.py [--hours 10]

Prints one line a figure. Never part of pass or fail: machines differ. The yardsticks are a sort of one channel and an
FFT of it, both by the libraries the project leans on.
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable

import numpy as np
import polars as pl

from ridelog.advice import default_advice
from ridelog.analyze import analyze
from ridelog.bike import Bike, parse_bike
from ridelog.channels import unit_of
from ridelog.ride import ChannelInfo, Ride

RATE_HZ = 20.0


def long_ride(hours: float) -> tuple[Ride, Bike]:
    """A made-up ride with every channel the analysis reads: lane, sand, wide open and standing in turn, gaps and
    noise."""
    bike = parse_bike('schema = 1\nid = "bench"\n', "bench.bike.toml")
    draw = np.random.default_rng(7)
    n = int(hours * 3600.0 * RATE_HZ)
    t_s = np.arange(n) / RATE_HZ
    phase = t_s % 300.0
    sand, flat_out, standing = phase < 90.0, (phase > 150.0) & (phase < 180.0), phase > 280.0
    speed = np.where(sand, 9.0, np.where(flat_out, 27.0, np.where(standing, 0.0, 12.0)))
    speed = np.clip(speed + 1.5 * np.sin(t_s / 7.0) * ~standing, 0.0, None)
    ratios = np.array(bike.rpm_per_mps)
    gear = np.clip(np.searchsorted(-ratios, -6500.0 / np.maximum(speed, 1.0)), 0, ratios.size - 1)
    rpm = np.where(standing, 1800.0, ratios[gear] * speed) + draw.normal(0.0, 30.0, n)
    on = np.sin(2.0 * np.pi * t_s / 1.3) > -0.3
    throttle = np.where(sand, np.where(on, 55.0, 3.0), np.where(flat_out, 96.0, np.where(standing, 0.0, 15.0)))
    coolant = 88.0 + 22.0 * np.sin(2.0 * np.pi * t_s / 700.0) + 6.0 * np.sin(t_s / 40.0)
    samples = pl.DataFrame(
        {
            "t_s": t_s,
            "coolant_c": np.floor(coolant),
            "engine_rpm": rpm,
            "throttle_pct": throttle + draw.normal(0.0, 0.3, n),
            "gps_speed_mps": np.clip(speed + draw.normal(0.0, 0.1, n), 0.0, None),
            "lat_deg": 43.0 + t_s * 1e-5,
            "lon_deg": -31.0 + 1e-3 * np.sin(t_s / 100.0),
            "elevation_m": 320.0 + 40.0 * np.sin(t_s / 200.0) + draw.normal(0.0, 0.3, n),
            "map_slot": np.where((t_s // 400.0) % 2 == 0, 1.0, 2.0),
            "ambient_c": np.full(n, 28.0),
        }
    ).filter(~((pl.col("t_s") % 1800.0) > 1780.0))
    info = {
        name: ChannelInfo(
            name, unit_of(name), RATE_HZ, 1.0 if name == "coolant_c" else None, 1.0, False, "logged", name
        )
        for name in samples.columns[1:]
    }
    return Ride("bench", samples, info, (), (), None, None), bike


def best_of(work: Callable[[], object], times: int = 5) -> float:
    """Shortest of some runs, s."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=10.0)
    hours = parser.parse_args().hours
    advice = default_advice()
    previous = None
    for part in (0.1, 0.5, 1.0):
        ride, bike = long_ride(hours * part)
        first = best_of(lambda ride=ride, bike=bike: analyze(ride, bike, advice), 1)
        warm = best_of(lambda ride=ride, bike=bike: analyze(ride, bike, advice))
        growth = "" if previous is None else f", {warm / previous[1] / (part / previous[0]):.2f} x linear growth"
        previous = (part, warm)
        rows = ride.samples.height
        print(f"analyze {hours * part:g} h at 20 Hz ({rows:,} rows): first {first:.3f} s, warm {warm:.3f} s{growth}")
    column = ride.samples["engine_rpm"]
    values = column.to_numpy()
    print(f"yardstick, polars sort of one channel: {best_of(column.sort):.3f} s")
    print(f"yardstick, numpy FFT of one channel:   {best_of(lambda: np.fft.rfft(values)):.3f} s")
    print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f} MB")


if __name__ == "__main__":
    main()
