"""Several devices, one ride: the part of the import that brings their recordings onto one clock and joins them.

Recordings with dates in a known zone are joined by their clocks. One without is placed by what both devices felt of the
ride's speed, against a recording that has its date; where that can't be told, the files are refused with the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import polars as pl

from ridelog import align, clock, normalize, offset, quality
from ridelog.bike import Bike
from ridelog.channels import TIME
from ridelog.errors import InputRefused
from ridelog.intervals import Interval
from ridelog.normalize import Column, Normalized
from ridelog.offset import receiver
from ridelog.results import FloatArray
from ridelog.ride import Note

_OTHERS: tuple[tuple[str, offset.Kind], ...] = (
    ("gps_speed_mps", "shared"),
    ("engine_rpm", "rpm"),
    ("wheel_speed_mps", "speed"),
)
"""What can be compared with ground speed, the most telling first."""


@dataclass(frozen=True)
class Piece:
    """One ride of one file before it gets its id."""

    normalized: Normalized
    timeline: clock.Timeline
    notes: tuple[Note, ...]


@dataclass(frozen=True)
class _Signal:
    """A channel's own samples, doubtful stretches left out."""

    t_s: FloatArray
    values: FloatArray


def join_pieces(
    names: Sequence[str], pieces: Sequence[Piece], bike: Bike | None, timezone: str | None
) -> tuple[Normalized, clock.Timeline, tuple[Note, ...]]:
    """The joint ride of one piece a file, `names` being the files'. Raises InputRefused where they can't be joined."""
    parts = [_part(name, piece) for name, piece in zip(names, pieces, strict=True)]
    parts, placed = _place(parts, pieces, bike)
    joined = align.join(parts)
    columns: dict[str, Column] = {}
    for name, (number, old) in joined.origin.items():
        info = pieces[number].normalized.channels[old]
        columns[name] = Column(joined.columns[name], info.source, "derived" if info.origin == "derived" else "logged")
    columns["time_utc"] = Column(normalize.utc_column(joined.t_s, joined.start_utc), " + ".join(names))
    notes = [
        replace(note, text=f"{name}: {note.text}")
        for name, piece in zip(names, pieces, strict=True)
        for note in piece.notes
    ]
    notes.extend(placed)
    notes.extend(
        Note("second_sensor", f"{old} became {new}: another file has that channel too") for old, new in joined.renamed
    )
    zone = next((piece.timeline.timezone for piece in pieces if piece.timeline.timezone), None)
    normalized = normalize.finish(joined.t_s, columns, joined.gaps, joined.breaks, ())
    dated = next((p for p, part in zip(pieces, parts, strict=True) if part.start_utc is not None), pieces[0])
    timeline = replace(dated.timeline, start_utc=joined.start_utc, timezone=timezone or zone)
    return normalized, timeline, tuple(notes)


def _part(name: str, piece: Piece) -> align.Part:
    derived = frozenset(n for n, info in piece.normalized.channels.items() if info.origin == "derived")
    absolute = piece.timeline.start_utc if piece.timeline.has_absolute else None
    whole = piece.normalized
    return align.Part(name, whole.samples, absolute, whole.gaps, whole.breaks, derived)


def _place(parts: list[align.Part], pieces: Sequence[Piece], bike: Bike | None) -> tuple[list[align.Part], list[Note]]:
    """Give each part without a date its place on the clock of the first part that has one and shows the speed."""
    dated = [n for n, part in enumerate(parts) if part.start_utc is not None]
    if len(dated) in (0, len(parts)):
        return parts, []
    reference = next((n for n in dated if _ground_speed(pieces[n]) is not None), None)
    if reference is None:
        return parts, []
    placed, notes = list(parts), []
    for number, part in enumerate(parts):
        if part.start_utc is None:
            placed[number], note = _placed(part, pieces[number], parts[reference], pieces[reference], bike)
            notes.append(note)
    return placed, notes


def _placed(
    part: align.Part, piece: Piece, reference: align.Part, shown: Piece, bike: Bike | None
) -> tuple[align.Part, Note]:
    found = _offset(piece, shown, bike)
    start = reference.start_utc
    if found is None or found.status != "aligned" or start is None:
        why = "it has neither engine speed nor a speed to compare" if found is None else found.reason
        raise InputRefused(
            f"its times have no date, and its place in the ride can't be found: {why}",
            where=part.name,
            expected=f"a recording that follows the speed in {reference.name}, or one with date and time",
            to_do="import it alone, or export it again with date and time",
        )
    own = part.samples[TIME].to_numpy()
    moved = found.to_reference(own)
    first = float(moved[0])

    def at(interval: Interval) -> Interval:
        ends = found.to_reference(np.array(interval, dtype=np.float64)) - first
        return Interval(float(ends[0]), float(ends[1]))

    note = Note(
        "clock_placed",
        f"{part.name} has no date: its clock was placed against {reference.name} by the ride's speed, "
        f"{first:+.2f} s after its start, drift {found.drift_ppm or 0.0:+.0f} ppm, "
        f"good to {found.error_s or 0.0:.2f} s (confidence {found.confidence:.0%})",
    )
    shifted = replace(
        part,
        samples=part.samples.with_columns(pl.Series(TIME, moved - first)),
        start_utc=_rounded(start + timedelta(seconds=first)),
        gaps=tuple(at(gap) for gap in part.gaps),
        breaks=tuple(at(one) for one in part.breaks),
    )
    return shifted, note


def _rounded(moment: datetime) -> datetime:
    """To the millisecond: an estimate has no finer digits."""
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)


def _offset(piece: Piece, shown: Piece, bike: Bike | None) -> offset.Offset | None:
    """How the clock of `piece` lies to that of `shown`; None where nothing can be compared."""
    speed = _ground_speed(shown)
    other = next(((_signal(piece, name), kind) for name, kind in _OTHERS if _logged(piece, name)), None)
    if speed is None or other is None:
        return None
    signal, kind = other
    from_positions = not _logged(shown, "gps_speed_mps")
    lag_s = 0.0
    if not from_positions and kind != "shared" and _logged(shown, "lat_deg"):
        lat, lon = _signal(shown, "lat_deg"), _signal(shown, "lon_deg")
        lag_s = receiver.speed_lag_s(speed.t_s, speed.values, lat.t_s, lat.values, lon.values) or 0.0
    longest_s = _length_s(piece) + _length_s(shown)
    return offset.estimate(
        speed.t_s,
        speed.values,
        signal.t_s,
        signal.values,
        kind=kind,
        ratios=bike.rpm_per_mps if bike is not None and kind == "rpm" else None,
        max_offset_s=longest_s,
        reference_from_positions=from_positions,
        reference_lag_s=lag_s,
    )


def _length_s(piece: Piece) -> float:
    return float(piece.normalized.samples[TIME][-1])


def _logged(piece: Piece, name: str) -> bool:
    info = piece.normalized.channels.get(name)
    return info is not None and info.origin == "logged"


def _ground_speed(piece: Piece) -> _Signal | None:
    """Speed over ground as the receiver gave it, else worked out from its positions; None without either."""
    if _logged(piece, "gps_speed_mps"):
        return _signal(piece, "gps_speed_mps")
    if not (_logged(piece, "lat_deg") and _logged(piece, "lon_deg")):
        return None
    lat, lon = _signal(piece, "lat_deg"), _signal(piece, "lon_deg")
    if lat.t_s.size != lon.t_s.size:
        return None
    return _Signal(*receiver.track_speed(lat.t_s, lat.values, lon.values))


def _signal(piece: Piece, name: str) -> _Signal:
    whole = piece.normalized
    t_s, values = normalize.present(whole.samples[name], whole.samples[TIME].to_numpy())
    doubtful = [
        Interval(mark.start_s, mark.end_s)
        for mark in quality.find_marks(whole.samples.select(TIME, name), {name: whole.channels[name]}, whole.gaps)
        if mark.action == "excluded"
    ]
    keep = ~normalize.marked(t_s, doubtful)
    return _Signal(t_s[keep], values[keep])
