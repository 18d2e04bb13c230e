"""How long a review of 10,000 analyzed rides takes.

    python tests/benchmarks/bench_review.py [--rides 10000] [--bikes 20]

Prints one line a figure, beside yardsticks of the same minute: the same rows of the catalogue read bare and their
documents decoded, which no review from kept results can do without, and a bare process. The processor's time stands
beside the clock's: on a busy machine the two part. Never part of pass or fail: machines differ.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from bench_library import best_s, process, ride_of, say, table

from ridelog import advice, bike, kept_results, review
from ridelog.advice import KINDS
from ridelog.kept_results import AboveRow, Bases, KindRow, RideResult
from ridelog.ride import SourceFile, day_of
from ridelog.store import catalogue
from ridelog.store.kept_results import KeptResult
from ridelog.store.library import Library


def result(rng: np.random.Generator) -> RideResult:
    """A made-up ride's result: one to three kinds advised, three thresholds, one ride in six without a map switch."""
    logged = rng.random() < 5 / 6
    kinds = []
    for kind in KINDS[: rng.integers(0, 4)]:
        advised = float(np.round(rng.lognormal(5.0, 0.8), 3))
        on = float(np.round(advised * rng.beta(0.8, 0.6), 3)) if logged else 0.0
        kinds.append(
            KindRow(kind, advised, 0.0 if logged else advised, on, (1, 1, 0, 0, 0) if logged else (0, 0, 0, 2, 0))
        )
    riding = float(np.round(rng.uniform(1200.0, 9000.0), 3))
    above = np.round(riding * np.cumprod(rng.beta(0.5, 4.0, 3)), 3).tolist()
    rows = [AboveRow(c, name, s, s, s) for (name, c), s in zip(bike.DEFAULT_THRESHOLDS_C, above, strict=True)]
    why = None if logged or not kinds else "Which map was on can't be told: the log has no map switch."
    return RideResult(tuple(kinds), tuple(rows), riding, float(rng.uniform(5, 35)), False, False, why, None)


def fill(library: Library, folder: Path, rides: int, bikes: int) -> None:
    """A library of analyzed rides over ten years, three sheets and some notes: the catalogue alone."""
    for number in range(bikes):
        path = folder / f"enduro-{number:02d}.bike.toml"
        path.write_text(bike.template(f"enduro-{number:02d}"), encoding="utf-8")
        library.add_bike(path)
    for year in (2016, 2020, 2023):
        path = folder / f"{year}.advice.toml"
        path.write_text(advice.template(str(year), datetime(year, 1, 1, tzinfo=UTC).date()), encoding="utf-8")
        library.add_advice(path)
    small, start, rng = ride_of(table(2)), datetime(2016, 1, 1, tzinfo=UTC), np.random.default_rng(1)
    with library._catalogue.write() as db:
        for number in range(rides):
            begun = start + timedelta(hours=8.7 * number * 10_000 / rides)
            ride = replace(
                small,
                id=f"{begun:%Y%m%d-%H%M}-{number:08x}",
                bike=f"enduro-{number % bikes:02d}",
                start_utc=begun,
                timezone="Europe/Berlin" if number % 3 else "+02:00",
                ambient_c=float(rng.integers(5, 36)),
                sources=(SourceFile(f"log {number}.csv", f"{number:064x}", 1000, "csv"),),
            )
            catalogue.insert_ride(db, ride, 1, f"{number:064x}")
        db.execute(
            """INSERT INTO ride_note (ride_seq, at_s, about, text, written_utc)
               SELECT seq, 60, 'stop', 'a stop', '2026-01-01T00:00:00+00:00' FROM ride WHERE seq % 10 = 0"""
        )
    bases = Bases(library)
    kept = []
    for row in library.review_rows():
        day = day_of(row.start_utc, row.timezone, row.start_local)
        kept.append(
            KeptResult(row.id, bases.of_row(row, bases.sheet_on(day), day), kept_results.document_of(result(rng)))
        )
    library.keep_results(kept)


def bare(library: Library) -> int:
    """The same rows read without a library, each document decoded."""
    db = sqlite3.connect(library.root / "library.sqlite")
    query = """SELECT id, bike, start_utc, timezone, ambient_c, condition, stored_sha256, basis, document
               FROM ride LEFT JOIN kept_result ON ride_seq = seq"""
    found = [json.loads(row[-1].partition(" ")[2]) for row in db.execute(query)]
    db.close()
    return len(found)


def busy_s(work: Callable[[], object], repeats: int = 5) -> float:
    """The processor's time of the quickest of several runs, in seconds."""
    times = []
    for _ in range(repeats):
        begin = time.process_time()
        work()
        times.append(time.process_time() - begin)
    return min(times)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=10_000)
    parser.add_argument("--bikes", type=int, default=20)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        library = Library.open(Path(name) / "library")
        fill(library, Path(name), chosen.rides, chosen.bikes)

        def never(*_: object) -> None:
            raise AssertionError("a ride was analyzed")

        kept_results.study = never
        begin = time.perf_counter()
        review.review(library)
        first_s = time.perf_counter() - begin
        bare_s = best_s(lambda: bare(library))
        whole_s = best_s(lambda: review.review(library))
        bare_cpu_s, whole_cpu_s = busy_s(lambda: bare(library)), busy_s(lambda: review.review(library))
        rows_s = best_s(library.review_rows)
        found = kept_results.results(library, library.review_rows())
        checked_s = best_s(lambda: kept_results.results(library, library.review_rows()))
        told_s = best_s(lambda: review.reviewed(found))
        say(f"{chosen.rides:,} rows bare from SQLite, documents decoded", bare_s, "yardstick")
        say("review, first call of the process", first_s, "goal 1 s", f"{first_s / bare_s:.1f} x the bare rows")
        say("review", whole_s, "goal 1 s", f"{whole_s / bare_s:.1f} x the bare rows")
        say(
            "the same, the processor's time", whole_cpu_s, "", f"{whole_cpu_s / bare_cpu_s:.1f} x that of the bare rows"
        )
        say("of it, reading rows", rows_s, "")
        say("of it, reading rows and checking what each result rests on", checked_s, "")
        say("of it, shares, outcome and bands", told_s, "")
        say("the document of --json", best_s(lambda: json.dumps(review.reviewed(found).to_json())) - told_s, "")
        bare_process_s = best_s(process("-c", "import sqlite3"), 3)
        say("a bare process: python -c 'import sqlite3'", bare_process_s, "yardstick")
        for what in ((), ("--json",), ("--bike", "enduro-07")):
            took_s = best_s(process("-m", "ridelog", "review", *what, "--library", library.root), 3)
            say(" ".join(("ridelog review", *what)), took_s, "", f"{took_s / bare_process_s:.1f} x the bare process")


if __name__ == "__main__":
    main()
