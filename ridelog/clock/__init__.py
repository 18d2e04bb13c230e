"""The clock of a log, rebuilt once: whatever its time columns hold becomes seconds that rise strictly from 0.

The rest of the project never looks at a time column again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo

import numpy as np
import polars as pl

from ridelog.clock import calendar_check, counter, date_numbers, days, recordings, texts, written, zones
from ridelog.clock.recordings import Findings, Rows
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.results import FloatArray
from ridelog.ride import Note, RawColumn, Recording
from ridelog.words import clocks

__all__ = ["Clock", "Timeline", "parse_zone", "rebuild", "tie_to_date"]

parse_zone = zones.parse_zone


@dataclass(frozen=True)
class Timeline:
    """The times of one recording.

    `start_utc` is the moment of t_s = 0 where the log (or the user) tells it. `has_absolute` is true where the log's
    own stamps are moments in UTC. `start_local` is the date and time as written where the zone is not known. `notes`
    are of this recording alone.
    """

    recording: Recording
    start_utc: datetime | None
    has_absolute: bool
    timezone: str | None
    start_local: datetime | None = None
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class Clock:
    """The recordings of a table, what was noted of all of them, and how many rows are in none (or merged into
    another)."""

    timelines: tuple[Timeline, ...]
    notes: tuple[Note, ...]
    left_out: int


@dataclass(frozen=True)
class _Stamps:
    """Parsed stamps in seconds (NaN where unreadable), and what they count from: `origin_us` since 1970 where dated."""

    seconds: FloatArray
    origin_us: int | None
    zoned: bool
    day_clock: bool
    count_s: float | None
    zone_name: str | None
    notes: tuple[Note, ...]
    hour_clock: bool = False


def rebuild(
    time: RawColumn,
    date: RawColumn | None,
    *,
    breaks: Sequence[int] = (),
    start: datetime | None = None,
    zone: str | None = None,
    where: str = "",
    first_row: int = 0,
    lines: Rows | None = None,
    unit_certain: bool = False,
) -> Clock:
    """Recordings of a table from its time column (and its date column, where the two are apart).

    `start` (aware) is what the user says of the first sample, `zone` the zone of times that name none. `where` and
    `first_row` (the file's line of the first row; `lines` of every row where they do not follow each other) are for
    messages. `unit_certain`: the unit is the user's own word, not a label. Raises InputRefused where there is no usable
    time, AmbiguousColumn where a unit or the order of day and month can't be told, UsageError for an unknown zone.
    """
    named_zone = zones.parse_zone(zone) if zone is not None else None
    stamps = _read(time, date, named_zone, zone, where, unit_certain=unit_certain)
    findings = Findings(list(stamps.notes), first_row=first_row, lines=lines)
    readable = np.isfinite(stamps.seconds)
    rows: Rows | None = None
    seconds = stamps.seconds
    if not readable.all():
        rows = np.flatnonzero(readable).astype(np.int64)
        lost = int(seconds.size - rows.size)
        if rows.size < 2 or lost > 0.5 * seconds.size:
            raise _unusable(time, f"only {rows.size:,} of {seconds.size:,} rows have a time that can be read", where)
        findings.left_out += lost
        first_lost = int(np.flatnonzero(~readable)[0])
        findings.notes.append(
            Note(
                "left_out_no_time",
                clocks.NO_TIME,
                rows=lost,
                example=findings.row(first_lost),
            )
        )
        breaks = [int(np.searchsorted(rows, b)) for b in breaks]
        seconds = seconds[rows]
    if seconds.size < 2:
        raise _unusable(time, f"there is only {seconds.size} row", where)
    if float(seconds.max()) == float(seconds.min()):
        raise _unusable(time, f"all {seconds.size:,} rows bear the same time", where)
    try:
        found = recordings.find_recordings(
            seconds,
            rows=rows,
            breaks=breaks,
            wraps_s=stamps.count_s,
            day_clock=stamps.day_clock,
            hour_clock=stamps.hour_clock,
            sortable=stamps.origin_us is not None,
            findings=findings,
        )
    except InputRefused as error:
        error.with_where(f"{where}, column {time.name}" if where else f"column {time.name}")
        raise
    timelines = _place(found, stamps, start, zone, findings)
    return Clock(tuple(timelines), tuple(findings.notes), findings.left_out)


def tie_to_date(
    clock: Clock, others: Sequence[RawColumn], date: RawColumn | None, *, zone: str | None = None, where: str = ""
) -> Clock:
    """The same recordings with their moments in UTC, where another column of the table tells date and zone.

    A receiver often writes its own time beside a finer counter. Its stamp is exact in the rows in which it changes, so
    the two are compared there.
    """
    if any(timeline.start_utc is not None or timeline.start_local is not None for timeline in clock.timelines):
        return clock
    open_: list[Note] = []
    for other in others:
        try:
            stamps = _read(other, date, zones.parse_zone(zone) if zone is not None else None, zone, where)
        except AmbiguousColumn as error:
            open_.append(Note("date_open", clocks.date_open(error.found, error.to_do)))
            continue
        except InputRefused:
            continue
        if stamps.origin_us is None or not stamps.zoned:
            continue
        placed = tuple(_tied(timeline, stamps) for timeline in clock.timelines)
        if any(timeline.start_utc is not None for timeline in placed):
            dated = Note("dated_by", clocks.dated_by(other.name))
            return Clock(placed, (*clock.notes, dated), clock.left_out)
        if any(timeline.notes for timeline in placed):
            return replace(clock, timelines=placed)
    return replace(clock, notes=(*clock.notes, *open_[:1])) if open_ else clock


_SET_BY_S = 5.0
_MOST_SETTINGS = 3
_STEADY_STAMPS = 5
"""Common practice, no source: a receiver sets its clock at the first fix and perhaps again with the week."""


def _tied(timeline: Timeline, stamps: _Stamps) -> Timeline:
    recording = timeline.recording
    seconds = stamps.seconds if recording.rows is None else stamps.seconds[recording.rows]
    if recording.run is not None:
        seconds = seconds[np.cumsum(recording.run) - 1]
    change = np.flatnonzero(np.diff(seconds) > 0) + 1
    change = change[np.isfinite(seconds[change])]
    if change.size < 2:
        return timeline
    offsets = seconds[change] - recording.t_s[change]
    # A clock set by the first fix jumps once or twice; what it shows after the last jump is the time.
    jumps = np.flatnonzero(np.abs(np.diff(offsets)) > _SET_BY_S)
    before = 0
    if 0 < jumps.size <= _MOST_SETTINGS and offsets.size - 1 - jumps[-1] >= _STEADY_STAMPS:
        before = int(change[jumps[-1]]) + 1
        offsets = offsets[jumps[-1] + 1 :]
    middle = float(np.median(offsets))
    # Two clocks that drift apart by seconds in one ride can't date each other to the second.
    if float(np.quantile(np.abs(offsets - middle), 0.9)) > 1.5 or stamps.origin_us is None:
        return timeline
    checked = calendar_check.check(stamps.origin_us + round(middle * 1e6))
    notes = () if checked.note is None else (checked.note,)
    if checked.moment is None:
        return replace(timeline, notes=notes)
    if before:
        right = np.abs(seconds[before:] - recording.t_s[before:] - middle) <= 1.5
        before += int(right.argmax())
        notes = (*notes, Note("clock_set_on_the_way", clocks.SET_ON_THE_WAY, rows=before))
    zone = timeline.timezone or stamps.zone_name
    return Timeline(recording, checked.moment, has_absolute=True, timezone=zone, notes=notes)


def _unusable(time: RawColumn, found: str, where: str) -> InputRefused:
    return InputRefused(
        found,
        where=f"{where}, column {time.name}" if where else f"column {time.name}",
        expected="a time in every row that rises from row to row",
        to_do="check the export; if another column holds the time, name it: --column 'NAME=time:s'",
    )


def _read(
    time: RawColumn,
    date: RawColumn | None,
    zone: tzinfo | None,
    zone_name: str | None,
    where: str,
    *,
    unit_certain: bool = False,
) -> _Stamps:
    notes: list[Note] = []
    order = texts.parse_order(time.unit)
    time = written.digits_as_numbers(time, is_clock=order is not None and date is not None)
    if time.values.dtype == pl.Float64:
        numbers = written.clock_numbers(
            time.values, time.unit, name=time.name, has_date=date is not None, unit_certain=unit_certain
        )
        if numbers is None:
            return _read_counter(time, date, where, unit_certain=unit_certain)
        notes.append(numbers.note)
        time = RawColumn(time.name, time.unit, numbers.texts)
        date = None if numbers.dated else date
    text = time.values
    if date is not None:
        text, note = _with_date(time, date, order, where)
        notes.extend(note)
        order = order or texts.parse_order(date.unit)
    try:
        parsed = texts.parse_texts(text, name=time.name, order=order)
    except InputRefused as error:
        error.with_where(where)
        raise
    if parsed is None:
        present = time.values.drop_nulls()
        example = f", for example {str(present[0])[:24]!r}" if present.len() else ""
        raise _unusable(time, f"its values are no times{example}", where)
    us, zoned = parsed.us, parsed.zoned
    name = parsed.offset
    notes.extend(parsed.notes)
    if not us.null_count() < us.len():
        present = text.drop_nulls()
        raise _unusable(
            time, f"none of its {present.len():,} times exists, for example {str(present[0])[:32]!r}", where
        )
    if parsed.dated:
        us, standing = days.count_on(us)
        notes.extend(standing)
    if zones.is_utc_word(time.unit) and not zoned:
        zoned, name = True, "UTC"
    if parsed.some_unzoned and parsed.zoned:
        notes.append(
            Note(
                "mixed_zones",
                clocks.MIXED_ZONES,
                rows=parsed.some_unzoned,
            )
        )
    if parsed.dated and not zoned and zone is not None:
        us, zoned, name = zones.local_to_utc(us, zone, where), True, zone_name
    if not parsed.dated:
        seconds = _seconds(us, 0)
        return _Stamps(seconds, None, zoned, parsed.clock, None, name, tuple(notes), hour_clock=not parsed.clock)
    origin = int(us.drop_nulls()[0])
    return _Stamps(
        _seconds(us, origin), origin, zoned, day_clock=False, count_s=None, zone_name=name, notes=tuple(notes)
    )


def _seconds(us: pl.Series, origin: int) -> FloatArray:
    since = us - origin if origin else us
    return np.asarray(since.cast(pl.Float64).fill_null(float("nan")).to_numpy() / 1e6, dtype=np.float64)


_NO_COUNT = 1e20
"""No clock counts that far, not even nanoseconds since 1970 (2e18): such a value is a fault of the log."""


def _read_counter(time: RawColumn, date: RawColumn | None, where: str, *, unit_certain: bool) -> _Stamps:
    column = time.values
    values = column.to_numpy() if not column.null_count() else column.fill_null(float("nan")).to_numpy()
    wild = bool(values.size) and not (abs(column.max() or 0.0) < _NO_COUNT and abs(column.min() or 0.0) < _NO_COUNT)  # type: ignore[arg-type, operator]
    if wild:
        values = np.where(np.abs(values) < _NO_COUNT, values, np.nan)
    finite = values if not column.null_count() and not wild else values[np.isfinite(values)]
    if finite.size < 2:
        raise _unusable(time, f"only {finite.size} rows have a time", where)
    unit = counter.unit_of(finite, time.unit, time.name, where, unit_certain=unit_certain)
    notes: list[Note] = []
    if date is not None and not unit.epoch:
        notes.append(
            Note(
                "date_unread",
                clocks.date_not_used(time.name),
            )
        )
    if unit.against is not None:
        notes.append(
            Note(
                "unit_contradicted",
                clocks.unit_contradicted(time.name, unit.against, unit.unit),
            )
        )
    elif unit.inferred:
        what = "Unix time in " if unit.epoch else ""
        notes.append(Note("time_unit", clocks.unit_by_steps(what, unit.unit)))
    if unit.epoch:
        origin = float(finite[0])
        return _Stamps(
            (values - origin) * unit.factor_s,
            round(origin * unit.factor_s * 1e6),
            zoned=True,
            day_clock=False,
            count_s=None,
            zone_name="UTC",
            notes=tuple(notes),
        )
    whole = bool((np.floor(finite[:1000]) == finite[:1000]).all())
    seconds = values if unit.factor_s == 1.0 else _scaled(values, unit.factor_s)
    return _Stamps(
        seconds,
        None,
        zoned=False,
        day_clock=False,
        count_s=unit.factor_s if whole else None,
        zone_name=None,
        notes=tuple(notes),
    )


def _scaled(values: FloatArray, factor_s: float) -> FloatArray:
    # Dividing by the whole number gives 0.1 where multiplying by 1e-3 gives 0.1000…01.
    inverse = round(1.0 / factor_s) if factor_s < 1 else 0
    return values / inverse if inverse else values * factor_s


def _with_date(
    clock: RawColumn, date: RawColumn, order: texts.Order | None, where: str
) -> tuple[pl.Series, list[Note]]:
    """Date and time of two columns as one text; the times alone where they hold the date already or it can't be
    read."""
    time = clock.values
    first = next(iter(time.drop_nulls().head(1).to_list()), "")
    if len(first) > 15 or "T" in first:
        return time, []
    order = order or date_numbers.said_order(date.name, date.unit)
    try:
        found = date_numbers.date_numbers(date.values, name=date.name, order=order, time_name=clock.name)
    except InputRefused as error:
        error.with_where(where)
        raise
    if found is not None:
        return found.texts + " " + time.str.strip_chars(), list(found.notes)
    if date.values.dtype == pl.Float64:
        return time, [Note("date_unread", clocks.DATE_UNREAD)]
    return date.values.str.strip_chars() + " " + time.str.strip_chars(), []


def _place(
    found: list[Recording], stamps: _Stamps, start: datetime | None, zone: str | None, findings: Findings
) -> list[Timeline]:
    """Each recording's place in time, from the log's own dates and from what the user said."""
    timelines: list[Timeline] = []
    shift = timedelta(0)
    for number, recording in enumerate(found):
        own: datetime | None = None
        notes: tuple[Note, ...] = ()
        if stamps.origin_us is not None:
            us = stamps.origin_us + round(recording.origin_s * 1e6)
            checked = calendar_check.check(us)
            # What the user says of the first sample holds for a clock that was never set as well.
            own = calendar_check.moment_of(us) if start is not None else checked.moment
            if start is None and checked.note is not None:
                notes = (checked.note,)
        absolute = own is not None and stamps.zoned
        if start is not None and number == 0:
            if own is not None and absolute:
                shift = start.astimezone(UTC) - own
                if abs(shift) > timedelta(seconds=1):
                    findings.notes.append(Note("clock_set", clocks.START_GIVEN))
            timelines.append(Timeline(recording, start.astimezone(UTC), absolute, zone or _offset_name(start)))
        elif own is not None and absolute:
            moment, name = own + shift, zone or stamps.zone_name
            timelines.append(Timeline(recording, moment, has_absolute=True, timezone=name, notes=notes))
        elif own is not None:
            local = own.replace(tzinfo=None)
            timelines.append(
                Timeline(recording, None, has_absolute=False, timezone=None, start_local=local, notes=notes)
            )
        else:
            timelines.append(Timeline(recording, None, has_absolute=False, timezone=zone, notes=notes))
    if start is None and any(timeline.start_local is not None for timeline in timelines):
        findings.notes.append(Note("zone_unknown", clocks.ZONE_UNKNOWN))
    return timelines


def _offset_name(moment: datetime) -> str:
    offset = moment.utcoffset() or timedelta(0)
    if not offset:
        return "UTC"
    minutes = int(offset.total_seconds() // 60)
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
