"""Parquet and Arrow files (IPC file and stream) written by other programs, and ridelog's own exports."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from ridelog.channels import RAW_PREFIX, TIME
from ridelog.errors import InputRefused
from ridelog.readers import naming
from ridelog.readers.base import ReadOptions, Sniff
from ridelog.readers.limits import Limits
from ridelog.readers.numbers import file_decimal, parse_column
from ridelog.readers.signs import only_channel
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading_formats

if TYPE_CHECKING:
    import pyarrow as pa

_PARQUET, _PARQUET_LOCKED = b"PAR1", b"PARE"
_IPC_FILE, _IPC_STREAM, _FEATHER_1 = b"ARROW1", b"\xff\xff\xff\xff", b"FEA1"
_END_OF_STREAM = b"\xff\xff\xff\xff\0\0\0\0"
_UNIT_KEYS = (b"unit", b"units", b"Unit", b"Units")
_OWN_KEY, _OWN_REPORT = b"ridelog.schema", b"ridelog.ride"
_UNNAMED_INDEX = "__index_level_0__"
_PER_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
_MOST_DEPTH = 4
_DAYS = (-719_162, 2_932_896)
"""The years 1 to 9999, in days since 1970."""
_MOMENTS_US = (_DAYS[0] * 86_400_000_000, (_DAYS[1] + 1) * 86_400_000_000 - 1)
_CLOCK_NS = (0, 86_400_000_000_000 - 1)


class ArrowTableReader:
    """Tables of the Arrow project: Parquet, IPC file, IPC stream."""

    name = "arrow"
    description = reading_formats.ARROW
    endings = (".parquet", ".pq", ".arrow", ".arrows", ".feather", ".ipc")

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002 - the content decides
        """Told by the first bytes; a stream by the size of its first message as well."""
        if head.startswith((_PARQUET, _PARQUET_LOCKED)):
            return Sniff(1.0, "it begins as a Parquet file")
        if head.startswith((_IPC_FILE, _FEATHER_1)):
            return Sniff(1.0, "it begins as an Arrow file")
        if head.startswith(_IPC_STREAM) and 8 <= int.from_bytes(head[4:8], "little") < 1 << 24 and len(head) > 16:
            return Sniff(0.9, "it begins as an Arrow stream")
        return Sniff(0.0, "the first bytes are not those of a Parquet or Arrow file")

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """The one table of the file. Raises InputRefused for a file that is damaged, cut, locked or empty."""
        import pyarrow as pa

        with path.open("rb") as file:
            magic = file.read(8)
        notes: list[Note] = []
        if magic.startswith(_PARQUET_LOCKED):
            raise _refused("the Parquet file is encrypted", options, "export it again without encryption")
        if magic.startswith(_FEATHER_1):
            raise _refused("the file is of the first Feather version", options, "export it again as Parquet")
        if magic.startswith(_PARQUET):
            load: Callable[[Path, ReadOptions, list[Note]], pa.Table] = _load_parquet
        elif magic.startswith(_IPC_FILE):
            load = _load_ipc_file
        elif magic.startswith(_IPC_STREAM):
            load = _load_ipc_stream
        else:
            raise _refused("the first bytes are not those of a Parquet or Arrow file", options, "check the file")
        try:
            table = load(path, options, notes)
            # Nothing below may trust offsets or indices that a damaged file holds.
            table.validate(full=True)
            columns = _columns(table, options, notes)
        except InputRefused:
            raise
        except MemoryError as error:
            raise _refused("it asks for more memory than there is", options, "check that the file is whole") from error
        except (pa.ArrowException, OSError, ValueError, LookupError, OverflowError, pl.exceptions.PolarsError) as error:
            cause = (str(error).strip().splitlines() or [type(error).__name__])[0][:200]
            raise _refused(f"the file is damaged or cut off ({cause})", options, "copy or export it again") from error
        if not table.num_rows or not columns:
            what = "the table has no rows" if columns else "the table has no column of numbers, times or text"
            raise _refused(what, options, "check what was exported")
        return [RawLog(self.name, columns, table.num_rows, (), 0, tuple(notes))]


def _refused(found: str, options: ReadOptions, to_do: str) -> InputRefused:
    return InputRefused(found, where=options.file_name, expected="a whole Parquet or Arrow file", to_do=to_do)


def _check_size(rows: int, columns: int, size: int, options: ReadOptions) -> None:
    limits: Limits = options.limits
    if rows > limits.max_rows:
        raise limits.exceeded("max_rows", f"the table has {rows:,} rows", where=options.file_name)
    if columns > limits.max_columns:
        raise limits.exceeded("max_columns", f"the table has {columns:,} columns", where=options.file_name)
    if size > limits.max_bytes:
        raise limits.exceeded("max_bytes", f"the table unpacks to {size:,} bytes", where=options.file_name)


def _load_parquet(path: Path, options: ReadOptions, notes: list[Note]) -> pa.Table:  # noqa: ARG001 - one signature
    import pyarrow as pa
    import pyarrow.parquet as pq

    with pq.ParquetFile(path, page_checksum_verification=True) as file:
        facts = file.metadata
        groups = [facts.row_group(number) for number in range(facts.num_row_groups)]
        unpacked = sum(max(group.total_byte_size, 0) for group in groups)
        _check_size(facts.num_rows, facts.num_columns, unpacked, options)
        parts: list[pa.Table] = []
        rows = size = 0
        for number in range(facts.num_row_groups):
            part = file.read_row_group(number)
            rows += part.num_rows
            size += part.nbytes
            # What the footer says of itself need not be true.
            _check_size(rows, part.num_columns, size, options)
            parts.append(part)
        table = pa.concat_tables(parts) if parts else file.schema_arrow.empty_table()
    if table.num_rows != facts.num_rows:
        raise ValueError(f"{table.num_rows:,} rows where its footer says {facts.num_rows:,}")
    return table


def _load_ipc_file(path: Path, options: ReadOptions, notes: list[Note]) -> pa.Table:  # noqa: ARG001 - one signature
    import pyarrow as pa

    with path.open("rb") as source, pa.ipc.open_file(source) as file:
        batches: list[pa.RecordBatch] = []
        for number in range(file.num_record_batches):
            batches.append(file.get_batch(number))
            _check_batches(batches, options)
        return pa.Table.from_batches(batches, file.schema)


def _load_ipc_stream(path: Path, options: ReadOptions, notes: list[Note]) -> pa.Table:
    import pyarrow as pa

    with path.open("rb") as source:
        source.seek(-min(len(_END_OF_STREAM), path.stat().st_size), os.SEEK_END)
        if source.read() != _END_OF_STREAM:
            notes.append(Note("no_end_mark", reading_formats.NO_END_MARK))
        source.seek(0)
        with pa.ipc.open_stream(source) as stream:
            batches: list[pa.RecordBatch] = []
            for batch in stream:
                batches.append(batch)
                _check_batches(batches, options)
            return pa.Table.from_batches(batches, stream.schema)


def _check_batches(batches: list[pa.RecordBatch], options: ReadOptions) -> None:
    batches[-1].validate(full=True)
    rows = sum(batch.num_rows for batch in batches)
    _check_size(rows, batches[-1].num_columns, sum(batch.nbytes for batch in batches), options)


@dataclass(frozen=True)
class _Leaf:
    """One column without structure: name with its path, the field's own unit, and its values."""

    name: str
    unit: str | None
    values: pa.ChunkedArray


def _columns(table: pa.Table, options: ReadOptions, notes: list[Note]) -> tuple[RawColumn, ...]:
    own = _OWN_KEY in (table.schema.metadata or {})
    left_out: list[str] = []
    leaves: list[_Leaf] = []
    for field, values in zip(table.schema, table.columns, strict=True):
        _flatten(_Leaf(field.name, _unit(field), values), leaves, left_out)
    if len(leaves) > options.limits.max_columns:
        _check_size(0, len(leaves), 0, options)
    if own:
        notes.extend(_start_note(table.schema))
        if "time_utc" in table.schema.names:
            # Both columns are one clock; this one tells the day as well.
            leaves = [leaf for leaf in leaves if leaf.name != TIME]
        # The prefix was put there by the import; the column comes back under the name its log gave it.
        leaves = [_Leaf(leaf.name.removeprefix(RAW_PREFIX), leaf.unit, leaf.values) for leaf in leaves]
    leaves = _name_index(leaves, notes)
    columns: list[RawColumn] = []
    texts: list[tuple[int, str, str | None, pl.Series]] = []
    for number, leaf in enumerate(leaves, start=1):
        name, in_name = naming.split_unit(leaf.name)
        name = name or f"column {number}"
        unit = leaf.unit or in_name
        series, unit_of_time = _series(leaf.values, name, notes)
        if series is None:
            left_out.append(f"{name} ({leaf.values.type})")
            continue
        if series.dtype == pl.Float64:
            columns.append(RawColumn(name, unit_of_time or unit, _finite(series.rename(name), name, notes)))
        else:
            if not unit_of_time:
                texts.append((len(columns), name, unit, series))
            columns.append(RawColumn(name, unit, series.rename(name)))
    _read_texts(texts, columns, notes)
    if left_out:
        shown = ", ".join(left_out[:8]) + (f" and {len(left_out) - 8} more" if len(left_out) > 8 else "")
        notes.append(Note("left_out_columns", reading_formats.columns_left_out(shown)))
    return tuple(columns)


def _start_note(schema: pa.Schema) -> list[Note]:
    """A start the user once gave stands in no column; say it, so that it can be given again."""
    try:
        start = json.loads((schema.metadata or {}).get(_OWN_REPORT, b"{}")).get("start_utc")
        moment = datetime.fromisoformat(start) if start and "time_utc" not in schema.names else None
    except (ValueError, TypeError, AttributeError):
        return [Note("report_unread", reading_formats.REPORT_UNREAD)]
    if moment is None:
        return []
    return [Note("start_in_report", reading_formats.start_in_report(moment.isoformat()))]


def _flatten(leaf: _Leaf, leaves: list[_Leaf], left_out: list[str], depth: int = 0) -> None:
    """Columns of a structure become columns of their own, named by their path."""
    import pyarrow as pa

    values = leaf.values
    if isinstance(values.type, pa.BaseExtensionType):
        values = pa.chunked_array([chunk.storage for chunk in values.chunks], values.type.storage_type)
    if not pa.types.is_struct(values.type):
        leaves.append(_Leaf(leaf.name, leaf.unit, values))
    elif depth >= _MOST_DEPTH:
        left_out.append(f"{leaf.name} (nested too deeply)")
    else:
        for number in range(values.type.num_fields):
            inner = values.type.field(number)
            # `flatten` lets a missing structure make its members missing; the bare child would not.
            parts = pa.chunked_array([chunk.flatten()[number] for chunk in values.chunks], inner.type)
            _flatten(_Leaf(f"{leaf.name}.{inner.name}", _unit(inner), parts), leaves, left_out, depth + 1)


def _unit(field: pa.Field) -> str | None:
    metadata = field.metadata or {}
    for key in _UNIT_KEYS:
        if key in metadata:
            return metadata[key].decode("utf-8", errors="replace").strip() or None
    return None


def _name_index(leaves: list[_Leaf], notes: list[Note]) -> list[_Leaf]:
    """An unnamed row index that holds times is the time, where no column bears the name of one."""
    import pyarrow as pa

    found: list[_Leaf] = []
    known = any(one.channel == "time" for leaf in leaves for one in naming.candidates(naming.split_unit(leaf.name)[0]))
    for leaf in leaves:
        is_time = pa.types.is_timestamp(leaf.values.type) or pa.types.is_duration(leaf.values.type)
        if leaf.name == _UNNAMED_INDEX and is_time and not known:
            notes.append(Note("index_as_time", reading_formats.INDEX_IS_TIME))
            found.append(_Leaf("time", leaf.unit, leaf.values))
        else:
            found.append(leaf)
    return found


def _series(values: pa.ChunkedArray, name: str, notes: list[Note]) -> tuple[pl.Series | None, str | None]:
    """A column as Float64 or String, with the unit of a time where its type tells one; None for other kinds."""
    import pyarrow as pa
    import pyarrow.compute as pc

    types = pa.types
    if types.is_dictionary(values.type):
        values = pc.cast(values, values.type.value_type)
    elif types.is_run_end_encoded(values.type):
        kind = values.type.value_type
        values = pa.chunked_array([pc.run_end_decode(chunk) for chunk in values.chunks], kind)
    kind = values.type
    if types.is_boolean(kind):
        return _numbers(pc.cast(values, pa.uint8())), None
    if types.is_integer(kind) or types.is_floating(kind) or types.is_decimal(kind):
        return _numbers(values), None
    if types.is_string(kind) or types.is_large_string(kind) or types.is_string_view(kind):
        text = _polars(values)
        return text.set(text.str.strip_chars() == "", None), None
    return _times(values, name, notes) if types.is_temporal(kind) else (None, None)


def _times(values: pa.ChunkedArray, name: str, notes: list[Note]) -> tuple[pl.Series | None, str | None]:
    """Moments, days, clock times and lengths of time.

    A column of times that names its zone becomes a count of microseconds since 1970, which holds every digit; times of
    no known zone stay text, because only the user can tell their zone.
    """
    import pyarrow as pa
    import pyarrow.compute as pc

    types = pa.types
    kind = values.type
    if types.is_duration(kind):
        return _numbers(pc.cast(values, pa.int64())) / _PER_SECOND[kind.unit], "s"
    if types.is_date(kind):
        days = _polars(pc.cast(pc.cast(values, pa.date32()), pa.int32()))
        return _inside(days, _DAYS, name, notes).cast(pl.Date).dt.to_string("%Y-%m-%d"), "text"
    if types.is_time(kind):
        clock = _polars(pc.cast(pc.cast(values, pa.time64("ns")), pa.int64()))
        return _inside(clock, _CLOCK_NS, name, notes).cast(pl.Time).dt.to_string("%H:%M:%S%.6f"), "text"
    if not types.is_timestamp(kind):
        return None, None
    if kind.tz is not None and any(one.channel == "time" for one in naming.candidates(name)):
        count = _numbers(pc.cast(values, pa.int64()))
        return count * (1e6 / _PER_SECOND[kind.unit]) if kind.unit != "ns" else count / 1e3, "us"
    zone = "UTC" if kind.tz is not None else None
    moments = _polars(pc.cast(pc.cast(values, pa.timestamp("us", zone), safe=False), pa.int64()))
    text = "%Y-%m-%dT%H:%M:%S%.6f" + ("Z" if zone else "")
    return _inside(moments, _MOMENTS_US, name, notes).cast(pl.Datetime("us")).dt.to_string(text), "text"


def _inside(counts: pl.Series, limits: tuple[int, int], name: str, notes: list[Note]) -> pl.Series:
    """Counts that no calendar or clock holds become null, counted."""
    bad = (counts < limits[0]) | (counts > limits[1])
    count = int(bad.sum() or 0)
    if not count:
        return counts
    notes.append(Note("cells_no_time", reading_formats.no_moments(name), rows=count))
    return counts.set(bad.fill_null(value=False), None)


def _numbers(values: pa.ChunkedArray) -> pl.Series:
    import pyarrow as pa
    import pyarrow.compute as pc

    return _polars(pc.cast(values, pa.float64(), safe=False))


def _polars(values: Any) -> pl.Series:
    series = pl.from_arrow(values)
    if not isinstance(series, pl.Series):
        raise TypeError("one Arrow column gave a table")
    return series


def _finite(series: pl.Series, name: str, notes: list[Note]) -> pl.Series:
    """Infinite values and NaN become null, counted."""
    if math.isfinite(series.sum()):  # one infinity or NaN makes the sum one
        return series
    bad = ~series.is_finite()
    count = int(bad.sum())
    if not count:
        return series
    notes.append(Note("cells_not_finite", reading_formats.not_finite(name), rows=count))
    return series.set(bad.fill_null(value=False), None)


def _read_texts(
    texts: list[tuple[int, str, str | None, pl.Series]], columns: list[RawColumn], notes: list[Note]
) -> None:
    """Columns of text that hold numbers become numbers, with every cell that did not simply parse counted."""
    channels = [only_channel(naming.candidates(name)) for _, name, _, _ in texts]
    decimal = file_decimal([series for _, _, _, series in texts], ";", channels)
    for channel, (number, name, unit, series) in zip(channels, texts, strict=True):
        parsed = parse_column(series.rename(name), decimal, channel=channel, unit=unit)
        if parsed.signs is not None and parsed.signs.why and parsed.is_number:
            notes.append(Note("decimal_sign", f"{name}: {parsed.signs.why}"))
        columns[number] = RawColumn(name, unit or parsed.unit, parsed.values)
        for kind, count in parsed.counts.items():
            example = repr(parsed.examples[kind][1][:24]) if kind in parsed.examples else None
            what = kind.replace("_", " ")
            notes.append(Note(f"cells_{kind}", reading_formats.odd_texts(name, what), count, example))
