"""GPX tracks, version 1.1 and what is left of 1.0: timed points in segments, with the receiver's own extras.

Points without a time, without usable coordinates, or outside the globe are counted and left out. Segment ends are
breaks. The parser takes no document type and so no entities: nothing outside the file is ever fetched, nothing
expands.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers.base import ReadOptions, Sniff
from ridelog.readers.foreign import refuse_foreign
from ridelog.readers.gpx_points import Points, parse_points
from ridelog.readers.textfile import decode_head
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading_tracks

FIX_QUALITY = {"none": 0.0, "2d": 1.0, "3d": 1.0, "dgps": 2.0, "pps": 3.0}
"""GPX fix words -> the quality numbers receivers use (0 none, 1 satellites alone, 2 with corrections, 3 military)."""

_DECIMAL = r"^[+-]?(?:\d+(?:\.\d*)?|\.\d+)$"


class GpxReader:
    """GPX files."""

    name = "gpx"
    description = "GPX 1.1 (and 1.0) tracks"
    endings = (".gpx", ".xml")

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002 - the content decides
        """Certain where a gpx element stands near the start."""
        text = decode_head(head[:16_384]).lstrip()
        if "<gpx" in text or ":gpx" in text:
            return Sniff(1.0, "there is a gpx element")
        if text.startswith("<"):
            return Sniff(0.0, "it is XML, but without a gpx element at its start")
        return Sniff(0.0, "it is not XML")

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """One table for the whole file; tracks and segments are breaks in it. Raises InputRefused, LimitExceeded."""
        with path.open("rb") as file:
            refuse_foreign(file.read(4096), options.file_name)
        points = parse_points(path, options)
        if not points.total:
            raise InputRefused(
                "there is no track in it" + (", only way points or routes" if points.other_points else ""),
                where=options.file_name,
                expected="a GPX track with a time at every point",
                to_do="export the recorded track, not way points or a planned route",
            )
        return [_table(points, options)]


def _table(points: Points, options: ReadOptions) -> RawLog:
    notes = list(points.notes)
    lat, lon = (_coordinate(points.columns[key]) for key in ("lat", "lon"))
    bad = (
        lat.is_null()
        | lon.is_null()
        | (lat.abs() > 90.0).fill_null(value=True)
        | (lon.abs() > 180.0).fill_null(value=True)
    )
    time = points.columns["time"].str.strip_chars()
    time = time.set(time == "", None)
    untimed = time.is_null() & ~bad
    if bad.all():
        raise _nothing("not one point has usable coordinates", str(points.columns["lat"][0])[:20], options)
    if (bad | untimed).all():
        raise InputRefused(
            f"none of its {points.total:,} points has a time",
            where=options.file_name,
            expected="a recorded track, with a time at every point",
            to_do="export the recording itself; a planned route or a cleaned track has no times",
        )
    if bad.any():
        example = str(points.columns["lat"].filter(bad)[0])[:20]
        notes.append(
            Note(
                "left_out_bad_position",
                reading_tracks.BAD_POSITION,
                rows=int(bad.sum() or 0),
                example=f"lat={example!r}",
            )
        )
    if untimed.any():
        notes.append(Note("left_out_untimed", reading_tracks.NO_TIME, rows=int(untimed.sum() or 0)))
    if (lon == 180.0).any():
        notes.append(Note("gpx_longitude", reading_tracks.LONGITUDE_180, rows=int((lon == 180.0).sum() or 0)))
    spaced = time.str.contains(" ", literal=True)
    if spaced.any():
        notes.append(Note("gpx_time_form", reading_tracks.TIME_WITHOUT_T, rows=int(spaced.sum() or 0)))
    keep = ~(bad | untimed)
    columns = [
        RawColumn("time_utc", None, time.filter(keep)),
        RawColumn("lat_deg", None, lat.filter(keep)),
        RawColumn("lon_deg", None, lon.filter(keep)),
    ]
    columns.extend(_others(points, keep, notes))
    kept_before = keep.cum_sum()
    breaks = {int(kept_before[at - 1]) if at else 0 for at in points.breaks if at < points.total}
    height = int(keep.sum() or 0)
    return RawLog(
        "gpx", tuple(columns), points.total, tuple(sorted(b for b in breaks if 0 < b < height)), 0, tuple(notes)
    )


def _coordinate(text: pl.Series) -> pl.Series:
    plain = text.str.strip_chars()
    values = plain.cast(pl.Float64, strict=False)
    return values.set(~plain.str.contains(_DECIMAL).fill_null(value=False), None)


def _others(points: Points, keep: pl.Series, notes: list[Note]) -> list[RawColumn]:
    found: list[RawColumn] = []
    for key, name in (
        ("ele", "elevation_m"),
        ("speed", "gps_speed_mps"),
        ("hdop", "gps_hdop"),
        ("sat", "gps_satellites"),
    ):
        text = points.columns.get(key)
        if text is not None:
            column = _number(text, key, notes)
            if column.null_count() < column.len():
                found.append(RawColumn(name, None, column.filter(keep)))
    fix = points.columns.get("fix")
    if fix is not None:
        words = fix.str.strip_chars().str.to_lowercase()
        values = words.replace_strict(FIX_QUALITY, default=None, return_dtype=pl.Float64)
        unknown = values.is_null() & words.is_not_null() & (words != "")
        if unknown.any():
            notes.append(Note("gpx_fix", reading_tracks.UNKNOWN_FIX, rows=int(unknown.sum() or 0)))
        found.append(RawColumn("gps_fix", None, values.filter(keep)))
    for (name, unit), text in points.extras.items():
        # Only a stated unit makes an extension's number a speed or a temperature; without one it is kept as it came.
        column = _number(text, name, notes)
        if column.null_count() < column.len():
            found.append(RawColumn(name if unit else f"extensions {name}", unit, column.filter(keep)))
    return found


def _number(text: pl.Series, name: str, notes: list[Note]) -> pl.Series:
    plain = text.str.strip_chars()
    values = plain.cast(pl.Float64, strict=False)
    values = values.set((~values.is_finite()).fill_null(value=False), None)
    told: Counter[str] = Counter()
    told["empty"] = int((plain == "").sum() or 0)
    told["unreadable"] = int((values.is_null() & plain.is_not_null() & (plain != "")).sum() or 0)
    told["odd"] = int((values.is_not_null() & ~plain.str.contains(_DECIMAL)).sum() or 0)
    words = {
        "empty": reading_tracks.empty_elements(name),
        "unreadable": reading_tracks.unreadable_elements(name),
        "odd": reading_tracks.odd_elements(name),
    }
    notes.extend(Note(f"gpx_{kind}", words[kind], rows=count) for kind, count in told.items() if count)
    return values


def _nothing(found: str, example: str, options: ReadOptions) -> InputRefused:
    return InputRefused(
        f"{found} (lat={example!r})",
        where=options.file_name,
        expected="latitude and longitude in decimal degrees",
        to_do="export the track again",
    )
