"""What every reader's tables and every ride must hold, whatever the format. Imported by the tests of each reader."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ridelog.channels import RAW_PREFIX, TIME, is_canonical, unit_of
from ridelog.readers.base import Reader, ReadOptions, Sniff
from ridelog.ride import RawLog, Ride

LEFT_OUT = "left_out"


def left_out(notes: object) -> int:
    """Rows that notes say were left out."""
    return sum(note.rows or 0 for note in notes if note.kind.startswith(LEFT_OUT))  # type: ignore[attr-defined]


def check_log(log: RawLog) -> None:
    """Rows in = rows kept + rows reported; columns of one length; numbers finite; breaks inside."""
    assert log.height + left_out(log.notes) == log.rows_in
    for column in log.columns:
        assert column.values.len() == log.height
        assert column.values.dtype in (pl.Float64, pl.String)
        assert column.name
        if column.values.dtype == pl.Float64:
            assert column.values.is_finite().all()
    assert list(log.breaks) == sorted(set(log.breaks))
    assert all(0 < row < log.height for row in log.breaks)


def check_ride(ride: Ride) -> None:
    """A normalized ride keeps the promises of ridelog.ride.Ride."""
    t_s = ride.samples[TIME].to_numpy()
    assert ride.samples.columns[0] == TIME
    assert ride.samples[TIME].null_count() == 0
    assert t_s[0] == 0.0
    assert (np.diff(t_s) > 0).all()
    assert ride.duration_s > 0
    assert set(ride.channels) == set(ride.samples.columns) - {TIME}
    for name, info in ride.channels.items():
        column = ride.samples[name]
        assert is_canonical(name) or name.startswith(RAW_PREFIX)
        assert info.name == name
        assert info.unit == unit_of(name)
        assert info.source
        assert info.origin in ("logged", "derived")
        assert 0.0 <= info.coverage <= 1.0 + 1e-12
        assert column.null_count() < column.len()
        assert info.rate_hz is None or info.rate_hz > 0
        assert info.resolution is None or info.resolution > 0
        if column.dtype == pl.Float64:
            assert column.is_finite().all()
        else:
            assert column.dtype == pl.String or name == "time_utc"
    canonical = [name for name in ride.samples.columns[1:] if is_canonical(name)]
    assert ride.samples.columns[1 : 1 + len(canonical)] == canonical
    for gap in ride.gaps:
        assert 0.0 <= gap.start_s < gap.end_s <= ride.duration_s
    for mark in ride.quality:
        assert mark.end_s >= mark.start_s
        assert mark.channel in ride.channels
    assert all(source.sha256 and source.size_bytes for source in ride.sources)


def check_reader(reader: Reader, good: Path, garbage: dict[str, bytes], tmp_path: Path) -> None:
    """The contract of a reader: describes itself, judges by content, reads the good file, refuses garbage in words."""
    from ridelog.errors import InputRefused

    assert reader.name
    assert reader.description
    assert all(ending.startswith(".") for ending in reader.endings)
    head = good.read_bytes()[:65_536]
    assert reader.sniff(head, "log.unknown").score >= 0.5
    logs = reader.read(good, ReadOptions(good.name))
    assert logs
    for log in logs:
        check_log(log)
        assert log.format == reader.name
    again = reader.read(good, ReadOptions(good.name))
    assert [log.columns[0].values.to_list() for log in logs] == [log.columns[0].values.to_list() for log in again]
    for name, content in garbage.items():
        opinion = reader.sniff(content[:65_536], name)
        assert isinstance(opinion, Sniff)
        assert opinion.reason
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(InputRefused) as caught:
            reader.read(path, ReadOptions(name))
        assert name in caught.value.where
        assert caught.value.found
        assert caught.value.expected
        assert caught.value.to_do


GARBAGE: dict[str, bytes] = {
    "empty.csv": b"",
    "zeros.csv": b"\0" * 4096,
    "page.csv": b"<!DOCTYPE html>\n<html><body><p>Not found</p></body></html>",
    "document.csv": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj",
    "picture.csv": b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8,
    "random.csv": bytes((7919 * n * n + 31 * n) % 256 for n in range(9000)),
    "prose.txt": b"Dear all,\nthe ride was fine.\nSee you next week.\n",
    "data.json": b'{"rpm": [1, 2, 3]}',
    "broken.gpx": b'<?xml version="1.0"?><gpx version="1.1"><trk><trkseg>',
}
"""Files that no reader may turn into a ride."""
