"""ASAM MDF files, versions 3 and 4 (and 2), through a general-purpose library."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

import ridelog
from ridelog.errors import InputRefused
from ridelog.readers import mdf_worker
from ridelog.readers.base import ReadOptions, Sniff
from ridelog.readers.mdf_blocks import MAGIC, MAGIC_UNFINISHED, BrokenBlocksError, Facts, Start, read_facts
from ridelog.readers.mdf_worker import REPORT, Bounds, group_file
from ridelog.readers.same_names import numbered
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading_formats

_FRESH = timedelta(minutes=10)
"""A start this close to the time of reading was put there by the writer or the library, not by a ride."""

_WRAP_S = 2.0**64 / 1e9
"""Nanoseconds that ran under zero in an unsigned counter come out just below this."""

_LONGEST_S = 1e9

_PATIENCE_S, _SLOWEST_BYTES_PER_S = 120.0, 1e6
_MEMORY_BYTES, _MEMORY_SHARE = 4 * 1024**3, 20
"""Time and address space the reading may take: a floor, and what the file's size adds."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Floats = npt.NDArray[np.float64]


class MdfReader:
    """Measurement files of the automotive trade, by the open standard of ASAM."""

    name = "mdf"
    description = reading_formats.MDF
    endings = (".mf4", ".mdf", ".dat")

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002 - the content decides
        """Told by the first eight bytes."""
        if head.startswith((MAGIC, MAGIC_UNFINISHED)):
            return Sniff(1.0, "it begins as an MDF file")
        return Sniff(0.0, "the first bytes are not those of an MDF file")

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """All channel groups as one table: a row a distinct time, null where a group has no record then.

        Raises InputRefused for a file that is damaged or cut, without times, or where the library for it is missing.
        """
        if importlib.util.find_spec("asammdf") is None:
            raise InputRefused(
                "this is an MDF file, and the library that reads those is not installed",
                where=options.file_name,
                expected="ridelog installed with the extra 'mdf'",
                to_do="run: pip install 'ridelog[mdf]'",
            )
        try:
            with path.open("rb") as file:
                facts = read_facts(file)
        except BrokenBlocksError as error:
            raise _damaged(str(error), options) from error
        if facts.unpacked_bytes > options.limits.max_bytes:
            raise options.limits.exceeded(
                "max_bytes", f"the file unpacks to {facts.unpacked_bytes:,} bytes", where=options.file_name
            )
        groups, notes = _run(path, facts, options)
        if facts.unfinished:
            notes.append(Note("unfinished", reading_formats.UNFINISHED))
        return [_table(groups, facts, options, notes)]


def _damaged(cause: str, options: ReadOptions) -> InputRefused:
    return InputRefused(
        f"the file is damaged or cut off ({cause})",
        where=options.file_name,
        expected="a whole MDF file",
        to_do="copy it from the logger again, or export the channels as CSV",
    )


@dataclass(frozen=True)
class _Group:
    """Records of one channel group: times in seconds from the start, and its channels."""

    number: int
    time_s: Floats
    columns: list[RawColumn]


def _run(path: Path, facts: Facts, options: ReadOptions) -> tuple[list[_Group], list[Note]]:
    """The groups and notes of the worker. Raises InputRefused for whatever went wrong there."""
    data_bytes = facts.size_bytes + facts.unpacked_bytes
    bounds = Bounds(
        options.limits.max_rows, options.limits.max_columns, data_bytes, _MEMORY_BYTES + _MEMORY_SHARE * data_bytes
    )
    home = str(Path(ridelog.__file__).resolve().parent.parent)
    paths = os.pathsep.join(part for part in (home, os.environ.get("PYTHONPATH", "")) if part)
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        words = [sys.executable, "-m", mdf_worker.__name__, str(path.resolve()), folder, json.dumps(asdict(bounds))]
        try:
            ended = subprocess.run(  # noqa: S603 - this program itself
                words,
                env={**os.environ, "PYTHONPATH": paths},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=_PATIENCE_S + data_bytes / _SLOWEST_BYTES_PER_S,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise _damaged("reading it did not come to an end", options) from error
        report = Path(folder) / REPORT
        if ended.returncode or not report.is_file():
            raise _damaged(f"reading it ended with status {ended.returncode}", options)
        told = json.loads(report.read_text(encoding="utf-8"))
        if told["limit"] is not None:
            raise options.limits.exceeded(*told["limit"], where=options.file_name)
        if told["fault"] is not None:
            raise _damaged(told["fault"].replace(str(path.resolve()), options.file_name), options)
        groups = [_group(Path(folder), number, columns) for number, columns in told["groups"]]
        return groups, [Note(**note) for note in told["notes"]]


def _group(folder: Path, number: int, columns: Sequence[tuple[str, str | None]]) -> _Group:
    frame = pl.read_ipc(group_file(folder, number).read_bytes())
    read = [RawColumn(name, unit, frame[str(at)].rename(name)) for at, (name, unit) in enumerate(columns, start=1)]
    return _Group(number, frame["0"].to_numpy(), read)


def _table(groups: Sequence[_Group], facts: Facts, options: ReadOptions, notes: list[Note]) -> RawLog:
    """All groups on one time base."""
    columns = sum(len(group.columns) for group in groups)
    if not columns:
        raise InputRefused(
            "there is no channel with a time and values in it",
            where=options.file_name,
            expected="a channel group with a time channel and records",
            to_do="check that the recording was started",
        )
    start = _believed(facts.start, notes)
    kept: list[tuple[_Group, npt.NDArray[np.int64], Floats]] = []
    records = left_out = 0
    for group in groups:
        rows, stamps = _stamps(group, start, notes)
        if len(groups) > 1:
            rows, stamps = _in_order(rows, stamps, group.number, notes)
        records += len(group.time_s)
        left_out += len(group.time_s) - len(rows)
        kept.append((group, rows, stamps))
    if len(kept) > 1:
        time = np.unique(np.concatenate([stamps for _, _, stamps in kept]))
        notes.append(Note("joined_groups", reading_formats.groups_joined(len(kept)), rows=len(time)))
    else:
        time = kept[0][2]
    if not len(time):
        raise _damaged("no record has a time that can be true", options)
    if len(time) * (columns + 1) * 8 > options.limits.max_bytes:
        size = len(time) * (columns + 1) * 8
        raise options.limits.exceeded("max_bytes", f"its table would take {size:,} bytes", where=options.file_name)
    names, more = numbered(
        [column.name for group in groups for column in group.columns],
        [f"group {group.number + 1}" for group in groups for _ in group.columns],
    )
    table = [_time_column(time, start)]
    for group, rows, stamps in kept:
        at = np.searchsorted(time, stamps) if len(kept) > 1 else np.arange(len(time))
        for column in group.columns:
            name = names[len(table) - 1]
            taken = column.values.gather(pl.Series(rows))
            if len(at) == len(time):
                table.append(RawColumn(name, column.unit, taken.rename(name)))
                continue
            blank = pl.Series(name, [None], dtype=taken.dtype).new_from_index(0, len(time))
            table.append(RawColumn(name, column.unit, blank.scatter(pl.Series(at), taken)))
    return RawLog("mdf", tuple(table), len(time) + left_out, (), 0, (*notes, *more))


def _believed(start: Start, notes: list[Note]) -> Start:
    """The start, unless it is the moment of reading: then the file had none."""
    begun = start.on_the_clock
    if begun is None:
        notes.append(Note("start_unknown", reading_formats.START_UNKNOWN))
        return start
    now = datetime.now(UTC)
    moments = [now] if start.utc is not None else [now, now.astimezone().replace(tzinfo=UTC)]
    if any(abs(moment - begun) < _FRESH for moment in moments):
        text = reading_formats.START_IS_NOW
        notes.append(Note("start_unknown", text))
        return Start()
    return start


def _stamps(group: _Group, start: Start, notes: list[Note]) -> tuple[npt.NDArray[np.int64], Floats]:
    """Rows whose time can be true, and their stamps: microseconds since 1970 where the start is known, else seconds."""
    time_s = group.time_s
    wrapped = (time_s > _WRAP_S - _LONGEST_S) & (time_s <= _WRAP_S)
    if wrapped.any():
        time_s = np.where(wrapped, time_s - _WRAP_S, time_s)
        text = reading_formats.times_wrapped(group.number + 1)
        notes.append(Note("time_wrap", text, rows=int(np.count_nonzero(wrapped))))
    good = np.abs(time_s) < _LONGEST_S  # false for NaN as well
    if not good.all():
        lost = int(np.count_nonzero(~good))
        text = reading_formats.times_wrong(group.number + 1)
        notes.append(Note("left_out_no_time", text, rows=lost))
    rows = np.flatnonzero(good)
    begun = start.on_the_clock
    if begun is None:
        return rows, time_s[rows]
    return rows, np.round((begun - _EPOCH) / timedelta(microseconds=1) + time_s[rows] * 1e6)


def _in_order(
    rows: npt.NDArray[np.int64], stamps: Floats, number: int, notes: list[Note]
) -> tuple[npt.NDArray[np.int64], Floats]:
    """A group's records in the order of time, one a stamp: what joining it with other groups needs."""
    steps = np.diff(stamps)
    if (steps > 0).all():
        return rows, stamps
    back = int(np.count_nonzero(steps < 0))
    if back:
        notes.append(Note("sorted", reading_formats.group_sorted(number + 1), rows=back))
    order = np.argsort(stamps, kind="stable")
    rows, stamps = rows[order], stamps[order]
    last = np.append(np.diff(stamps) > 0, True)
    lost = int(np.count_nonzero(~last))
    if lost:
        text = reading_formats.same_times(number + 1)
        notes.append(Note("left_out_same_time", text, rows=lost))
    return rows[last], stamps[last]


def _time_column(stamps: Floats, start: Start) -> RawColumn:
    if start.utc is not None:
        return RawColumn("time", "us", pl.Series("time", stamps))
    if start.local is None:
        return RawColumn("time", "s", pl.Series("time", stamps))
    # Local times without a zone stay text: only the user can tell the zone.
    moments = pl.Series("time", stamps.astype(np.int64)).cast(pl.Datetime("us"))
    return RawColumn("time", None, moments.dt.to_string("%Y-%m-%dT%H:%M:%S%.6f"))
