"""How long it takes to recognise the same ground, in one long ride and over many, and to find the hottest places.

    python tests/benchmarks/bench_places.py [--rides 400]

Each figure stands beside a yardstick of the same run: for recognition a search tree of SciPy over the same marks that
only finds every pair within reach (up to a hundred rides: beyond that it takes gigabytes), for more rides the time a
ride. Never part of pass or fail: machines differ and are noisy, quote the ratio. Processor seconds, the best of three.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from tracks import joined, loop, on_earth, part, ridden, timed

from ridelog.analysis.passes import repeats
from ridelog.analysis.passes_follow import NEAR_M, middle
from ridelog.analysis.passes_grid import Signals, Visits, visits
from ridelog.analysis.passes_hottest import RideVisits, hottest
from ridelog.analysis.passes_way import Way, way

REPEATS = 3
LAP_M = 9000.0


def best_s(work: Callable[[], object], repeats_: int = REPEATS) -> float:
    """The quickest of several runs, in seconds of the processor."""
    times = []
    for _ in range(repeats_):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def say(what: str, seconds: float, beside: str) -> None:
    """One line."""
    print(f"{what:<64} {seconds:8.3f} s   {beside}")


def all_pairs_s(ways: list[Way]) -> float:
    """The yardstick: every pair of marks within reach, found by a tree."""
    origin = middle(ways)
    places = np.column_stack(
        origin.plane_m(np.concatenate([one.lat_deg for one in ways]), np.concatenate([one.lon_deg for one in ways]))
    )
    return best_s(lambda: cKDTree(places).query_pairs(NEAR_M, output_type="ndarray"))


def long_ride() -> None:
    """Ten hours at 10 Hz, forty laps."""
    path = loop(LAP_M, seed=3, bends=9)
    whole = joined(*[path] * 40)
    along, took = timed(whole, speed_mps=10.0)
    t_s = np.arange(0.0, took[-1], 0.1)
    s = np.interp(t_s, took, along)
    lat, lon = on_earth(np.interp(s, along, whole[0]), np.interp(s, along, whole[1]))
    lines = np.ones(t_s.size - 1, dtype=np.bool_)
    speed = np.gradient(s, t_s)
    say(
        f"marks of {t_s[-1] / 3600:.1f} h of positions at 10 Hz ({t_s.size:,})",
        best_s(lambda: way(t_s, lat, lon, lines, speed)),
        f"NumPy's sort of as many numbers {best_s(lambda: np.sort(lat)):.3f} s",
    )
    for number in (20, 40, 80):
        made = ridden(joined(*[path] * number), speed_mps=10.0, noise_m=2.0, wander_m=3.0, rate_hz=1.0)
        found = repeats([made])
        laps = sum(one.full for one in found.stretches[0].passes)
        say(
            f"{number} laps of 9 km ({made.size:,} marks): {laps} found",
            best_s(lambda made=made: repeats([made])),  # type: ignore[misc]
            f"all pairs by a tree {all_pairs_s([made]):.3f} s",
        )


def many_rides(number: int) -> None:
    """Rides of two laps each, that begin anywhere on one loop."""
    path = loop(LAP_M, seed=3, bends=9)
    draw = np.random.default_rng(2)
    rides = []
    for k in range(number):
        at = float(draw.uniform(0.0, LAP_M))
        turned = joined(part(path, at, LAP_M), path, part(path, 0.0, at))
        rides.append(ridden(turned, speed_mps=11.0, noise_m=1.0, wander_m=2.0, rate_hz=1.0, seed=k))
    for some in (number // 4, number // 2, number):
        chosen = rides[:some]
        found = repeats(chosen)
        shared = len({one.way for one in found.stretches[0].passes})
        took_s = best_s(lambda chosen=chosen: repeats(chosen))  # type: ignore[misc]
        beside = f"all pairs by a tree {all_pairs_s(chosen):.3f} s" if some <= 100 else ""
        each = f"{1e3 * took_s / some:.2f} ms a ride"
        say(f"{some} rides of two laps on one loop: {shared} share it", took_s, f"{each} {beside}")
    listed = [RideVisits(f"r{k}", f"b{k % 7}", ("limit",), _visited(made, k)) for k, made in enumerate(rides)]
    for some in (number // 4, number // 2, number):
        few = listed[:some]
        say(
            f"the hottest places of {some} rides ({sum(one.visits.size for one in few):,} visits)",
            took_s := best_s(lambda few=few: hottest(few, 12)),  # type: ignore[misc]
            f"{1e3 * took_s / some:.2f} ms a ride",
        )


def _visited(made: Way, k: int) -> Visits:
    t_s = np.arange(0.0, made.t_s[-1], 0.2)
    settle = 105.0 + 15.0 * np.sin(t_s / 120.0 + k)
    told = Signals(t_s, 0.2, settle - 20.0, settle, settle - 5.0, settle + 5.0, (settle > 115.0).astype(np.int64) - 1,
                   (115.0,), 115.0)  # fmt: skip
    return visits(made, made.at_m, told)


def main() -> None:
    """All of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=400)
    asked = parser.parse_args()
    long_ride()
    many_rides(asked.rides)


if __name__ == "__main__":
    main()
