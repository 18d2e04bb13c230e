"""Tables in which each signal has a time column of its own: onto one axis of times.

Several time columns in one row can also be two clocks that tell the same moment (a counter and the time of day, local
time and UTC). Such a table is left as it is: only columns of one name whose times run apart belong to a signal each.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from ridelog.channels import CHANNELS
from ridelog.errors import InputRefused
from ridelog.readers import naming, one_axis
from ridelog.readers.long_format import spread
from ridelog.readers.one_axis import Ints
from ridelog.readers.stamps import Keys, sort_keys
from ridelog.results import FloatArray
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.units import TIME_UNITS_S, fold
from ridelog.words import reading

_SAME_MOMENT_STEPS = 2.0
"""Clocks of one row keep their distance to about the rows' own step."""

_ZONE_S = 900.0
"""The least that two time zones differ by."""

_SPAN_SHARE = 0.5
_FORWARD_SHARE = 0.9
"""A column is the clock of a signal where it spans this share of the longest one, or where so many of its steps go
forward; a lap's time, which repeats, does neither."""


@dataclass(frozen=True)
class Group:
    """A time column and the columns that go by it, by index."""

    time: int
    values: tuple[int, ...]


def signal_groups(names: Sequence[str], units: Sequence[str | None]) -> tuple[str, tuple[Group, ...]] | None:
    """The name of the clock and the groups of a header such as Time,Coolant,Time,Rpm; None for any other header.

    The first column is a time, each has columns of its own behind it, and all bear one name and unit, but for a number
    or the name of their signal: 'Time 2', 'Time rpm'.
    """
    clocks = [_clock_name(name, names[n + 1]) if n + 1 < len(names) and name else None for n, name in enumerate(names)]
    if not clocks or clocks[0] is None:
        return None
    times = [n for n, clock in enumerate(clocks) if clock is not None]
    if len(times) < 2 or len({clocks[n] for n in times}) > 1 or len({fold(units[n] or "") for n in times}) > 1:
        return None
    if any(_may_be_time(names[n]) for n in range(len(names)) if clocks[n] is None):
        return None
    groups = tuple(Group(a, tuple(range(a + 1, b))) for a, b in itertools.pairwise([*times, len(names)]))
    if not all(group.values for group in groups):
        return None
    same = len({fold(names[n]) for n in times}) == 1
    return names[times[0]] if same else str(clocks[0]), groups


def _may_be_time(name: str) -> bool:
    return any(one.channel in ("time", "date") for one in naming.candidates(name))


def _clock_name(name: str, behind: str) -> str | None:
    """The name of a clock without the number or the signal that it bears; None for what is no time."""
    words = naming.words_of(name)
    of_signal = set(naming.words_of(behind))
    for kept in (
        words,
        [word for word in words if not word.isdecimal()],
        [word.rstrip("0123456789") for word in words],
        [word for word in words if word not in of_signal],
    ):
        text = " ".join(word for word in kept if word)
        found = {one.channel for one in naming.candidates(text)} if text else set()
        if "time" in found:
            return text
        if found & CHANNELS.keys():
            return None
    return None


def on_one_axis(log: RawLog, where: str) -> RawLog:
    """The log with one time column where each of its signals has one of its own; any other log as it is. Raises
    InputRefused where the columns' times can't belong to one clock."""
    found = signal_groups([column.name for column in log.columns], [column.unit for column in log.columns])
    if found is None or not log.height:
        return log
    name, groups = found
    keys = _keys(log, groups)
    if keys is not None and all(np.array_equal(keys[0].values, key.values, equal_nan=True) for key in keys):
        return _once(log, groups)
    if keys is None or not _of_their_own([key.values for key in keys], _zone_step(log.columns[groups[0].time])):
        return log
    _check_overlap(log, groups, keys, where)
    return _Signals(log, name, groups, keys, where).joined()


def _once(log: RawLog, groups: Sequence[Group]) -> RawLog:
    """The log with the first of time columns that are all the same."""
    repeated = {group.time for group in groups[1:]}
    name = log.columns[groups[0].time].name
    note = Note("same_column", reading.same_times(name, len(groups)))
    columns = tuple(column for n, column in enumerate(log.columns) if n not in repeated)
    return replace(log, columns=columns, notes=(*log.notes, note))


def _keys(log: RawLog, groups: Sequence[Group]) -> list[Keys] | None:
    """Keys of each time column; None where they are not all of one kind. A column without a value has no times."""
    columns = [log.columns[group.time].values for group in groups]
    kinds = {column.dtype for column in columns if column.null_count() < column.len()}
    if len(kinds) != 1:
        return None
    keys = []
    for column in columns:
        if column.null_count() == column.len():
            keys.append(Keys(np.full(column.len(), np.nan), clock=False))
        elif (key := sort_keys(column)) is not None:
            keys.append(key)
        else:
            return None
    return keys


def _zone_step(time: RawColumn) -> float:
    """What two time zones differ by at least, as the column counts; infinite where its unit is not known."""
    if time.values.dtype != pl.Float64:
        return _ZONE_S
    unit = fold(time.unit or naming.counter_unit(time.name) or "").strip("[]() .")
    return _ZONE_S / TIME_UNITS_S[unit] if unit in TIME_UNITS_S else float("inf")


def _of_their_own(keys: Sequence[FloatArray], zone: float) -> bool:
    """Does each column of times go by a signal of its own, or do they tell the same moments twice?"""
    spans = [_span(key) for key in keys]
    longest = max(spans)
    for key, span in zip(keys, spans, strict=True):
        steps = np.diff(key[np.isfinite(key)])
        if steps.size and span < _SPAN_SHARE * longest and float((steps > 0).mean()) < _FORWARD_SHARE:
            return False
    return any(not _same_moments(keys[0], key, zone) for key in keys[1:])


def _span(key: FloatArray) -> float:
    finite = key[np.isfinite(key)]
    return float(finite.max() - finite.min()) if finite.size else 0.0


def _same_moments(one: FloatArray, other: FloatArray, zone: float) -> bool:
    here, there = np.isfinite(one), np.isfinite(other)
    if bool((here != there).any()):
        return False
    apart = (other - one)[here]
    if not apart.size or not apart.any():
        return True
    step = max(one_axis.usual_step(one[here]), one_axis.usual_step(other[here]))
    low, middle, high = np.quantile(apart, [0.05, 0.5, 0.95])
    # A signal that starts late runs beside the others all the same; two clocks are far apart, or by a time zone.
    far = min(zone, 0.5 * max(_span(one), _span(other)))
    return bool(high - low <= _SAME_MOMENT_STEPS * step and abs(middle) >= far)


def _check_overlap(log: RawLog, groups: Sequence[Group], keys: Sequence[Keys], where: str) -> None:
    ranges = []
    for group, key in zip(groups, keys, strict=True):
        if np.isfinite(key.values).any():
            signal = log.columns[group.values[0]].name
            ranges.append((float(np.nanmin(key.values)), float(np.nanmax(key.values)), signal))
    ranges.sort()
    reach, last = ranges[0][1], ranges[0][2]
    for low, high, signal in ranges[1:]:
        if low > reach:
            raise InputRefused(
                f"each signal has its own time column, but the times of {signal!r} begin after those of {last!r} have "
                "ended",
                where=where,
                expected="time columns that count on one clock",
                to_do="put each signal and its times into a file of its own and import them with --together",
            )
        if high > reach:
            reach, last = high, signal


@dataclass(frozen=True)
class _Signals:
    """A table with a clock a signal, and the keys of its time columns."""

    log: RawLog
    name: str
    groups: tuple[Group, ...]
    keys: list[Keys]
    where: str

    def joined(self) -> RawLog:
        log = self.log
        rows = [np.flatnonzero(np.isfinite(key.values)).astype(np.int64) for key in self.keys]
        ends = np.cumsum([0, *(one.size for one in rows)])
        blocks = [slice(a, b) for a, b in itertools.pairwise(ends.tolist())]
        key = np.concatenate([one.values[at] for one, at in zip(self.keys, rows, strict=True)])
        if any(one.clock for one in self.keys):
            key = one_axis.over_midnight(key, blocks)
        series = np.repeat(np.arange(len(rows)), [one.size for one in rows])
        segment = self._segments(key, blocks, rows)
        axis = one_axis.by_time(segment, key, series)
        place = np.empty(key.size, dtype=np.int64)
        place[axis.order] = axis.group
        flat = np.concatenate(rows)
        order = axis.order if axis.order is not None else np.arange(key.size)
        first = order[np.flatnonzero(np.diff(axis.group, prepend=-1))]
        columns = [self._time(rows, first)]
        for group, at, block in zip(self.groups, rows, blocks, strict=True):
            columns.extend(_value(log.columns[n], at, place[block], axis.height) for n in group.values)
        lines = log.row_lines if log.row_lines is not None else np.arange(log.height, dtype=np.int64) + log.first_row
        untimed, example = self._untimed(lines)
        notes = [*log.notes, *self._notes(axis, flat, lines, key.size)]
        if untimed:
            notes.append(
                Note("left_out_untimed", reading.UNTIMED_VALUES, rows=untimed,
                     example=example)
            )  # fmt: skip
        return replace(
            log,
            columns=tuple(columns),
            rows_in=log.rows_in - log.height + key.size + untimed,
            breaks=self._breaks(rows, blocks, place),
            first_row=int(lines[flat[first[0]]]) if log.first_row else 0,
            notes=tuple(notes),
            row_lines=lines[flat[first]] if log.first_row else None,
        )

    def _segments(self, key: FloatArray, blocks: Sequence[slice], rows: Sequence[Ints]) -> Ints:
        segment = np.zeros(key.size, dtype=np.int64)
        counts: dict[int, str] = {}
        for group, block, at in zip(self.groups, blocks, rows, strict=True):
            if not at.size:
                continue
            forced = [int(np.searchsorted(at, row)) for row in self.log.breaks]
            segment[block] = one_axis.recordings_of(key[block], forced)
            more = sum(place >= at.size for place in forced)
            counts.setdefault(int(segment[block][-1]) + more, self.log.columns[group.values[0]].name)
        if len(counts) > 1:
            told = " and ".join(f"{times} times in the times of {signal!r}" for times, signal in sorted(counts.items()))
            raise InputRefused(
                f"each signal has its own time column, and the clock begins again {told}",
                where=self.where,
                expected="time columns that all show each new start of the clock, or times with their dates",
                to_do="export each recording to a file of its own",
            )
        return segment

    def _time(self, rows: Sequence[Ints], first: Ints) -> RawColumn:
        kinds = [self.log.columns[group.time] for group in self.groups]
        filled = [(column, at) for column, at in zip(kinds, rows, strict=True) if at.size]
        cells = pl.concat([column.values.gather(pl.Series(at)).rename(self.name) for column, at in filled])
        return RawColumn(self.name, kinds[0].unit, cells.gather(pl.Series(first)))

    def _untimed(self, lines: Ints) -> tuple[int, str | None]:
        count, example = 0, None
        for group, key in zip(self.groups, self.keys, strict=True):
            lost = np.zeros(self.log.height, dtype=np.bool_)
            for n in group.values:
                lost |= self.log.columns[n].values.is_not_null().to_numpy()
            lost &= ~np.isfinite(key.values)
            if lost.any() and example is None:
                example = f"{self.log.columns[group.values[0]].name} in row {int(lines[int(np.argmax(lost))]):,}"
            count += int(lost.sum())
        return count, example

    def _notes(self, axis: one_axis.Axis, flat: Ints, lines: Ints, samples: int) -> list[Note]:
        notes = [
            Note(
                "time_per_signal",
                reading.time_per_signal(len(self.groups)),
            )
        ]
        if samples > axis.height:
            notes.append(Note("left_out_joined", reading.SAMPLES_JOINED, rows=samples - axis.height))
        if axis.example is not None:
            what = reading.SAMPLES_COARSE if axis.coarse else reading.LAST_KEPT
            notes.append(
                Note(
                    "coarse_times" if axis.coarse else "several_values",
                    reading.samples_share_time(what),
                    rows=axis.repeated,
                    example=f"row {int(lines[flat[axis.example]]):,}",
                )
            )
        return notes

    def _breaks(self, rows: Sequence[Ints], blocks: Sequence[slice], place: Ints) -> tuple[int, ...]:
        found: set[int] = set()
        for row in self.log.breaks:
            firsts = [
                int(place[block][int(np.searchsorted(at, row))])
                for at, block in zip(rows, blocks, strict=True)
                if at.size and at[-1] >= row
            ]
            found |= {min(firsts)} if firsts else set()
        return tuple(sorted(found - {0}))


def _value(column: RawColumn, rows: Ints, place: Ints, height: int) -> RawColumn:
    """A column at the places of its samples; of several at one place the last that has a value stands."""
    values = column.values.gather(pl.Series(rows))
    here = values.is_not_null().to_numpy()
    values, place = values.filter(pl.Series(here)), place[here]
    by_place = np.argsort(place, kind="stable")
    place = place[by_place]
    last = np.append(place[1:] != place[:-1], True)[: place.size]
    kept = values.gather(pl.Series(by_place[last]))
    return RawColumn(column.name, column.unit, spread(kept, place[last], height).rename(column.name))
