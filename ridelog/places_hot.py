"""The hottest places of a library: each ride's visits, worked out once and kept, and what all rides together tell.

What a ride gives is kept in the library as numbers, under a hash of all it rests on: the ride's file, its air, notes
and day, the bike, the sheet in force, the rides of its build (their fits move where the coolant would settle), every
numeric constant of the analysis and the version.
"""

from __future__ import annotations

import hashlib
import json
import struct
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from ridelog import __version__
from ridelog.advice import KINDS, Advice, in_force
from ridelog.analysis import passes_grid, passes_hottest
from ridelog.analysis.passes_grid import NUMBERS, Signals, Visits
from ridelog.analysis.passes_hottest import HotPlace, RideVisits
from ridelog.analyze_heat import prior_hash
from ridelog.analyze_settings import settings_hash
from ridelog.baseline import Subject, learned
from ridelog.bike import DEFAULT_THRESHOLDS_C
from ridelog.errors import LibraryError, ProfileError, RidelogError
from ridelog.places import ridden, track, way_at
from ridelog.results import CannotTell, FloatArray, to_json
from ridelog.ride import day_of
from ridelog.study import Study, known_of_ride, study
from ridelog.words import places_hot as words
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.store.kept_results import ReviewRow
    from ridelog.store.library import Library

FORM = 1
"""Rises when what is kept of a ride holds something else than before."""

KIND = "places"
"""The name under which parts are kept."""

SHOWN = 12
"""So many places are told."""

_KINDS = tuple(KINDS)


@dataclass(frozen=True)
class HotPlaces:
    """The hottest places, those first of which it is surest. `bike`: of whose rides, None for all. `rides` were looked
    at, of `told` of them it can be told whether they were hot; `cannot_tell` names those that have nothing to say."""

    bike: str | None
    rides: int
    told: int
    places: tuple[HotPlace, ...]
    cannot_tell: tuple[CannotTell, ...]
    summary: tuple[str, ...]

    def to_json(self, *, positions: bool) -> dict[str, Any]:
        """Plain values; without positions where they must not be told."""
        told: dict[str, Any] = to_json(self)
        for place in told["places"]:
            kind = place["kind"]
            place["kind"] = _KINDS[kind] if kind >= 0 else None
            if not positions:
                del place["place_deg"]
        return {"schema": 1, **told}


@dataclass(frozen=True)
class _Part:
    """What is kept of a ride: its visits, or the reason why it has none."""

    visits: RideVisits | None
    reason: str | None
    prior: str | None


def hot_places(
    library: Library, bike: str | None = None, progress: Callable[[str], None] | None = None, most: int = SHOWN
) -> HotPlaces:
    """The hottest places of a bike's rides, or of all; rides of other bikes are counted there as well, rides marked
    faulty nowhere. Raises LibraryError, NotInLibrary."""
    return hot_places_and_ground(library, bike, progress, most)[0]


def hot_places_and_ground(
    library: Library, bike: str | None = None, progress: Callable[[str], None] | None = None, most: int = SHOWN
) -> tuple[HotPlaces, FloatArray]:
    """The same, and all the ground that was ridden: latitude and longitude of each cell, degrees, (n, 2)."""
    if bike is not None:
        bike = library.bike(bike).id
    # A bike with a fault gets hot on any ground.
    faulty = {row.id for row in library.list_rides(limit=None) if row.condition == "faulty"}
    parts = _parts(library, faulty, progress)
    doubts = [
        CannotTell(row.id, part.reason)
        for row, part in parts
        if part.reason is not None and (bike is None or row.bike == bike)
    ]
    visits = [part.visits for _, part in parts if part.visits is not None]
    of = [bike is None or one.bike == bike for one in visits]
    places = tuple(passes_hottest.hottest(visits, most, of=of))
    told = sum(bool(np.isfinite(one.visits.hot).any()) for one, mine in zip(visits, of, strict=True) if mine)
    found = HotPlaces(
        bike,
        sum(of),
        told,
        places,
        tuple(doubts),
        tuple(words.hot_summary(bike, sum(of), told, places, len(doubts))),
    )
    cells = np.unique(
        np.concatenate([one.visits.cell for one, mine in zip(visits, of, strict=True) if mine] or [_NONE])
    )
    return found, np.column_stack(passes_grid.middles(cells))


_NONE = np.empty(0, dtype=np.int64)


def _parts(library: Library, faulty: set[str], progress: Callable[[str], None] | None) -> list[tuple[ReviewRow, _Part]]:
    rows = library.review_rows()
    kept = library.parts([row.id for row in rows], KIND)
    bases = _Bases(library)
    found: list[tuple[ReviewRow, _Part | None]] = []
    for row in rows:
        if row.id in faulty:
            found.append((row, _Part(None, words.FAULTY, None)))
            continue
        if row.bike is not None and row.bike not in bases.bikes:
            broken = bases.lost_bikes.get(row.bike)
            why = words.no_such_bike(row.bike) if broken is None else broken.one_line()
            found.append((row, _Part(None, why, None)))
            continue
        if (lost := bases.sheets.lost_on(day_of(row.start_utc, row.timezone, row.start_local))) is not None:
            found.append((row, _Part(None, lost.error.one_line(), None)))
            continue
        blob = kept.get(row.id)
        found.append((row, _read(blob, row, bases.of(row)) if blob is not None else None))
    number = sum(part is None for _, part in found)
    done: list[tuple[ReviewRow, _Part]] = []
    at = 0
    for row, part in found:
        if part is None:
            at += 1
            if progress is not None:
                progress(doing.looking_at(at, number))
            part = _made(library, bases, row, kept.get(row.id))  # noqa: PLW2901 - made where none is kept
        done.append((row, part))
    return done


class _Bases:
    """Hashes that many rides share, each worked out once."""

    def __init__(self, library: Library) -> None:
        files = library.bike_files()
        self.bikes: dict[str, Bike] = {name: one for name, one in files.items() if not isinstance(one, ProfileError)}
        self.lost_bikes = {name: one for name, one in files.items() if isinstance(one, ProfileError)}
        self.sheets = library.sheets()
        self._library = library
        self._settings: dict[tuple[str | None, str], str] = {}
        self._builds: dict[str, str] = {}

    def of(self, row: ReviewRow) -> tuple[bytes, bytes]:
        """What a part rests on: of the ride itself, and of the rides it is analyzed by."""
        day = day_of(row.start_utc, row.timezone, row.start_local)
        bike = self.bikes[row.bike] if row.bike is not None else None
        sheet = in_force(list(self.sheets.usable), day)
        own = (str(FORM), __version__, self._of_settings(bike, sheet), row.content, repr(row.ambient_c), str(day))
        return _hash(*own, json.dumps(row.notes)), self._others(bike, day)

    def _of_settings(self, bike: Bike | None, sheet: Advice) -> str:
        key = (bike.id if bike is not None else None, sheet.version)
        if key not in self._settings:
            self._settings[key] = settings_hash(bike, sheet)
        return self._settings[key]

    def _others(self, bike: Bike | None, day: date | None) -> bytes:
        if bike is None:
            return _hash("none")
        if bike.build not in self._builds:
            alike = sorted((one for one in self.bikes.values() if one.build == bike.build), key=lambda one: one.id)
            default = in_force([], None)
            marks = [f"{self._of_settings(one, default)} {self._library.ride_marks(one.id)}" for one in alike]
            self._builds[bike.build] = "\n".join(marks)
        return _hash(self._builds[bike.build], str(day))


def _hash(*parts: str) -> bytes:
    return hashlib.sha256("\n".join(parts).encode()).digest()


def _made(library: Library, bases: _Bases, row: ReviewRow, blob: bytes | None) -> _Part:
    """A ride's part made and kept; the one that is kept where only rides changed that it is not analyzed by."""
    own, others = bases.of(row)
    try:
        if blob is not None and blob[:32] == own and row.bike is not None:
            still = _read(blob, row, (own, blob[32:64]))
            fits = learned(library, Subject.listed(library.row(row.id)), bases.bikes[row.bike])
            if still is not None and still.prior == prior_hash(fits):
                _keep(library, row.id, own + others + blob[64:])
                return still
        ride = library.load(row.id)
        known = known_of_ride(library, ride)
        part = part_of(study(ride, known))
    except RidelogError as error:
        return _Part(None, error.one_line(), None)
    _keep(library, row.id, own + others + _numbers(part))
    return part


def _keep(library: Library, ride: str, blob: bytes) -> None:
    # A full disk, or one that can only be read, costs the time to make it again and no answer.
    with suppress(LibraryError):
        library.keep_part(ride, KIND, blob[:64].hex(), blob)


def part_of(done: Study) -> _Part:
    """What a ride gives, from its analysis."""
    prior = prior_hash(done.known.baseline)
    made = track(done.ride)
    if isinstance(made, str):
        return _Part(None, made, prior)
    thresholds = done.known.bike.thresholds if done.known.bike is not None else DEFAULT_THRESHOLDS_C
    told = signals(done)
    visits = passes_grid.visits(made, way_at(ridden(done), made), told)
    return _Part(RideVisits(done.ride.id, done.ride.bike, tuple(name for name, _ in thresholds), visits), None, prior)


def signals(done: Study) -> Signals:
    """What is looked up along a ride, on its grid."""
    traces = done.found.traces
    nothing = np.full(traces.t_s.size, np.nan)
    thresholds = done.known.bike.thresholds if done.known.bike is not None else DEFAULT_THRESHOLDS_C
    kind = np.full(traces.t_s.size, -1, dtype=np.int64)
    for segment in done.found.analysis.segments:
        first, past = np.searchsorted(traces.t_s, (segment.start_s, segment.end_s))
        kind[first:past] = _KINDS.index(segment.kind) if segment.kind in _KINDS else -1
    levels = tuple(level for _, level in thresholds)
    series = traces.series
    return Signals(
        t_s=traces.t_s,
        step_s=traces.step_s,
        coolant_c=series.get("coolant_c", nothing),
        settle_c=series.get("settle_c", nothing),
        settle_low_c=series.get("settle_low_c", nothing),
        settle_high_c=series.get("settle_high_c", nothing),
        kind=kind,
        thresholds_c=levels,
        limit_c=max(levels),
    )


# -- numbers kept -----------------------------------------------------------------------------------------------------


def _numbers(part: _Part) -> bytes:
    """A head in JSON with its length before it, cells as int64, the rest as float32, column by column."""
    thresholds = part.visits.thresholds if part.visits is not None else ()
    count = part.visits.visits.size if part.visits is not None else 0
    head = json.dumps({"reason": part.reason, "prior": part.prior, "thresholds": thresholds, "visits": count}).encode()
    body = b""
    if part.visits is not None:
        told = part.visits.visits
        columns = [getattr(told, name) for name in NUMBERS] + list(told.above_s.T)
        body = told.cell.astype("<i8").tobytes() + np.array(columns, dtype="<f4").tobytes()
    return struct.pack("<I", len(head)) + head + body


def _read(blob: bytes, row: ReviewRow, basis: tuple[bytes, bytes]) -> _Part | None:
    """A kept part; None where it rests on something else than what holds now, or is not what was written."""
    if blob[:64] != b"".join(basis):
        return None
    try:
        (length,) = struct.unpack("<I", blob[64:68])
        head = json.loads(blob[68 : 68 + length])
        reason, prior = head["reason"], head["prior"]
        thresholds, count = tuple(map(str, head["thresholds"])), int(head["visits"])
        if reason is not None:
            return _Part(None, str(reason), prior)
        body = blob[68 + length :]
        cell = np.frombuffer(body[: 8 * count], dtype="<i8").astype(np.int64)
        table = np.frombuffer(body[8 * count :], dtype="<f4").astype(np.float64)
        table = table.reshape(len(NUMBERS) + len(thresholds), count)
    except (ValueError, KeyError, TypeError, struct.error):
        return None
    named: dict[str, FloatArray] = dict(zip(NUMBERS, table, strict=False))
    visits = Visits(cell=cell, above_s=table[len(NUMBERS) :].T, **named)
    return _Part(RideVisits(row.id, row.bike, thresholds, visits), None, prior)
