"""Long format: one value a row, with the name of its channel beside it. Turned into one row a time, one column a
channel, before anything else is made of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers import long_order, naming
from ridelog.readers.dialect import Dialect
from ridelog.readers.limits import Limits
from ridelog.readers.long_layout import Layout
from ridelog.readers.numbers import file_decimal, parse_column
from ridelog.readers.one_axis import Axis, Ints, Numbers
from ridelog.readers.parsed_column import told, with_unit
from ridelog.readers.signs import Decimal, only_channel
from ridelog.readers.stamps import DAY_S, Keys, sort_keys
from ridelog.ride import Note, RawColumn
from ridelog.units import fold, parse_unit
from ridelog.words import reading

_CELLS_A_ROW = 2
"""The pivoted table may have this many cells for each row that `max_rows` allows; a thousand channels with times of
their own fill it fast."""


@dataclass(frozen=True)
class Pivoted:
    """The columns, the file line of each row, the rows at which a new recording begins, and notes."""

    columns: tuple[RawColumn, ...]
    lines: pl.Series
    breaks: tuple[int, ...]
    notes: tuple[Note, ...]


def pivot(
    frame: pl.DataFrame,
    numbers: pl.Series,
    breaks: Sequence[int],
    *,
    dialect: Dialect,
    layout: Layout,
    file_name: str,
    limits: Limits,
) -> Pivoted:
    """The table with one row a time and one column a channel, from the cells as text.

    `numbers` are the file lines of the rows of `frame`, `breaks` the rows at which a new recording begins. Raises
    InputRefused for a channel whose unit changes, LimitExceeded for too many channels.
    """
    notes: list[Note] = []
    names = frame[:, layout.channel].str.strip_chars(' "\t\u00a0')
    nameless = (names.is_null() | (names == "")).fill_null(value=True)
    if nameless.any():
        notes.append(
            Note("left_out_no_channel", reading.NO_CHANNEL, rows=int(nameless.sum() or 0),
                 example=f"line {numbers.filter(nameless)[0]}")
        )  # fmt: skip
        keep = ~nameless
        breaks = sorted({int(keep.slice(0, row).sum() or 0) for row in breaks})
        frame, names, numbers = frame.filter(keep), names.filter(keep), numbers.filter(keep)
    if not names.len():
        raise InputRefused(
            "no row names a channel",
            where=file_name,
            expected="a channel in every row of long format",
            to_do="check the export; the column of channels is empty",
        )
    breaks = [row for row in breaks if 0 < row < names.len()]
    channels, series = _channels_of(names, limits, file_name)
    table = _Long(frame, numbers, channels, series, dialect, layout, file_name, notes)
    return table.pivot(breaks, limits)


def _channels_of(names: pl.Series, limits: Limits, file_name: str) -> tuple[list[str], Numbers]:
    """The channels in the order they first appear, and the number of each row's. Capitals make no other channel."""
    distinct = names.unique(maintain_order=True)
    if distinct.len() > limits.max_columns:
        raise limits.exceeded(
            "max_columns", f"the column of channels holds {distinct.len():,} different names", where=file_name
        )
    place: dict[str, int] = {}
    shown: list[str] = []
    numbers: dict[str, int] = {}
    for text in distinct.to_list():
        name = naming.mend(text)
        key = fold(name)
        if key not in place:
            place[key] = len(shown)
            shown.append(name)
        numbers[text] = place[key]
    # Two bytes are sorted many times faster than eight.
    width = pl.Int16 if len(shown) < 2**15 else pl.Int64
    return shown, names.replace_strict(numbers, return_dtype=width).to_numpy()


@dataclass(frozen=True)
class _Long:
    """The table as it stands: cells, file lines, channels, and the number of the channel of each row."""

    frame: pl.DataFrame
    numbers: pl.Series
    channels: list[str]
    series: Numbers
    dialect: Dialect
    layout: Layout
    file_name: str
    notes: list[Note]

    def pivot(self, breaks: Sequence[int], limits: Limits) -> Pivoted:
        values = self.frame[:, self.layout.value]
        blank = (values.is_null() | (values.str.strip_chars(' "\t\u00a0') == "")).fill_null(value=True)
        if blank.any():
            self.notes.append(
                Note("blank_values", reading.NO_VALUE, rows=int(blank.sum() or 0),
                     example=f"line {self.numbers.filter(blank)[0]}")
            )  # fmt: skip
        units = self._units()
        times = [self.frame[:, n] for n in (*self.layout.times, *self.layout.dates)]
        axis, begun, found = long_order.axis_of(self._keys(values), self.series, breaks, times)
        self.notes.extend(found)
        cells = axis.height * (len(self.channels) + len(times))
        if cells > _CELLS_A_ROW * limits.max_rows:
            raise limits.exceeded(
                "max_rows",
                f"{axis.height:,} times and {len(self.channels):,} channels make {cells:,} cells",
                where=self.file_name,
            )
        self._tell(axis)
        first = np.flatnonzero(np.diff(axis.group, prepend=-1))
        rows = pl.Series(first if axis.order is None else axis.order[first])
        lines = self.numbers.gather(rows)
        decimal, channels = self._values(axis, values, blank, units)
        columns = [
            self._time_column(n, text.gather(rows), lines, decimal)
            for n, text in zip((*self.layout.times, *self.layout.dates), times, strict=True)
        ]
        columns.extend(channels)
        return Pivoted(tuple(columns), lines, begun, tuple(self.notes))

    def _units(self) -> list[str | None]:
        """The unit of each channel: from the column of units, else from its name, else from the header of the
        values."""
        given: dict[int, dict[str, int]] = {}
        if self.layout.unit is not None:
            texts = self.frame[:, self.layout.unit].str.strip_chars(' "\t\u00a0[](){}')
            pairs = pl.DataFrame({"series": self.series, "unit": texts, "line": self.numbers})
            firsts = pairs.filter(pl.col("unit") != "").group_by("series", "unit").agg(pl.col("line").min())
            for one, text, line in firsts.sort("line").iter_rows():
                given.setdefault(one, {})[naming.mend(text)] = line
        return [self._unit(name, given.get(n, {})) for n, name in enumerate(self.channels)]

    def _unit(self, name: str, given: dict[str, int]) -> str | None:
        known: dict[object, str] = {}
        for text in given:
            if text not in ("-", "1"):
                known.setdefault(parse_unit(text) or fold(text), text)
        own = naming.split_unit(name)[1]
        if own is not None:
            known.setdefault(parse_unit(own) or fold(own), own)
        if len(known) > 1:
            first, second = list(known.values())[:2]
            raise InputRefused(
                f"the unit of {name!r} is {first!r} in some rows and {second!r} in others or in its name",
                where=f"{self.file_name}, row {given.get(second, given[first])}",
                expected="one unit a channel",
                to_do="export the channel in one unit, or split the file where the unit changes",
            )
        return next(iter(known.values()), self.dialect.units[self.layout.value])

    def _keys(self, values: pl.Series) -> Keys | None:
        """Keys of the rows' times: those of the time column that tells most of them apart, with the dates where they
        stand in a column of their own."""
        finest = max(self.layout.times, key=lambda n: (self.frame[:, n].head(20_000).n_unique(), -n))
        texts = self.frame[:, finest]
        plain = texts.cast(pl.Float64, strict=False)
        if plain.null_count() == texts.null_count() and plain.is_finite().all():
            keys = sort_keys(plain)
        else:
            keys = sort_keys(parse_column(texts, file_decimal([values], self.dialect.separator)).values)
        if keys is None or not self.layout.dates or not keys.clock:
            return keys
        days = self.frame[:, self.layout.dates[0]].str.strip_chars()
        # Days in the order they are met: how they are written is the clock's business.
        place = {day: n for n, day in enumerate(days.unique(maintain_order=True).to_list())}
        number = days.replace_strict(place, return_dtype=pl.Float64).to_numpy()
        return Keys(keys.values + number * DAY_S, clock=False)

    def _tell(self, axis: Axis) -> None:
        self.notes.append(
            Note(
                "long_format",
                reading.long_format(len(self.channels)),
            )
        )
        if self.layout.passed:
            passed = ", ".join(self.dialect.names[n] for n in self.layout.passed)
            self.notes.append(Note("other_columns", reading.passed_over(passed)))
        if self.series.size > axis.height:
            self.notes.append(
                Note("left_out_joined", reading.ROWS_JOINED,
                     rows=self.series.size - axis.height)
            )  # fmt: skip
        if axis.example is None:
            return
        example = f"{self.channels[int(self.series[axis.example])][:40]} in line {self.numbers[axis.example]}"
        kind, what = ("coarse_times", reading.ROWS_COARSE) if axis.coarse else ("several_values", reading.LAST_KEPT)
        text = reading.rows_share_time(what)
        self.notes.append(Note(kind, text, rows=axis.repeated, example=example))

    def _time_column(self, n: int, text: pl.Series, lines: pl.Series, decimal: Decimal) -> RawColumn:
        name, unit = self.dialect.names[n], self.dialect.units[n]
        parsed = parse_column(text, decimal, unit=unit)
        self.notes.extend(told(parsed, name, lines))
        return RawColumn(name, unit, parsed.values.rename(name))

    def _values(
        self, axis: Axis, values: pl.Series, blank: pl.Series, units: Sequence[str | None]
    ) -> tuple[Decimal, list[RawColumn]]:
        """The decimal sign and a column for each channel; of several values at one place the last stands."""
        rows = np.arange(self.series.size) if axis.order is None else axis.order
        here = ~blank.to_numpy()[rows]
        rows, group = rows[here], axis.group[here]
        by_channel = np.argsort(self.series[rows], kind="stable")
        rows, group = rows[by_channel], group[by_channel]
        edges = np.searchsorted(self.series[rows], np.arange(len(self.channels) + 1))
        names = [naming.split_unit(name)[0] for name in self.channels]
        kinds = [only_channel(naming.candidates(name)) for name in names]
        parts: list[tuple[pl.Series, Ints, pl.Series]] = []
        for n in range(len(names)):
            of_channel, place = rows[edges[n] : edges[n + 1]], group[edges[n] : edges[n + 1]]
            last = np.append(place[1:] != place[:-1], True)[: place.size]
            kept = pl.Series(of_channel[last])
            parts.append((values.gather(kept), place[last], self.numbers.gather(kept)))
        decimal = file_decimal([text for text, _, _ in parts], self.dialect.separator, kinds)
        if decimal == ",":
            self.notes.append(Note("decimal_comma", reading.DECIMAL_COMMA))
        columns: list[RawColumn] = []
        for name, kind, unit, (text, place, lines) in zip(names, kinds, units, parts, strict=True):
            parsed = parse_column(text, decimal, channel=kind, unit=unit)
            self.notes.extend(told(parsed, name, lines))
            whole = spread(parsed.values, place, axis.height).rename(name)
            columns.append(RawColumn(name, with_unit(unit, parsed, name, self.file_name), whole))
        return decimal, columns


def spread(values: pl.Series, place: Ints, height: int) -> pl.Series:
    """Values at their places in a column of that height, null elsewhere."""
    if place.size == height:
        return values
    if values.dtype == pl.Float64:
        column = np.full(height, np.nan)
        column[place] = values.fill_null(float("nan")).to_numpy()
        return pl.Series(values.name, column).fill_nan(None)
    take = np.full(height, -1)
    take[place] = np.arange(place.size)
    return values.gather(pl.Series(take).replace(-1, None))
