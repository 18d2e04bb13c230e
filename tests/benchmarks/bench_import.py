"""How long importing a log takes beside what bare libraries need for the same file, and how much memory.

    python tests/benchmarks/bench_import.py [--rows 2000000] [--points 200000] [--repeats 3]

Every run is a process of its own, ours and the yardstick's by turns, so that they share the machine's mood and each
one's peak memory is its own. Ours is the whole import: hashing, keeping the original, clock, units, quality marks,
ride file flushed to the disk, catalogue. The yardsticks: polars reading the CSV and writing Parquet with zstd; gpxpy
reading the GPX into its objects. The damaged table is the clean one with faults of the kind that need the careful path
(a word for a number, a short row, a blank line, a row in quotation marks), its yardstick polars on the clean one, a
quarter of the rows of the first table long. Never part of pass or fail: machines differ; quote the ratio.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np


def write_csv(path: Path, rows: int) -> None:
    """A clean log of twelve columns with the steps and repeats that real sensors have."""
    import polars as pl

    draw = np.random.default_rng(7)
    t_s = np.arange(rows) / 100.0
    rpm = 5500.0 + 2500.0 * np.sin(t_s / 7.0) + draw.normal(0, 60, rows)
    speed = np.clip(35.0 + 30.0 * np.sin(t_s / 25.0), 0, None)
    held = np.repeat(np.arange(-(-rows // 20)) * 20, 20)[:rows]
    pl.DataFrame(
        {
            "Time [s]": pl.Series(np.round(t_s, 2)).cast(pl.String),
            "Coolant temp [C]": np.round(85.0 + 12.0 * np.sin(t_s[held] / 300.0), 1),
            "Engine speed [rpm]": np.round(rpm),
            "Throttle [%]": np.round(np.clip(50 + 45 * np.sin(t_s / 3.0) + draw.normal(0, 2, rows), 0, 100), 1),
            "GPS speed [km/h]": np.round(speed[held], 1),
            # The way this speed covers, so that the table is a healthy one.
            "Latitude [deg]": np.round(43.2 + np.cumsum(speed / 360.0)[held] / 111_100.0, 7),
            "Longitude [deg]": np.round(-31.6 + t_s[held] * 1e-9, 7),
            "Altitude [m]": np.round(320 + 40 * np.sin(t_s[held] / 90.0), 1),
            "Gear": np.clip(np.round(speed / 12.0), 1, 6),
            "Map": (np.sin(t_s / 60.0) > 0.5).astype(float),
            "Intake air temp [C]": np.round(24.0 + 3.0 * np.sin(t_s[held] / 500.0), 1),
            "Battery [V]": np.round(13.9 + draw.normal(0, 0.05, rows), 2),
        }
    ).write_csv(path)


def damage(clean: Path, path: Path) -> None:
    """The clean table with one fault of each kind in every 50,000 rows."""
    with clean.open(encoding="utf-8") as source, path.open("w", encoding="utf-8") as file:
        for number, line in enumerate(source):
            cells = line.rstrip("\n").split(",")
            place = number % 50_000
            if place == 10_001:
                cells[3] = "n/a"
            elif place == 20_001:
                cells = cells[:-2]
            elif place == 30_001:
                file.write("\n")
            elif place == 40_001:
                cells = [f'"{cell}"' for cell in cells]
            file.write(",".join(cells) + "\n")


def write_gpx(path: Path, points: int) -> None:
    """A track of one point a second."""
    from datetime import UTC, datetime, timedelta

    start = datetime(2026, 5, 3, 8, tzinfo=UTC)
    with path.open("w", encoding="utf-8") as file:
        file.write('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="benchmark" ')
        file.write('xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n')
        for second in range(points):
            moment = (start + timedelta(seconds=second)).isoformat().replace("+00:00", "Z")
            file.write(f'<trkpt lat="{43.2 + second * 1e-5:.7f}" lon="{-31.6 + second * 2e-5:.7f}">')
            file.write(f"<ele>{320 + second % 40}.5</ele><time>{moment}</time></trkpt>\n")
        file.write("</trkseg></trk></gpx>\n")


def ours(path: Path) -> None:
    """The whole import of one file into a new library."""
    import pyarrow.parquet  # noqa: F401
    import pyproj  # noqa: F401

    from ridelog.ingest import ImportOptions, import_files
    from ridelog.store.library import Library

    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        begin, busy = time.perf_counter(), time.process_time()
        outcomes = import_files(Library.open(Path(folder)), [path], ImportOptions())
        report(time.perf_counter() - begin, time.process_time() - busy)
    if [outcome.status for outcome in outcomes] != ["stored"]:
        raise SystemExit(f"not stored: {outcomes[0].reason}")


def reading(path: Path) -> None:
    """A file read into a ride, nothing stored: what the GPX yardstick is compared with."""
    import pyproj  # noqa: F401

    from ridelog.ingest import ImportOptions, read_rides

    begin, busy = time.perf_counter(), time.process_time()
    rides = read_rides([path], ImportOptions())
    report(time.perf_counter() - begin, time.process_time() - busy)
    if len(rides) != 1:
        raise SystemExit("not one ride")


def bare_polars(path: Path) -> None:
    """Read the CSV, write Parquet with zstd."""
    import polars as pl

    with tempfile.TemporaryDirectory(dir=path.parent) as folder:
        begin, busy = time.perf_counter(), time.process_time()
        pl.read_csv(path).write_parquet(Path(folder) / "x.parquet", compression="zstd")
        report(time.perf_counter() - begin, time.process_time() - busy)


def bare_gpxpy(path: Path) -> None:
    """Read the GPX into gpxpy's objects."""
    import gpxpy

    begin, busy = time.perf_counter(), time.process_time()
    with path.open(encoding="utf-8") as file:
        gpxpy.parse(file)
    report(time.perf_counter() - begin, time.process_time() - busy)


def report(seconds: float, processor_s: float) -> None:
    """One line of JSON for the process that asked: time, processor time, and this process's peak memory in bytes."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    sys.stdout.write(json.dumps({"seconds": seconds, "processor": processor_s, "peak": peak}) + "\n")


WORK: dict[str, Callable[[Path], None]] = {
    "ours": ours,
    "reading": reading,
    "polars": bare_polars,
    "gpxpy": bare_gpxpy,
}


def run(work: str, path: Path) -> tuple[float, float, int]:
    """One run in its own process: seconds, processor seconds, peak bytes."""
    done = subprocess.run(
        [sys.executable, __file__, "--work", work, "--path", str(path)], capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise SystemExit(done.stderr)
    found = json.loads(done.stdout.splitlines()[-1])
    return found["seconds"], found["processor"], found["peak"]


def compare(
    title: str, path: Path, mine: str, yardstick: str, goal: str, *, repeats: int, beside: Path | None = None
) -> None:
    """Both by turns, the best of each; the yardstick reads `beside` where it is given."""
    times: dict[str, list[float]] = {mine: [], yardstick: []}
    busy: dict[str, list[float]] = {mine: [], yardstick: []}
    peak = 0
    for _ in range(repeats):
        for work in (yardstick, mine):
            seconds, processor_s, most = run(work, path if work == mine or beside is None else beside)
            times[work].append(seconds)
            busy[work].append(processor_s)
            peak = max(peak, most) if work == mine else peak
    size = path.stat().st_size
    print(f"{title}, {size / 1e6:.0f} MB; goal {goal}")
    for what, found in (("by the clock", times), ("processor time", busy)):
        own, other = min(found[mine]), min(found[yardstick])
        ratio = f"{own / other:.2f} times as long as" if own > other else f"{other / own:.2f} times faster than"
        print(f"    {what:<14} {own:6.2f} s, {ratio} {yardstick} ({other:.2f} s)")
    print(f"    peak memory    {peak / 1e6:.0f} MB, {peak / size:.2f} times the file")


def main() -> None:
    """Make the files, run everything, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rows", type=int, default=2_000_000)
    parser.add_argument("--points", type=int, default=200_000)
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--work", choices=WORK)
    parser.add_argument("--path", type=Path)
    parser.add_argument("--keep", type=Path, help="folder for the made-up files, reused by the next run")
    chosen = parser.parse_args()
    if chosen.work:
        WORK[chosen.work](chosen.path)
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = chosen.keep or Path(temporary)
        folder.mkdir(exist_ok=True)
        table, track = folder / f"{chosen.rows}.csv", folder / f"{chosen.points}.gpx"
        if not table.exists():
            write_csv(table, chosen.rows)
        if not track.exists():
            write_gpx(track, chosen.points)
        print(f"{os.cpu_count()} cores, best of {chosen.repeats}")
        compare(
            "clean table, whole import",
            table,
            "ours",
            "polars",
            "at most 2 times, memory at most 4 times",
            repeats=chosen.repeats,
        )
        part, broken = folder / f"{chosen.rows // 4}.csv", folder / f"{chosen.rows // 4}-damaged.csv"
        if not part.exists():
            write_csv(part, chosen.rows // 4)
        if not broken.exists():
            damage(part, broken)
        compare(
            "damaged table, whole import",
            broken,
            "ours",
            "polars",
            "at most 6 times",
            repeats=chosen.repeats,
            beside=part,
        )
        compare("track, read", track, "reading", "gpxpy", "at least 10 times faster", repeats=chosen.repeats)


if __name__ == "__main__":
    main()
