"""The part of reading an MDF file that runs in a process of its own: `python -m ridelog.readers.mdf_worker`.

The library that reads these files is partly native code that a damaged file can bring to a fall, or keep busy without
end. In a process of its own it takes nothing with it. What it read goes back as one Arrow file a channel group and a
report in JSON.
"""

from __future__ import annotations

import json
import sys
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ridelog.readers import naming
from ridelog.ride import Note, RawColumn
from ridelog.words import reading_formats

REPORT = "report.json"


@dataclass(frozen=True)
class Bounds:
    """What is read at most: `max_` as in ridelog.readers.limits, `data_bytes` all the data the file can hold,
    `memory_bytes` of address space."""

    max_rows: int
    max_columns: int
    data_bytes: int
    memory_bytes: int


@dataclass
class Report:
    """What was read. `groups`: number of each group and names and units of its columns, in the order of its file's
    columns, which are numbered from 1 (0 is the time in seconds). `limit`: name and finding of a limit that was passed.
    `fault`: why the file could not be read."""

    groups: list[tuple[int, list[tuple[str, str | None]]]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    limit: tuple[str, str] | None = None
    fault: str | None = None


def group_file(folder: Path, number: int) -> Path:
    """Where the records of a group are."""
    return folder / f"group-{number}.arrow"


def main(path: Path, folder: Path, bounds: Bounds) -> None:
    """Read the file at `path`; write report and groups into `folder`."""
    _bound_memory(bounds.memory_bytes)
    report = Report()
    try:
        from asammdf import MDF

        with MDF(path) as mdf:
            report.limit = _too_large(mdf, bounds)
            if report.limit is None:
                _read(mdf, folder, report)
    except (Exception, MemoryError) as error:  # whatever the library meets in a damaged file
        report.fault = (str(error).strip().splitlines() or [type(error).__name__])[0][:200]
    (folder / REPORT).write_text(json.dumps(asdict(report)), encoding="utf-8")


def _bound_memory(size: int) -> None:
    with suppress(ImportError, ValueError, OSError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (size, resource.getrlimit(resource.RLIMIT_AS)[1]))


def _too_large(mdf: Any, bounds: Bounds) -> tuple[str, str] | None:
    sizes = [(int(group.channel_group.cycles_nr), int(group.channel_group.samples_byte_nr)) for group in mdf.groups]
    rows = sum(cycles for cycles, _ in sizes)
    if rows > bounds.max_rows:
        return "max_rows", f"its groups have {rows:,} records"
    channels = sum(len(group.channels) for group in mdf.groups)
    if channels > bounds.max_columns:
        return "max_columns", f"it has {channels:,} channels"
    volume = sum(cycles * width for cycles, width in sizes)
    if volume > bounds.data_bytes:
        raise ValueError(f"its records would take {volume:,} bytes, and it holds {bounds.data_bytes:,}")
    return None


def _read(mdf: Any, folder: Path, report: Report) -> None:
    untimed: list[str] = []
    left_out: list[str] = []
    for number, group in enumerate(mdf.groups):
        cycles = int(group.channel_group.cycles_nr)
        if not cycles:
            continue
        master = _time_channel(mdf, number)
        if master is None:
            untimed.append(str(number + 1))
            continue
        time_s = np.asarray(mdf.get_master(number), np.float64)
        if time_s.shape != (cycles,):
            raise ValueError(f"group {number + 1} has {time_s.size:,} of its {cycles:,} records")
        columns: list[RawColumn] = []
        for index, channel in enumerate(group.channels):
            if index == master:
                continue
            # All records, those marked invalid as well: left to itself the library drops them and their times.
            source = mdf.get(group=number, index=index, ignore_invalidation_bits=True)
            column = _channel(source, cycles, report.notes)
            if column is None:
                left_out.append(str(channel.name))
            else:
                columns.append(column)
        series = [pl.Series("0", time_s), *(one.values.rename(str(at)) for at, one in enumerate(columns, start=1))]
        pl.DataFrame(series).write_ipc(group_file(folder, number))
        report.groups.append((number, [(one.name, one.unit) for one in columns]))
    if untimed:
        text = reading_formats.groups_left_out(", ".join(untimed[:20]))
        report.notes.append(Note("left_out_groups", text))
    if left_out:
        shown = ", ".join(left_out[:8]) + (f" and {len(left_out) - 8} more" if len(left_out) > 8 else "")
        report.notes.append(Note("left_out_columns", reading_formats.channels_left_out(shown)))


def _time_channel(mdf: Any, number: int) -> int | None:
    """Index of a group's time channel; None where its master is none (an angle, a count) or there is no master."""
    index = mdf.masters_db.get(number)
    if index is None:
        return None
    if mdf.version >= "4" and mdf.groups[number].channels[index].sync_type != 1:
        return None
    return int(index)


def _channel(signal: Any, cycles: int, notes: list[Note]) -> RawColumn | None:
    """One channel as Float64 or String; None for arrays, structures and byte fields."""
    samples = np.asarray(signal.samples)
    # Older versions carry the device behind a backslash.
    name, in_name = naming.split_unit(str(signal.name).partition("\\")[0].strip() or str(signal.name))
    name = name or "unnamed"
    unit = str(signal.unit or "").strip() or in_name
    if samples.ndim != 1 or samples.dtype.names is not None:
        return None
    if len(samples) != cycles:
        raise ValueError(f"channel {name} has {len(samples):,} of its {cycles:,} records")
    invalid = signal.invalidation_bits
    bad = np.zeros(cycles, np.bool_) if invalid is None else np.asarray(invalid, np.bool_)
    if bad.any():
        count = int(np.count_nonzero(bad))
        notes.append(Note("cells_invalid", reading_formats.invalid(name), rows=count))
    if samples.dtype.kind in "fiub":
        values = samples.astype(np.float64)
        odd = ~np.isfinite(values) & ~bad
        if odd.any():
            count = int(np.count_nonzero(odd))
            text = reading_formats.not_finite(name)
            notes.append(Note("cells_not_finite", text, rows=count))
        values[bad | odd] = np.nan
        return RawColumn(name, unit, pl.Series(name, values, nan_to_null=True))
    if samples.dtype.kind not in "SUO":
        return None
    encoding = str(getattr(signal, "encoding", None) or "utf-8")
    texts = pl.Series(name, [_text(one, encoding) for one in samples.tolist()], dtype=pl.String)
    texts = texts.set(pl.Series(bad) | (texts == ""), None)
    numbers = texts.cast(pl.Float64, strict=False)
    if numbers.null_count() == texts.null_count() and numbers.is_finite().all():
        return RawColumn(name, unit, numbers)
    return RawColumn(name, unit, texts)


def _text(value: object, encoding: str) -> str:
    text = value.decode(encoding, errors="replace") if isinstance(value, bytes) else str(value)
    return text.strip("\0 \t\r\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), Bounds(**json.loads(sys.argv[3])))
