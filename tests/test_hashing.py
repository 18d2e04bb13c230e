"""The hash of a file is that of the file that was read: one that changes meanwhile is refused."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from ridelog.errors import InputRefused
from ridelog.ingest_options import ImportOptions
from ridelog.ingest_read import read_rides
from ridelog.readers.base import ReadOptions
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.regular import hashing
from ridelog.ride import RawLog

ROWS = "time [s],coolant [C]\n" + "".join(f"{n * 0.1:.1f},{80 + n % 7}\n" for n in range(300))


@pytest.mark.parametrize("size", [0, 1, 262_143, 262_144, 262_145, 1_000_000])
def test_the_hash_is_the_one_of_the_standard_library(tmp_path: Path, size: int) -> None:
    path = tmp_path / "log"
    path.write_bytes(bytes(n % 251 for n in range(size)))
    with hashing(path) as beside:
        assert beside.result() == (hashlib.sha256(path.read_bytes()).hexdigest(), size)
        assert beside.begin().result() == beside.result()


def longer(path: Path) -> None:
    """Another row, as a logger that still writes."""
    with path.open("a") as file:
        file.write("30.0,90\n")


def other(path: Path) -> None:
    """As many bytes, but others, and later."""
    path.write_text(ROWS.replace(",86", ",96"))
    stamp = path.stat().st_mtime_ns + 2_000_000_000
    os.utime(path, ns=(stamp, stamp))


def shorter(path: Path) -> None:
    """The end is gone."""
    path.write_text(ROWS[:-20])


@pytest.mark.parametrize("change", [longer, other, shorter])
@pytest.mark.parametrize("when", ["before it is read", "after it was read"])
def test_a_file_that_changes_while_it_is_imported_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path], None], when: str
) -> None:
    path = tmp_path / "log.csv"
    path.write_text(ROWS)
    (ride,) = read_rides([path], ImportOptions())
    assert ride.sources[0].sha256 == hashlib.sha256(ROWS.encode()).hexdigest()
    read = DelimitedReader.read

    def disturbed(self: DelimitedReader, source: Path, options: ReadOptions) -> list[RawLog]:
        if when == "before it is read":
            change(path)
        logs = list(read(self, source, options))
        if when != "before it is read":
            change(path)
        return logs

    monkeypatch.setattr(DelimitedReader, "read", disturbed)
    with pytest.raises(InputRefused, match="changed while it was being imported"):
        read_rides([path], ImportOptions())
