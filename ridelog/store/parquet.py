"""Ride files: one ride as one Parquet file that explains itself.

Columns are the ride's samples: `t_s` and one column a channel, null where a channel has no sample at that time. Every
Arrow field carries `unit`, `rate_hz`, `resolution`, `held`, `origin`, `source` and `coverage` as text (a key is left
out where the figure is not known). The file's key-value metadata holds two keys, which pyarrow shows in the schema as
well as in the footer, and polars in the footer:

    ridelog.schema    version of this layout
    ridelog.ride      the import report as JSON: everything of the ride but its samples

Why these settings (2,000,000 rows x 12 columns of a made-up ride, measured): logged values repeat, so dictionary pages
make them smaller and quicker to write than plain ones; byte-stream-split would double most of them, but suits times,
which never repeat: it writes `t_s` ten times as fast as a dictionary and in a fiftieth of the room. Together a
quarter faster and a fifth smaller than dictionaries alone. zstd above level 1 costs time for one part in a hundred.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from ridelog.channels import TIME, unit_of
from ridelog.errors import LibraryError
from ridelog.intervals import Interval
from ridelog.ride import ChannelInfo, Condition, Note, QualityMark, Ride, SourceFile

SCHEMA_VERSION = 1
"""Version of the layout above."""

SCHEMA_KEY = "ridelog.schema"
RIDE_KEY = "ridelog.ride"

ROW_GROUP_ROWS = 262_144
"""Rows written at a time: bounds the memory of a write, and what a reader of one stretch has to unpack."""


@dataclass(frozen=True)
class RideReport:
    """Everything a ride file says of its ride, without the samples. Fields as in ridelog.ride.Ride."""

    id: str
    rows: int
    duration_s: float
    channels: Mapping[str, ChannelInfo]
    sources: tuple[SourceFile, ...]
    gaps: tuple[Interval, ...]
    start_utc: datetime | None
    timezone: str | None
    notes: tuple[Note, ...]
    quality: tuple[QualityMark, ...]
    bike: str | None
    ambient_c: float | None
    condition: Condition
    distance_m: float | None
    peak_c: float | None
    extra: Mapping[str, str]


def write_ride(ride: Ride, path: Path) -> None:
    """Write a ride to `path`, replacing what is there; a failed write leaves no file.

    Raises ValueError for samples that break the promises of `Ride` (a NaN, an infinity, times that do not rise from
    0): that is a fault of the importer, never of a log. Raises OSError where the disk refuses.
    """
    import pyarrow as pa
    import pyarrow.parquet as pq

    check_samples(ride.samples)
    schema = _arrow_schema(ride)
    try:
        with pq.ParquetWriter(
            path,
            schema,
            compression="zstd",
            compression_level=1,
            use_dictionary=[name for name in schema.names if name != TIME],
            use_byte_stream_split=[TIME],
            write_page_checksum=True,
        ) as writer:
            # Slices turn into Arrow tables without a copy of the numbers; text is copied a slice at a time.
            for part in ride.samples.iter_slices(ROW_GROUP_ROWS):
                writer.write_table(pa.Table.from_arrays(part.to_arrow().columns, schema=schema))
    except BaseException:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise


def check_samples(samples: pl.DataFrame) -> None:
    """Raise ValueError where samples break the promises of `Ride`."""
    if samples.columns[:1] != [TIME] or samples.schema[TIME] != pl.Float64:
        raise ValueError(f"the first column of a ride is {TIME} in float64, not {samples.columns[:1]}")
    numbers = samples.select(pl.selectors.float())
    # One value that is none makes the sum none, and a sum is got at a third of the cost of a look at every value; only
    # of numbers near the end of the scale can it say so without cause.
    sums = numbers.sum().row(0, named=True)
    doubtful = [name for name, total in sums.items() if not math.isfinite(total)]
    wrong = [name for name in doubtful if not numbers[name].is_finite().all(ignore_nulls=True)]
    if wrong:
        raise ValueError(f"a ride holds a NaN or an infinity in {', '.join(wrong)}")
    if samples[TIME].null_count():
        raise ValueError("a ride holds a sample without a time")
    time = samples[TIME].to_numpy()
    if time.size and (time[0] != 0.0 or not (time[1:] > time[:-1]).all()):
        raise ValueError("times of a ride must rise strictly from 0")


def read_ride(path: Path, columns: Sequence[str] | None = None) -> Ride:
    """The ride in a file; with `columns`, only those channels (and `t_s`).

    Raises LibraryError for a file that is damaged, cut, or not a ride file, ValueError for a column it does not have.
    """
    return parse_ride(bytes_of(path), path, columns)


def read_report(path: Path) -> RideReport:
    """What a ride file says of its ride, without reading the samples. Raises LibraryError as `read_ride` does."""
    if not path.is_file():
        raise _missing(path)
    try:
        return _report(pl.read_parquet_metadata(path), path)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise damaged(path, str(error)) from error


def parse_ride(data: bytes, path: Path, columns: Sequence[str] | None = None) -> Ride:
    """The ride in the bytes of the file `path`; see `read_ride`."""
    try:
        report = _report(pl.read_parquet_metadata(data), path)
        wanted = None if columns is None else [TIME, *(name for name in columns if name != TIME)]
        unknown = [] if wanted is None else [name for name in wanted if name not in {TIME, *report.channels}]
        if unknown:
            raise ValueError(f"{path.name} has no {', '.join(unknown)}; it has {', '.join(report.channels)}")
        samples = pl.read_parquet(data, columns=wanted)
    except (pl.exceptions.PolarsError, OSError) as error:
        raise damaged(path, str(error)) from error
    if samples.height != report.rows:
        raise damaged(path, f"{samples.height:,} rows where the report says {report.rows:,}")
    _check_read(samples, [TIME, *report.channels] if wanted is None else wanted, path)
    return Ride(
        id=report.id,
        samples=samples,
        channels={name: info for name, info in report.channels.items() if name in samples.columns},
        sources=report.sources,
        gaps=report.gaps,
        start_utc=report.start_utc,
        timezone=report.timezone,
        notes=report.notes,
        quality=report.quality,
        bike=report.bike,
        ambient_c=report.ambient_c,
        condition=report.condition,
        distance_m=report.distance_m,
        peak_c=report.peak_c,
        extra=report.extra,
    )


def _check_read(samples: pl.DataFrame, names: Sequence[str], path: Path) -> None:
    """What was promised as the file was written, which all that follows rests on. Raises LibraryError."""
    kinds = samples.schema
    for name in names:
        if name not in kinds:
            raise damaged(path, f"the column {name} is gone")
        if kinds[name] == pl.String and not name.startswith("raw."):
            raise damaged(path, f"the column {name} holds no numbers")
    try:
        check_samples(samples)
    except ValueError as error:
        raise damaged(path, str(error)) from error


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal text."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise _missing(path) from error
    except OSError as error:
        raise damaged(path, error.strerror or str(error)) from error


def _missing(path: Path) -> LibraryError:
    return LibraryError(
        "the ride file is gone",
        where=str(path),
        expected="the file the import wrote",
        to_do="import the log again; the library keeps the original in its folder originals",
    )


def damaged(path: Path, reason: str) -> LibraryError:
    # Readers of Parquet answer in many lines; the first one holds the cause.
    cause = (reason.strip().splitlines() or ["unreadable"])[0][:200]
    return LibraryError(
        f"the ride file is damaged ({cause})",
        where=str(path),
        expected="the file as the import wrote it",
        to_do="delete this file, then import the log again from the original kept in the library's folder originals",
    )


def _arrow_schema(ride: Ride) -> Any:
    import pyarrow as pa

    plain = ride.samples.head(0).to_arrow().schema
    fields = [field.with_metadata(_field_metadata(field.name, ride.channels.get(field.name))) for field in plain]
    report = json.dumps(_report_document(ride), allow_nan=False, ensure_ascii=False, separators=(",", ":"))
    return pa.schema(fields, metadata={SCHEMA_KEY: str(SCHEMA_VERSION), RIDE_KEY: report})


def _field_metadata(name: str, info: ChannelInfo | None) -> dict[str, str]:
    if info is None:
        return {"unit": unit_of(name)}
    figures = {"rate_hz": info.rate_hz, "resolution": info.resolution, "coverage": info.coverage}
    return {
        "unit": info.unit,
        "held": "true" if info.held else "false",
        "origin": info.origin,
        "source": info.source,
        **{key: repr(float(value)) for key, value in figures.items() if value is not None},
    }


def _report_document(ride: Ride) -> dict[str, Any]:
    duration_s = ride.duration_s
    if not math.isfinite(duration_s):
        raise ValueError("a ride without a finite duration")
    return {
        "id": ride.id,
        "rows": ride.samples.height,
        "duration_s": duration_s,
        "start_utc": ride.start_utc.astimezone(UTC).isoformat() if ride.start_utc else None,
        "timezone": ride.timezone,
        "bike": ride.bike,
        "ambient_c": ride.ambient_c,
        "condition": ride.condition,
        "distance_m": ride.distance_m,
        "peak_c": ride.peak_c,
        "sources": [asdict(source) for source in ride.sources],
        "gaps": [[gap.start_s, gap.end_s] for gap in ride.gaps],
        "notes": [asdict(note) for note in ride.notes],
        "quality": [asdict(mark) for mark in ride.quality],
        "channels": [asdict(info) for info in ride.channels.values()],
        "extra": dict(ride.extra),
    }


def _report(metadata: Mapping[str, str], path: Path) -> RideReport:
    if SCHEMA_KEY not in metadata or RIDE_KEY not in metadata:
        raise LibraryError(
            "is not a ride file of ridelog",
            where=str(path),
            expected=f"a Parquet file whose metadata holds {SCHEMA_KEY}",
            to_do="import the log it came from",
        )
    version = metadata[SCHEMA_KEY]
    if version != str(SCHEMA_VERSION):
        raise LibraryError(
            f"was written by another ridelog (ride file version {version})",
            where=str(path),
            expected=f"version {SCHEMA_VERSION}",
            to_do="update ridelog, or import the log again with this one",
        )
    try:
        document = json.loads(metadata[RIDE_KEY])
        start = document["start_utc"]
        return RideReport(
            id=document["id"],
            rows=document["rows"],
            duration_s=document["duration_s"],
            channels={item["name"]: ChannelInfo(**item) for item in document["channels"]},
            sources=tuple(SourceFile(**item) for item in document["sources"]),
            gaps=tuple(Interval(*pair) for pair in document["gaps"]),
            start_utc=datetime.fromisoformat(start) if start is not None else None,
            timezone=document["timezone"],
            notes=tuple(Note(**item) for item in document["notes"]),
            quality=tuple(QualityMark(**item) for item in document["quality"]),
            bike=document["bike"],
            ambient_c=document["ambient_c"],
            condition=document["condition"],
            distance_m=document["distance_m"],
            peak_c=document["peak_c"],
            extra=document["extra"],
        )
    except (ValueError, KeyError, TypeError) as error:
        raise damaged(path, f"its report can't be read: {error}") from error
