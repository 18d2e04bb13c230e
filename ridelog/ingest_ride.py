"""The last step from file to ride: marks of doubt, identity, and the few figures a list of rides shows."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import replace

from ridelog import clock, normalize, quality
from ridelog.ingest_options import ImportOptions
from ridelog.intervals import Interval
from ridelog.normalize import Normalized
from ridelog.ride import Note, Ride, SourceFile


def make_ride(
    normalized: Normalized,
    timeline: clock.Timeline,
    *,
    sources: tuple[SourceFile, ...],
    notes: tuple[Note, ...],
    options: ImportOptions,
    part: int | None = None,
) -> Ride:
    gears = options.bike.rpm_per_mps if options.bike is not None else None
    marks = quality.find_marks(normalized.samples, normalized.channels, normalized.gaps, gears)
    excluded: dict[str, list[Interval]] = {}
    for mark in marks:
        if mark.action == "excluded":
            excluded.setdefault(mark.channel, []).append(Interval(mark.start_s, mark.end_s))
    # Out of a doubtful stretch the way goes on, out of a van it does not.
    carried = tuple(Interval(mark.start_s, mark.end_s) for mark in marks if mark.kind == "transport")
    ridden = replace(normalized, breaks=(*normalized.breaks, *carried))
    extra: dict[str, str] = {}
    if timeline.start_local is not None:
        extra["start_local"] = timeline.start_local.isoformat()
    return Ride(
        id=_ride_id(timeline, sources, part),
        samples=normalized.samples,
        channels=normalized.channels,
        sources=sources,
        gaps=normalized.gaps,
        start_utc=timeline.start_utc,
        timezone=timeline.timezone,
        notes=notes,
        quality=marks,
        bike=options.bike_id,
        ambient_c=options.ambient_c,
        distance_m=normalize.ridden_m(ridden, excluded),
        peak_c=_peak_c(normalized, excluded.get("coolant_c", [])),
        extra=extra,
    )


def _peak_c(normalized: Normalized, excluded: list[Interval]) -> float | None:
    if "coolant_c" not in normalized.channels:
        return None
    t_s, y = normalize.present(normalized.samples["coolant_c"], normalized.samples["t_s"].to_numpy())
    if excluded:
        y = y[~normalize.marked(t_s, excluded)]
    return float(y.max()) if y.size else None


def content_mark(files: Sequence[SourceFile], part: int | None) -> str:
    """The end of a ride's id: 8 hex digits of a hash over its files' hashes, and its number where they hold several."""
    digest = hashlib.sha256("\n".join(sorted(file.sha256 for file in files)).encode())
    if part is not None:
        digest.update(f"\npart {part}".encode())
    return digest.hexdigest()[:8]


def _ride_id(timeline: clock.Timeline, sources: tuple[SourceFile, ...], part: int | None) -> str:
    mark = content_mark(sources, part)
    moment = timeline.start_utc or timeline.start_local
    return f"{moment:%Y%m%d-%H%M}-{mark}" if moment is not None else f"undated-{mark}"
