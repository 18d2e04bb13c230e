"""A ride as a file for other programs, by the ending of its name.

`.parquet` and `.csv` hold the normalized ride, `.geojson` its flagged stretches (RFC 7946), `.gpx` its track (GPX 1.1).
Positions that a quality mark excludes are left out of `.geojson` and `.gpx`, and lines are cut where positions are
missing, so that nobody takes a straight line across a hole for a road.
"""

from __future__ import annotations

import itertools
import json
import os
import secrets
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from pathlib import Path
from typing import IO, Any

import numpy as np
import polars as pl

from ridelog.channels import RAW_PREFIX, TIME
from ridelog.errors import UsageError
from ridelog.intervals import Interval, clip, to_mask
from ridelog.results import BoolArray, FloatArray, Segment, to_json
from ridelog.ride import Note, Ride
from ridelog.words import export as words

LAT, LON, ELEVATION = "lat_deg", "lon_deg", "elevation_m"


def export(ride: Ride, path: Path, *, segments: Sequence[Segment] | None = None, trim_ends_m: float = 0.0) -> None:
    """Write a ride to `path`, replacing a file that is there; a failed write leaves the old one.

    `segments` are the ride's flagged stretches, needed for `.geojson` alone. With `trim_ends_m` the first and last so
    many metres are left out, see `trim`. Raises UsageError for an ending that is not known, a ride without positions
    where they are needed, a trim that leaves nothing, or a place that can't be written.
    """
    write = _FORMATS.get(path.suffix.lower())
    if write is None:
        raise UsageError(
            f"can't write {path.suffix or 'a file without an ending'}",
            where=str(path),
            expected=f"a name that ends in one of {', '.join(_FORMATS)}",
            to_do="choose one of these endings",
        )
    if segments is None and path.suffix.lower() == ".geojson":
        raise ValueError("the stretches of the ride are needed for .geojson")
    wanted = list(segments or ())
    if trim_ends_m > 0:
        ride, wanted = trim(ride, wanted, trim_ends_m)
    with replacing(path) as target:
        write(ride, wanted, target)


def write_atomically(path: Path, content: bytes) -> None:
    """Write a file whole or not at all. Raises UsageError where the place can't be written."""
    with replacing(path) as target:
        target.write_bytes(content)


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """A name beside `path` to write to; at the end it becomes `path`, after a failure it is gone."""
    target = path.resolve()
    waiting = target.with_name(f".{target.name[:100]}.{secrets.token_hex(6)}.part")
    try:
        if target.exists() and not target.is_file():
            raise UsageError("is not a file", where=str(path), expected="a file name", to_do="choose another name")
        try:
            yield waiting
            with waiting.open("rb+") as file:
                os.fsync(file.fileno())
            waiting.replace(target)
        finally:
            with suppress(OSError):
                waiting.unlink(missing_ok=True)
    except OSError as error:
        raise UsageError(
            f"can't be written ({error.strerror or error})",
            where=str(path),
            expected="a place you may write to, with room",
            to_do="choose another place or make room",
        ) from error


# -- positions --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Track:
    """Positions in order of time. `starts` are the indices at which a new piece begins (0 first)."""

    t_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    elevation_m: FloatArray
    starts: tuple[int, ...]

    def pieces(self, keep: BoolArray | None = None) -> list[slice]:
        """Index ranges without a hole; with `keep`, only where it is true."""
        inside = np.ones(self.t_s.size, dtype=np.bool_) if keep is None else keep
        edges = [*self.starts, self.t_s.size]
        found = []
        for first, past in itertools.pairwise(edges):
            at = np.flatnonzero(inside[first:past]) + first
            if at.size:
                found.append(slice(int(at[0]), int(at[-1]) + 1))
        return found


def _track(ride: Ride) -> _Track:
    names = set(ride.samples.columns)
    frame = pl.DataFrame()
    if {LAT, LON} <= names:
        elevation = pl.col(ELEVATION) if ELEVATION in names else pl.lit(None, dtype=pl.Float64).alias(ELEVATION)
        frame = ride.samples.select(TIME, LAT, LON, elevation).drop_nulls([LAT, LON])
        times = frame[TIME].to_numpy()
        frame = frame.filter(pl.Series(~(_excluded(ride, LAT, times) | _excluded(ride, LON, times))))
    if frame.is_empty():
        raise UsageError(
            "the ride has no usable position",
            where=f"ride {ride.id}",
            expected=f"the channels {LAT} and {LON}",
            to_do="export .csv or .parquet without --trim-ends",
        )
    t_s, lat, lon, height = (frame[name].to_numpy() for name in (TIME, LAT, LON, ELEVATION))
    starts = _piece_starts(t_s, ride.gaps)
    info = ride.channels.get(LAT)
    if info is not None and info.held:
        # A receiver slower than the log: only the first of each repeated position was measured.
        fresh = np.ones(t_s.size, dtype=np.bool_)
        fresh[1:] = (np.diff(lat) != 0) | (np.diff(lon) != 0)
        fresh[list(starts)] = True
        starts = tuple(int(fresh[:start].sum()) for start in starts)
        t_s, lat, lon, height = t_s[fresh], lat[fresh], lon[fresh], height[fresh]
    return _Track(t_s, lat, lon, height, starts)


def _excluded(ride: Ride, channel: str, t_s: FloatArray) -> BoolArray:
    marks = ride.excluded(channel)
    # A mark on one sample has no length; half-open intervals would lose it.
    points = [mark.start_s for mark in marks if mark.end_s <= mark.start_s]
    return to_mask(t_s, marks) | np.isin(t_s, points)


def _piece_starts(t_s: FloatArray, gaps: Sequence[Interval]) -> tuple[int, ...]:
    """A hole is a gap of the ride, or a step over 1 s and five times the usual one."""
    steps = np.diff(t_s)
    starts = {0}
    if steps.size:
        starts.update((np.flatnonzero(steps > max(1.0, 5.0 * float(np.median(steps)))) + 1).tolist())
    for gap in gaps:
        after = int(np.searchsorted(t_s, gap.start_s, side="right"))
        if 0 < after < t_s.size and t_s[after] >= gap.end_s:
            starts.add(after)
    return tuple(sorted(starts))


# -- trimming ---------------------------------------------------------------------------------------------------------

_JITTER_M = 10.0
"""A receiver at rest wanders by metres; movement counts once it has led this far from the last counted place."""


def trim(ride: Ride, segments: Sequence[Segment], ends_m: float) -> tuple[Ride, list[Segment]]:
    """The ride and its stretches without its first and last `ends_m` metres of way.

    Rows outside are gone from every channel, and time starts again from 0. Gone as well is what could speak of the
    place or the person otherwise: file names and hashes, notes, columns no name table knows, positions a quality
    mark excludes, and the wording of the marks. The clock and the ride's id stay. What lies in between is not
    changed: a ride that passes its own start again still shows it. Raises UsageError where nothing is left, or the
    ride has no position to measure by.
    """
    track = _track(ride)
    first = _place_after(track.t_s, track.lat_deg, track.lon_deg, ends_m)
    last = _place_after(track.t_s[::-1], track.lat_deg[::-1], track.lon_deg[::-1], ends_m)
    samples = pl.DataFrame()
    if first is not None and last is not None and first < last:
        samples = ride.samples.filter(pl.col(TIME).is_between(first, last))
    if samples.height < 2:
        raise UsageError(
            f"without its first and last {ends_m:g} m nothing of the ride is left",
            where=f"ride {ride.id}",
            expected="less than half of the ride's way",
            to_do="choose a smaller --trim-ends",
        )
    start_s, end_s = float(samples[TIME][0]), float(samples[TIME][-1])
    times = samples[TIME].to_numpy()
    doubtful = pl.Series(_excluded(ride, LAT, times) | _excluded(ride, LON, times))
    # A receiver that starts anew may repeat the place where it was last at home.
    samples = samples.with_columns(pl.when(~doubtful).then(pl.col(name)).alias(name) for name in (LAT, LON))
    names = [name for name in samples.columns if not name.startswith(RAW_PREFIX)]
    # Rounding to nanoseconds takes back the dust that the subtraction leaves in decimal times.
    kept = samples.select(names).with_columns((pl.col(TIME) - start_s).round(9))
    quality = [
        replace(mark, start_s=max(mark.start_s, start_s) - start_s, end_s=min(mark.end_s, end_s) - start_s, detail="")
        for mark in ride.quality
        if mark.channel in names and mark.start_s <= end_s and mark.end_s >= start_s
    ]
    note = Note(
        "trimmed",
        words.trimmed(ends_m),
    )
    ride = replace(
        ride,
        samples=kept,
        channels={name: replace(info, source="") for name, info in ride.channels.items() if name in names},
        sources=(),
        gaps=tuple(Interval(a - start_s, b - start_s) for a, b in clip(ride.gaps, start_s, end_s)),
        start_utc=ride.start_utc + timedelta(seconds=start_s) if ride.start_utc else None,
        notes=(note,),
        quality=tuple(quality),
        distance_m=None,
        peak_c=_peak_c(ride, kept, start_s),
        extra={},
    )
    return ride, [
        replace(one, start_s=max(one.start_s, start_s) - start_s, end_s=min(one.end_s, end_s) - start_s)
        for one in segments
        if one.start_s < end_s and one.end_s > start_s
    ]


def _peak_c(ride: Ride, kept: pl.DataFrame, start_s: float) -> float | None:
    if "coolant_c" not in kept.columns:
        return None
    seen = kept.filter(pl.Series(~_excluded(ride, "coolant_c", kept[TIME].to_numpy() + start_s)))["coolant_c"]
    peak = seen.max()
    return float(peak) if isinstance(peak, float) else None


def _place_after(t_s: FloatArray, lat_deg: FloatArray, lon_deg: FloatArray, way_m: float) -> float | None:
    """Time at which a track has led `way_m` metres on; None where it never does."""
    from ridelog.analysis.geodesy import short_steps_m

    step_m = min(_JITTER_M, way_m)
    at, travelled_m, ahead = 0, 0.0, 64
    while True:
        block = slice(at + 1, at + 1 + ahead)
        count = lat_deg[block].size
        if not count:
            return None
        # Steps from one place to many: pairs laid out one after the other, every second step is wanted.
        lat = np.column_stack([np.full(count, lat_deg[at]), lat_deg[block]]).ravel()
        lon = np.column_stack([np.full(count, lon_deg[at]), lon_deg[block]]).ravel()
        away_m = short_steps_m(lat, lon)[::2]
        far = np.flatnonzero(away_m >= step_m)
        if not far.size:
            if at + 1 + count >= t_s.size:
                return None
            ahead *= 2  # a long rest: look further from the same place
            continue
        travelled_m += float(away_m[far[0]])
        at, ahead = at + 1 + int(far[0]), 64
        if travelled_m >= way_m:
            return float(t_s[at])


# -- formats ----------------------------------------------------------------------------------------------------------


def _write_parquet(ride: Ride, _segments: Sequence[Segment], path: Path) -> None:
    from ridelog.store.parquet import write_ride

    write_ride(ride, path)


def _write_csv(ride: Ride, _segments: Sequence[Segment], path: Path) -> None:
    """Canonical names end in their unit; a raw column gets its own in brackets where the log gave one."""
    units = {name: info.unit for name, info in ride.channels.items() if name.startswith(RAW_PREFIX) and info.unit}
    named = ride.samples.rename({name: f"{name} [{unit}]" for name, unit in units.items()})
    named.write_csv(path, datetime_format="%Y-%m-%dT%H:%M:%S%.6fZ")


def _write_geojson(ride: Ride, segments: Sequence[Segment], path: Path) -> None:
    """Longitude before latitude, WGS 84, seven decimals (a centimetre). Heights are left out: the standard wants them
    above the ellipsoid, logs give them above the sea."""
    track = _track(ride)
    features = []
    for segment in segments:
        keep = (track.t_s >= segment.start_s) & (track.t_s <= segment.end_s)
        lines = [line for piece in track.pieces(keep) for line in _cut_at_antimeridian(track, piece) if len(line) > 1]
        geometry: dict[str, Any] | None = None
        if len(lines) == 1:
            geometry = {"type": "LineString", "coordinates": lines[0]}
        elif lines:
            geometry = {"type": "MultiLineString", "coordinates": lines}
        begin = ride.start_utc + timedelta(seconds=segment.start_s) if ride.start_utc else None
        properties = {
            "ride": ride.id,
            "bike": ride.bike,
            "start_utc": begin.astimezone(UTC).isoformat() if begin else None,
            **to_json(segment),
        }
        if geometry is None:
            properties["geometry_reason"] = words.NO_POSITION
        features.append({"type": "Feature", "geometry": geometry, "properties": properties})
    document = {"type": "FeatureCollection", "features": features}
    path.write_text(json.dumps(document, allow_nan=False, ensure_ascii=False), encoding="utf-8")


def _cut_at_antimeridian(track: _Track, piece: slice) -> list[list[list[float]]]:
    """RFC 7946, section 3.1.9: a line over the 180th meridian is cut there, each part on its own side."""
    lons, lats = track.lon_deg[piece], track.lat_deg[piece]
    lines: list[list[list[float]]] = [[]]
    for index, (lon, lat) in enumerate(zip(lons.tolist(), lats.tolist(), strict=True)):
        if index and abs(lon - lons[index - 1]) > 180.0:
            before, side = float(lons[index - 1]), 180.0 if lons[index - 1] > 0 else -180.0
            way = 360.0 - abs(lon - before)
            share = abs(side - before) / way if way else 0.0
            crossing = round(float(lats[index - 1]) + share * (lat - float(lats[index - 1])), 7)
            lines[-1].append([side, crossing])
            lines.append([[-side, crossing]])
        lines[-1].append([round(lon, 7), round(lat, 7)])
    return lines


def _write_gpx(ride: Ride, _segments: Sequence[Segment], path: Path) -> None:
    """One track, a track segment for each piece without a hole; times where the ride's date is known. No names."""
    track = _track(ride)
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write(
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            '<gpx version="1.1" creator="ridelog" xmlns="http://www.topografix.com/GPX/1/1">\n<trk>\n'
        )
        for piece in track.pieces():
            file.write("<trkseg>\n")
            _write_points(file, ride, track, piece)
            file.write("</trkseg>\n")
        file.write("</trk>\n</gpx>\n")


def _write_points(file: IO[str], ride: Ride, track: _Track, piece: slice) -> None:
    start = ride.start_utc.astimezone(UTC).replace(tzinfo=None) if ride.start_utc else None
    columns = (track.t_s[piece], track.lat_deg[piece], track.lon_deg[piece], track.elevation_m[piece])
    for t_s, lat, lon, height in zip(*(column.tolist() for column in columns), strict=True):
        # The schema's longitudes end short of 180.
        east = -180.0 if round(lon, 8) >= 180.0 else lon
        parts = [f'<trkpt lat="{lat:.8f}" lon="{east:.8f}">']
        if height == height:  # noqa: PLR0124 - a height that was not logged is NaN here
            parts.append(f"<ele>{height:.3f}</ele>")
        if start is not None:
            parts.append(f"<time>{(start + timedelta(seconds=t_s)).isoformat(timespec='milliseconds')}Z</time>")
        parts.append("</trkpt>\n")
        file.write("".join(parts))


_FORMATS: dict[str, Callable[[Ride, Sequence[Segment], Path], None]] = {
    ".parquet": _write_parquet,
    ".csv": _write_csv,
    ".geojson": _write_geojson,
    ".gpx": _write_gpx,
}
