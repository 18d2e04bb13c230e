"""A new ride beside those already stored: the same one exported twice, another device's part of it, or neither.

Nothing is held back or put together unasked: the ride is stored, and a note says what it seems to be and what to do.
"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from ridelog.channels import base_name, is_canonical
from ridelog.errors import RidelogError
from ridelog.ingest_compare import Comparison, compare, logged, signal
from ridelog.offset import signals
from ridelog.ride import Note, Ride, local_start
from ridelog.words import device_clocks as words
from ridelog.words import joining

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.results import FloatArray
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

MOST_COMPARED = 3
"""Rides compared with one new ride, those that share most time first; the rest are counted."""

LEAST_SHARED_S = 30.0
"""Rides that share less (one begins as the other ends) are not spoken of."""

SAME = 0.97
"""Correlation, second by second, of one quick channel as the clocks stand, from which nothing more need be compared.
Copies of the sample rides at a tenth or a twentieth of their rows keep 0.96 and more; different sample rides, set off
at the same moment over the same ground, reach 0.93."""

_QUICK = ("engine_rpm", "gps_speed_mps", "wheel_speed_mps", "throttle_pct")
_SMOOTH_S = 1.0
_SECOND = round(1.0 / signals.STEP_S)
_LEAST_POINTS = 30


@dataclass(frozen=True)
class _Likeness:
    """How like a stored ride is: the quick channel both have that agrees best, and its correlation; what the
    comparison of changes says where that does not settle it."""

    channel: str | None
    correlation: float
    found: Comparison | None

    @property
    def same_moment(self) -> bool:
        """The two agree as their clocks stand."""
        return self.correlation >= SAME

    @property
    def same_ride(self) -> bool:
        """The two are of one ride."""
        return self.same_moment or (self.found is not None and self.found.offset.status == "aligned")


def overlap_notes(library: Library, ride: Ride, bike: Bike | None = None) -> tuple[Note, ...]:
    """What the library's other rides of the same time say of a ride just stored; empty where there are none.

    Rides of another bike are left out, and so are rides without any date. Raises LibraryError where the catalogue
    can't be read; a stored ride that can't be read is named in its note.
    """
    start = _start(ride)
    if start is None or ride.duration_s <= 0.0:
        return ()
    local = ride.start_utc is None
    rows = library.rides_during(start, ride.duration_s, bike=ride.bike, local=local)
    spans = [(row, _shared(ride, start, row)) for row in rows if row.id != ride.id]
    near = sorted(
        ((row, span) for row, span in spans if _length_s(span) >= LEAST_SHARED_S), key=lambda one: -_length_s(one[1])
    )
    notes = [_note(library, ride, row, span, bike) for row, span in near[:MOST_COMPARED]]
    if len(near) > MOST_COMPARED:
        others = ", ".join(row.id for row, _ in near[MOST_COMPARED : MOST_COMPARED + 5])
        more = len(near) - MOST_COMPARED
        notes.append(Note("overlap_more", joining.more_overlap(more, others)))
    return tuple(notes)


def _start(ride: Ride) -> datetime | None:
    return ride.start_utc.astimezone(UTC) if ride.start_utc is not None else local_start(ride)


def _shared(ride: Ride, start: datetime, row: RideRow) -> tuple[datetime, datetime]:
    began = row.start_utc.astimezone(UTC) if row.start_utc is not None else row.start_local or start
    if start.tzinfo is None:
        began = began.replace(tzinfo=None)
    ends = start + timedelta(seconds=ride.duration_s), began + timedelta(seconds=row.duration_s)
    return max(start, began), min(ends)


def _length_s(span: tuple[datetime, datetime]) -> float:
    return (span[1] - span[0]) / timedelta(seconds=1)


def _note(library: Library, ride: Ride, row: RideRow, span: tuple[datetime, datetime], bike: Bike | None) -> Note:
    zone = "UTC" if span[0].tzinfo is not None else joining.OWN_CLOCKS
    end = f"{span[1]:%H:%M:%S}" if span[0].date() == span[1].date() else f"{span[1]:%Y-%m-%d %H:%M:%S}"
    overlaps = joining.overlaps(row.id, span[0], end, zone)
    ours, theirs = {file.sha256 for file in ride.sources}, {file.sha256 for file in row.files}
    if ours == theirs:
        return Note("overlap_same_file", joining.same_file(overlaps))
    if ours & theirs:
        shared = ", ".join(file.name for file in row.files if file.sha256 in ours)
        part = ride.id if len(ours) < len(theirs) else row.id
        return Note("overlap_part", joining.shared_file(overlaps, shared, part))
    try:
        stored = library.load(row.id)
    except RidelogError as error:
        return Note("overlap_unread", joining.not_compared(overlaps, error.found))
    return _told(overlaps, ride, stored, _likeness(ride, stored, bike))


def _likeness(ride: Ride, stored: Ride, bike: Bike | None) -> _Likeness:
    one, two = _start(ride), _start(stored)
    shift_s = (one - two) / timedelta(seconds=1) if one is not None and two is not None else 0.0
    best: tuple[float, str | None] = (-1.0, None)
    for name in _QUICK:
        if logged(ride, name) and logged(stored, name):
            found = _correlation(_each_second(stored, name, 0.0), _each_second(ride, name, shift_s))
            best = max(best, (found, name)) if found is not None else best
    if best[0] >= SAME:
        return _Likeness(best[1], best[0], None)
    return _Likeness(best[1], best[0], compare(stored, ride, bike, near_s=shift_s))


def _each_second(ride: Ride, name: str, shift_s: float) -> signals.Uniform:
    own = signal(ride, name)
    smooth = signals.smoothed(signals.on_grid(own.t_s + shift_s, own.values), _SMOOTH_S)
    skip = -smooth.first % _SECOND
    return signals.Uniform((smooth.first + skip) // _SECOND, smooth.values[skip::_SECOND])


def _correlation(one: signals.Uniform, two: signals.Uniform) -> float | None:
    """Of the seconds both know; None where they are few or one never changes."""
    first = max(one.first, two.first)
    last = min(one.first + one.values.size, two.first + two.values.size)
    if last - first < _LEAST_POINTS:
        return None
    x: FloatArray = one.values[first - one.first : last - one.first]
    y: FloatArray = two.values[first - two.first : last - two.first]
    both = np.isfinite(x) & np.isfinite(y)
    x, y = x[both], y[both]
    if x.size < _LEAST_POINTS or x.std() <= 1e-9 or y.std() <= 1e-9:
        return None
    return float(np.corrcoef(x, y)[0, 1])


def _own(ride: Ride) -> set[str]:
    """What a device measured: canonical channels but time."""
    return {base_name(n) for n in ride.channels if is_canonical(n) and logged(ride, n)} - {"time_utc"}


def _told(overlaps: str, ride: Ride, stored: Ride, like: _Likeness) -> Note:
    join = _join_command(ride, stored)
    if not like.same_ride:
        if like.channel is None and like.found is None:
            return Note(
                "overlap_unknown",
                joining.nothing_in_common(overlaps, join),
            )
        shown = joining.channel_agrees_little(like.channel, like.correlation) if like.channel else ""
        why = shown or words.why_not(like.found)
        return Note(
            "overlap_unlike",
            joining.not_alike(overlaps, why, join),
        )
    mine, theirs = _own(ride), _own(stored)
    agree = _how_alike(like, ride, stored)
    if like.channel is not None and (mine <= theirs or theirs <= mine):
        return Note(
            "overlap_same_ride",
            joining.same_ride(overlaps, agree, _fuller(ride, stored), ride.id, stored.id),
        )
    return Note("overlap_other_device", joining.other_device(overlaps, agree, join))


def _how_alike(like: _Likeness, ride: Ride, stored: Ride) -> str:
    if like.same_moment and like.channel is not None:
        return joining.channel_agrees(like.channel, like.correlation)
    found = like.found
    one, two = _start(ride), _start(stored)
    if found is None or found.offset.offset_s is None or one is None or two is None:
        return joining.THEY_AGREE
    apart_s = found.offset.offset_s - (one - two) / timedelta(seconds=1)
    return joining.clocks_apart(found.what, words.span(abs(apart_s)), found.offset.confidence)


def _fuller(ride: Ride, stored: Ride) -> str:
    """Which of two exports holds more."""
    counts = len(_own(ride)), len(_own(stored))
    rows = ride.samples.height / max(ride.duration_s, 1.0), stored.samples.height / max(stored.duration_s, 1.0)
    if counts[0] != counts[1]:
        fuller = ride.id if counts[0] > counts[1] else stored.id
        return joining.more_channels(fuller, max(counts), min(counts))
    if max(rows) > 1.2 * min(rows):
        finer = ride.id if rows[0] > rows[1] else stored.id
        return joining.more_rows(finer, max(rows), min(rows))
    return joining.NO_MORE


def _join_command(ride: Ride, stored: Ride) -> str:
    """How to make one ride of the files of two."""
    names = [source.name for source in (*stored.sources, *ride.sources)]
    return joining.import_together(_quoted(names), stored.id, ride.id)


def _quoted(names: Sequence[str]) -> str:
    return " ".join(shlex.quote(name) for name in dict.fromkeys(names))
