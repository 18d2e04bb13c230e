"""The course strip of rides without their samples: stretches, map in use and hot time, kept so that many rides can be
drawn at once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from ridelog.errors import LibraryError, RidelogError
from ridelog.intervals import Interval, from_mask
from ridelog.ride import day_of
from ridelog.study import Known, Study, known_of, study
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

KIND = "strip"
Span = tuple[float, float]


@dataclass(frozen=True)
class Stretch:
    """A flagged stretch as the strip draws it."""

    start_s: float
    end_s: float
    kind: str
    verdict: str


@dataclass(frozen=True)
class Strip:
    """One ride. `conservative`, `standard`: when each map is known to have been on; `hot`: above the highest threshold
    that the ride passed, `hot_c`, None where it passed none."""

    ride: str
    bike: str | None
    day: date | None
    duration_s: float
    stretches: tuple[Stretch, ...]
    conservative: tuple[Span, ...]
    standard: tuple[Span, ...]
    hot: tuple[Span, ...]
    hot_c: float | None
    share: float | None


def strips(
    library: Library, rows: Sequence[RideRow], progress: Callable[[str], None] | None = None
) -> tuple[list[Strip], list[tuple[str, str]]]:
    """The strips of these rides, in their order, and the rides that could not be analyzed with the reason. Raises
    LibraryError."""
    found, failed = [], []
    kept = library.parts([row.id for row in rows], KIND)
    for number, row in enumerate(rows, start=1):
        try:
            known = known_of(library, row)
            basis = _basis(row, known)
            strip = _read(row, kept.get(row.id), basis)
            if strip is None:
                if progress is not None:
                    progress(doing.analyzing_one_of(number, len(rows)))
                strip = strip_of(study(library.load(row.id), known), row)
                with suppress(LibraryError):
                    library.keep_part(row.id, KIND, basis, _bytes_of(strip, basis))
        except RidelogError as error:
            failed.append((row.id, error.one_line()))
            continue
        found.append(strip)
    return found, failed


def strip_of(done: Study, row: RideRow) -> Strip:
    """From an analysis."""
    analysis, traces = done.found.analysis, done.found.traces
    used, coolant_c = traces.series.get("map_conservative"), traces.series.get("coolant_c")
    passed = [one.threshold_c for one in analysis.exposure if one.peak_c is not None and one.observed_s > 0.0]
    hot_c = max(passed, default=None)
    with np.errstate(invalid="ignore"):
        conservative, standard = (
            from_mask(traces.t_s, used == state, traces.step_s) if used is not None else [] for state in (1.0, 0.0)
        )
        hot = (
            from_mask(traces.t_s, coolant_c > hot_c, traces.step_s)
            if coolant_c is not None and hot_c is not None
            else []
        )
    return Strip(
        ride=row.id,
        bike=row.bike,
        day=day_of(row.start_utc, row.timezone, row.start_local),
        duration_s=analysis.ride.duration_s,
        stretches=tuple(Stretch(one.start_s, one.end_s, one.kind, one.verdict) for one in analysis.segments),
        conservative=_spans(conservative),
        standard=_spans(standard),
        hot=_spans(hot),
        hot_c=hot_c,
        share=analysis.adherence.share,
    )


def _spans(found: Sequence[Interval]) -> tuple[Span, ...]:
    return tuple((round(one.start_s, 1), round(one.end_s, 1)) for one in found)


def _basis(row: RideRow, known: Known) -> str:
    """Samples never change under an id; what the user said of them does."""
    start = row.start_utc.isoformat() if row.start_utc is not None else ""
    return hashlib.sha256("\n".join((known.hash, row.id, repr(row.ambient_c), start)).encode()).hexdigest()


def _bytes_of(strip: Strip, basis: str) -> bytes:
    told = asdict(strip)
    del told["day"]
    return json.dumps({"basis": basis, "strip": told}).encode()


def _read(row: RideRow, kept: bytes | None, basis: str) -> Strip | None:
    """What is kept, where it rests on what holds now."""
    if kept is None:
        return None
    try:
        told = json.loads(kept)
        if told["basis"] != basis:
            return None
        values = told["strip"]
        for name in ("conservative", "standard", "hot"):
            values[name] = tuple((float(a), float(b)) for a, b in values[name])
        values["stretches"] = tuple(Stretch(**one) for one in values["stretches"])
        return Strip(day=day_of(row.start_utc, row.timezone, row.start_local), **values)
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
