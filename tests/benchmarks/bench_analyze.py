"""How long the analysis takes: ten hours at 20 Hz, warm, with yardsticks in the same run, and how it grows.

    python tests/benchmarks/bench_analyze.py [--hours 10] [--stages]

Prints one line a figure. Never part of pass or fail: machines differ. The yardsticks are the fit of the heat balance
done again in compiled C (same windows, same vectors, same number of rounds), a sort of one channel and an FFT of it.
"""

from __future__ import annotations

import argparse
import ctypes
import resource
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl
from compiled_fit import Compiled, with_library

from ridelog import analyze as analyze_module
from ridelog import analyze_heat, analyze_heat_use
from ridelog.advice import default_advice
from ridelog.analysis import thermal, thermal_fit, thermal_prior
from ridelog.analysis.filters import block_mean
from ridelog.analyze import analyze
from ridelog.bike import Bike, parse_bike
from ridelog.channels import unit_of
from ridelog.ride import ChannelInfo, Ride

RATE_HZ = 20.0


PLAIN = 'schema = 1\nid = "bench"\n'
EQUIPPED = PLAIN + "[cooling]\nfan_on_c = 100.0\nthermostat_c = 70.0\n"


def coolant_of(bike: Bike, speed_mps: np.ndarray, throttle_pct: np.ndarray, rpm: np.ndarray) -> np.ndarray:
    """Coolant of a one-lump balance under the ride, with fan and thermostat where the bike has them, 1 C of noise."""
    plant = analyze_heat.plant_of(bike)
    theta = thermal_prior.default_prior(plant, ratio=0.9, map_seen=True, ambient_sd_c=1.0).mean[None].copy()
    theta[0, thermal.FLOW] += 0.2
    size = round(thermal.STEP_S * RATE_HZ)
    power = bike.peak_power_kw * throttle_pct / 100.0 * np.minimum(rpm / plant.peak_rpm, 1.0)
    speed, power, turning = (block_mean(x, size, 1) for x in (speed_mps, power, rpm / plant.peak_rpm))
    n = speed.size
    ride = thermal.Conditions(
        t_s=np.arange(n) * thermal.STEP_S,
        coolant_c=np.full(n, 70.0),
        power_kw=power,
        turning=turning,
        speed_mps=speed,
        ambient_c=np.full(n, 28.0),
        running=np.ones(n, dtype=np.bool_),
        fan_logged=None,
        conservative=np.zeros(n),
    )
    path = thermal.march(plant, theta, ride, thermal.Windows(np.array([0]), n, np.array([40.0])))[:, 0, 0]
    return np.interp(np.arange(speed_mps.size) / RATE_HZ, np.arange(n + 1) * thermal.STEP_S, path)


def long_ride(hours: float, kind: str = PLAIN) -> tuple[Ride, Bike]:
    """A made-up ride with every channel the analysis reads: lane, sand, wide open and standing in turn, gaps, noise,
    map switch; the coolant is a heat balance's own."""
    bike = parse_bike(kind, "bench.bike.toml")
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
    coolant = coolant_of(bike, speed, throttle, rpm) + 0.5 * draw.normal(0.0, 1.0, n)
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


@dataclass
class Seen:
    """The fits of one analysis: their problems, and for each the vectors every call was made with."""

    problems: list[Any] = field(default_factory=list)
    calls: list[list[np.ndarray]] = field(default_factory=list)
    seconds: float = 0.0


def fits_of(ride: Ride, bike: Bike) -> Seen:
    """Analyze with an ear on the fit."""
    seen = Seen()
    errors, start, fit = thermal_fit._Problem.errors, thermal_fit._Problem.__init__, thermal_fit.fit

    def noted(self: Any, *rest: Any) -> None:
        start(self, *rest)
        seen.problems.append(self)
        seen.calls.append([])

    def heard(self: Any, theta: np.ndarray) -> np.ndarray:
        seen.calls[-1].append(theta.copy())
        return errors(self, theta)

    def timed(*rest: Any, **named: Any) -> Any:
        begin = time.perf_counter()
        fitted = fit(*rest, **named)
        seen.seconds += time.perf_counter() - begin
        return fitted

    thermal_fit._Problem.errors, thermal_fit._Problem.__init__, thermal_fit.fit = heard, noted, timed
    try:
        analyze(ride, bike, default_advice())
    finally:
        thermal_fit._Problem.errors, thermal_fit._Problem.__init__, thermal_fit.fit = errors, start, fit
    return seen


def compiled_again(seen: Seen, library: ctypes.CDLL) -> tuple[float, float]:
    """Seconds of the same calls and normal equations in C, and the greatest difference of the errors, C."""
    made = [Compiled(library, p.plant, p.ride, p.windows.fan, (p.windows.starts, p.targets)) for p in seen.problems]

    def again() -> None:
        for problem, one, calls in zip(seen.problems, made, seen.calls, strict=True):
            for theta in calls:
                found = one.errors(theta, thermal_fit.HORIZONS)
                if theta.shape[0] > 1:
                    _, curvature = one.normal(found, problem.steps, problem.share, problem.scale_c)
                    np.linalg.solve(curvature + problem.precision, problem.precision[0])

    apart = max(
        float(np.abs(one.errors(theta, thermal_fit.HORIZONS) - problem.errors(theta)).max())
        for problem, one, calls in zip(seen.problems, made, seen.calls, strict=True)
        for theta in calls
    )
    return best_of(again), apart


def compare_fit(ride: Ride, bike: Bike) -> None:
    """The fit in Python beside the same in C, in one run."""
    seen = min((fits_of(ride, bike) for _ in range(5)), key=lambda one: one.seconds)
    rounds = sum(theta.shape[0] > 1 for calls in seen.calls for theta in calls)
    vectors = sum(theta.shape[0] for calls in seen.calls for theta in calls)
    print(f"  fit: {seen.seconds:.3f} s ({len(seen.problems)} fits, {rounds} rounds, {vectors} vectors)")

    def beside(library: ctypes.CDLL) -> None:
        seconds, apart = compiled_again(seen, library)
        print(
            f"  yardstick, the same fit in C: {seconds:.3f} s, ratio {seen.seconds / seconds:.2f}"
            f" (errors within {apart:.1e} C of each other)"
        )

    if not with_library(beside):
        print("  no C compiler here: no yardstick for the fit")


STAGES = (
    (analyze_module, "scene_of"),
    (analyze_heat, "balance"),
    (analyze_heat_use, "settle_along"),
    (analyze_heat_use, "with_settle"),
    (analyze_heat_use, "with_estimates"),
    (analyze_heat_use, "what_if"),
    (analyze_heat_use, "ledger"),
)


def print_stages(ride: Ride, bike: Bike) -> None:
    """Shortest of five runs for each stage of the heat balance, and for all the rest."""
    spent: dict[str, list[float]] = {name: [] for _, name in STAGES}
    whole = []
    kept = [(module, name, getattr(module, name)) for module, name in STAGES]

    def clocked(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def run(*rest: Any, **named: Any) -> Any:
            begin = time.perf_counter()
            made = work(*rest, **named)
            spent[name].append(time.perf_counter() - begin)
            return made

        return run

    for module, name, work in kept:
        setattr(module, name, clocked(name, work))
    try:
        for _ in range(5):
            begin = time.perf_counter()
            analyze(ride, bike, default_advice())
            whole.append(time.perf_counter() - begin)
    finally:
        for module, name, work in kept:
            setattr(module, name, work)
    best = {name: min(times) for name, times in spent.items() if times}
    best["all the rest"] = min(whole) - sum(best.values())
    print("  stages: " + ", ".join(f"{name.lstrip('_')} {seconds:.3f} s" for name, seconds in best.items()))


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=10.0)
    parser.add_argument("--stages", action="store_true", help="time the stages of the heat balance too")
    asked = parser.parse_args()
    hours, advice = asked.hours, default_advice()
    for what, kind in (("no fan, no thermostat", PLAIN), ("fan and thermostat", EQUIPPED)):
        print(f"{what}:")
        previous = None
        for part in (0.1, 0.3, 1.0):
            ride, bike = long_ride(hours * part, kind)
            first = best_of(lambda ride=ride, bike=bike: analyze(ride, bike, advice), 1)
            warm = best_of(lambda ride=ride, bike=bike: analyze(ride, bike, advice))
            growth = "" if previous is None else f", {warm / previous[1] / (part / previous[0]):.2f} x linear growth"
            previous = (part, warm)
            rows = ride.samples.height
            print(f"  {hours * part:g} h at 20 Hz ({rows:,} rows): first {first:.3f} s, warm {warm:.3f} s{growth}")
        found = analyze(ride, bike, advice)[0]
        print(f"  fitted: {found.heat.fitted}, {found.heat.windows} windows, {len(found.segments)} stretches")
        compare_fit(ride, bike)
        if asked.stages:
            print_stages(ride, bike)
    column = ride.samples["engine_rpm"]
    values = column.to_numpy()
    print(f"yardstick, polars sort of one channel: {best_of(column.sort):.3f} s")
    print(f"yardstick, numpy FFT of one channel:   {best_of(lambda: np.fft.rfft(values)):.3f} s")
    print(f"peak memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f} MB")


if __name__ == "__main__":
    main()
