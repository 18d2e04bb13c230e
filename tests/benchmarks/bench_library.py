"""How long listing 10,000 rides takes, process start included, and what writing a ride file costs.

    python tests/benchmarks/bench_library.py [--rides 10000] [--rows 2000000]

Prints one line a figure, each with a yardstick of the same minute: for the listing a bare process that imports
sqlite3, for the ride file what polars itself needs to read the same table from CSV and to write it. Never part of pass
or fail: machines differ.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl

from ridelog.channels import unit_of
from ridelog.ride import ChannelInfo, Ride, SourceFile
from ridelog.store import catalogue
from ridelog.store.library import Library
from ridelog.store.parquet import read_ride, write_ride

REPEATS = 5


def best_s(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """The quickest of several runs, in seconds: what the machine can do when nobody disturbs it."""
    times = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return min(times)


def process(*arguments: str | Path) -> Callable[[], object]:
    """A whole Python process, its output thrown away."""
    command: Sequence[str] = [sys.executable, *map(str, arguments)]
    return lambda: subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)


def say(what: str, seconds: float, goal: str, yardstick: str = "") -> None:
    print(f"{what:<58} {seconds:8.3f} s   {goal:<18} {yardstick}")


def table(rows: int) -> pl.DataFrame:
    """A made-up log of twelve columns with the steps and repeats that real sensors have."""
    draw = np.random.default_rng(5)
    t_s = np.arange(rows) / 100.0
    coolant = np.round(85.0 + 12.0 * np.sin(t_s / 300.0), 1)
    columns = {
        "t_s": t_s,
        "coolant_c": coolant,
        "engine_rpm": np.round(5200.0 + 2100.0 * np.sin(t_s / 7.0) + draw.normal(0.0, 50.0, rows)),
        "throttle_pct": np.round(np.clip(45.0 + 40.0 * np.sin(t_s / 5.0) + draw.normal(0.0, 2.0, rows), 0.0, 100.0), 1),
        "gps_speed_mps": np.round(np.abs(12.0 + 6.0 * np.sin(t_s / 20.0) + draw.normal(0.0, 0.2, rows)), 2),
        "lat_deg": np.round(43.0 + np.cumsum(draw.normal(0.0, 1e-6, rows)), 7),
        "lon_deg": np.round(-31.0 + np.cumsum(draw.normal(0.0, 1e-6, rows)), 7),
        "elevation_m": np.round(320.0 + np.cumsum(draw.normal(0.0, 0.02, rows)), 1),
        "map_slot": t_s // 600.0 % 2 + 1.0,
        "gear": np.round(3.0 + 2.0 * np.sin(t_s / 20.0)),
        "battery_v": np.round(13.8 + draw.normal(0.0, 0.05, rows), 2),
        "ambient_c": np.round(25.0 + draw.normal(0.0, 0.01, rows), 1),
    }
    frame = pl.DataFrame(columns)
    return frame.with_columns(pl.when(pl.int_range(rows) % 10 == 0).then("coolant_c").alias("coolant_c"))


def ride_of(samples: pl.DataFrame) -> Ride:
    """The table as a ride."""
    return Ride(
        id="bench",
        samples=samples,
        channels={
            name: ChannelInfo(name, unit_of(name), 100.0, 0.1, 1.0, held=False, origin="logged", source="bench.csv")
            for name in samples.columns[1:]
        },
        sources=(SourceFile("bench.csv", "0" * 64, 1, "csv"),),
        gaps=(),
        start_utc=datetime(2026, 5, 1, tzinfo=UTC),
        timezone=None,
    )


def fill(library: Library, rides: int) -> None:
    """Rows of the catalogue alone: listing never reads a ride file."""
    small = ride_of(table(2))
    start = datetime(2016, 1, 1, tzinfo=UTC)
    with library._catalogue.write() as db:
        for number in range(rides):
            ride = replace(
                small,
                id=f"{number:08x}-{number * 7919 % 65536:04x}",
                bike=f"enduro-{number % 20:02d}",
                start_utc=start + timedelta(hours=number * 7919 % rides),
                sources=(SourceFile(f"log {number}.csv", f"{number:064x}", 1000, "csv"),),
                distance_m=20_000.0 + number,
                peak_c=90.0 + number % 30,
            )
            catalogue.insert_ride(db, ride, 1, "0" * 64)


def listing(folder: Path, rides: int) -> None:
    """`ridelog rides` as whole processes."""
    library = Library.open(folder / "library")
    fill(library, rides)
    bare_s = best_s(process("-c", "import sqlite3"))
    where = ("--library", library.root)
    say("a bare process: python -c 'import sqlite3'", bare_s, "yardstick")
    for what, arguments, goal in (
        ("ridelog --help", ("--help",), "goal 0.25 s"),
        (f"ridelog rides (latest 50 of {rides:,})", ("rides", *where), "goal 0.5 s"),
        (f"ridelog rides --json (latest 50 of {rides:,})", ("rides", "--json", *where), "goal 0.5 s"),
        (f"ridelog rides --all --json ({rides:,})", ("rides", "--all", "--json", *where), "goal 0.5 s"),
    ):
        took_s = best_s(process("-m", "ridelog", *arguments))
        say(what, took_s, goal, f"{took_s / bare_s:.1f} x the bare process")
    say("of it, the library: open and list 50", best_s(lambda: Library.open(library.root).list_rides()), "")
    say("of it, the library: open and list all", best_s(lambda: Library.open(library.root).list_rides(limit=None)), "")


def ride_file(folder: Path, rows: int) -> None:
    """Writing, reading and storing one long ride."""
    samples = table(rows)
    log, plain, ours = folder / "log.csv", folder / "plain.parquet", folder / "ours.parquet"
    samples.write_csv(log)
    ride = ride_of(samples)
    read_csv_s = best_s(lambda: pl.read_csv(log), 3)
    write_s = best_s(lambda: samples.write_parquet(plain, compression="zstd"))
    ours_s = best_s(lambda: write_ride(ride, ours))
    size = f"{rows:,} x {samples.width}"
    mb = 1e-6
    say(f"polars read_csv, {size} ({log.stat().st_size * mb:.0f} MB)", read_csv_s, "yardstick")
    say(f"polars write_parquet(zstd) ({plain.stat().st_size * mb:.1f} MB)", write_s, "yardstick")
    say(f"write_ride ({ours.stat().st_size * mb:.1f} MB)", ours_s, "", f"{ours_s / write_s:.2f} x polars' write")
    say("polars read_parquet", best_s(lambda: pl.read_parquet(plain)), "yardstick")
    say("read_ride", best_s(lambda: read_ride(ours)), "")
    from ridelog.store.parquet import sha256_of

    source = SourceFile(log.name, sha256_of(log), log.stat().st_size, "csv")
    numbers = iter(range(1000))

    def store() -> None:
        number = next(numbers)
        Library.open(folder / f"store {number}").add(replace(ride, sources=(source,)), [log])

    stored_s = best_s(store, 3)
    both = read_csv_s + write_s
    say(
        "Library.add: ride file, original copied, hashed, flushed",
        stored_s,
        "",
        f"{stored_s / both:.2f} x read + write",
    )
    fsync_s = best_s(lambda: flush(folder / "flush", log.stat().st_size), 3)
    say("writing and flushing so many zeros", fsync_s, "yardstick of disk")


def flush(path: Path, size: int) -> None:
    """As many bytes as the original, written and flushed: what the disk alone takes."""
    with path.open("wb") as file:
        file.write(bytes(size))
        os.fsync(file.fileno())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=10_000)
    parser.add_argument("--rows", type=int, default=2_000_000)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        listing(Path(name), chosen.rides)
        ride_file(Path(name), chosen.rows)


if __name__ == "__main__":
    main()
