"""Small invented rides for the tests of the store; run as a program, it stores one after the other until it is killed.

    ride_maker.py LIBRARY FOLDER FIRST COUNT [KILL_AT]

prints the id of each ride once `add` has said it is stored. With KILL_AT the process kills itself at the so-many-th
call into the operating system that Python reports (opening, renaming, removing, making folders, connecting).
"""

from __future__ import annotations

import hashlib
import os
import signal
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from ridelog.channels import unit_of
from ridelog.intervals import Interval
from ridelog.ride import ChannelInfo, Note, QualityMark, Ride, SourceFile

if TYPE_CHECKING:
    from ridelog.store.library import Library

BEGIN = datetime(2026, 5, 1, 8, tzinfo=UTC)


def channel(name: str) -> ChannelInfo:
    return ChannelInfo(name, unit_of(name), 10.0, 0.1, 1.0, held=False, origin="logged", source=f"log.csv, {name}")


def original(folder: Path, number: int) -> Path:
    """A log file with content of its own."""
    path = folder / f"log {number}.csv"
    path.write_text(f"ride;{number}\n" * 500, encoding="utf-8")
    return path


def ride(number: int, *originals: Path, rows: int = 400, start: datetime | None = BEGIN) -> Ride:
    """Ride `number`, from these files."""
    t_s = np.arange(rows) / 10.0
    samples = pl.DataFrame(
        {
            "t_s": t_s,
            "coolant_c": np.round(70 + number + 10 * np.sin(t_s / 7), 1),
            "engine_rpm": np.round(5000 + 900 * np.sin(t_s), 0),
        }
    )
    return Ride(
        id=f"ride-{number:05d}",
        samples=samples,
        channels={name: channel(name) for name in samples.columns[1:]},
        sources=tuple(
            SourceFile(path.name, hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_size, "csv")
            for path in originals
        ),
        gaps=(Interval(3.0, 5.5),),
        start_utc=start + timedelta(hours=number) if start else None,
        timezone="+02:00",
        notes=(Note("blank", "empty cells", 3, "row 12"),),
        quality=(QualityMark("coolant_c", "spike", 1.0, 1.5, "excluded", "jump of 40 C"),),
        bike="enduro-07" if number % 2 else None,
        distance_m=1000.0 + number,
        peak_c=float(np.max(samples["coolant_c"].to_numpy())),
    )


def files_of(library: Library) -> set[str]:
    """Everything in the library's folder but the catalogue itself and the door."""
    names = {str(path.relative_to(library.root)) for path in library.root.rglob("*") if path.is_file()}
    return {name for name in names if not name.startswith("library.sqlite")} - {str(Path("incoming", "door.lock"))}


def stored(library: Library, folder: Path, *numbers: int) -> list[str]:
    """Store these rides; their ids."""
    for number in numbers:
        path = original(folder, number)
        assert library.add(ride(number, path), [path]) == "stored"
    return [f"ride-{number:05d}" for number in numbers]


def _kill_at(count: int) -> None:
    seen = [0]

    def hook(event: str, _arguments: tuple[object, ...]) -> None:
        if event == "open" or event.startswith(("os.", "sqlite3.", "shutil.", "fcntl.")):
            seen[0] += 1
            if seen[0] == count:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(hook)


def main() -> None:
    from ridelog.store import parquet  # noqa: F401 - imported before the count of calls begins
    from ridelog.store.library import Library

    folder, first, count = Path(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4])
    made = [(path, ride(first + n, path)) for n in range(count) for path in [original(folder, first + n)]]
    print("ready", flush=True)
    if len(sys.argv) > 5:
        import filelock  # noqa: F401
        import pyarrow.parquet  # noqa: F401

        _kill_at(int(sys.argv[5]))
    library = Library.open(Path(sys.argv[1]))
    for path, one in made:
        library.add(one, [path])
        print(one.id, flush=True)
    print("done", flush=True)


if __name__ == "__main__":
    main()
