"""Rows of the catalogue looked at as they are read: does each column hold what ridelog writes there?

SQLite takes any value in any column, so a failing disk or another hand can leave what no code expects. Such a row is
told with its ride, note or case, the column and what puts it right; nothing is guessed at in its place.

Columns of all rows are looked at together, which costs next to nothing; single rows only where one of them is wrong.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from types import NoneType
from typing import Any

from ridelog.errors import LibraryError
from ridelog.told import shortened

RIDE_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,127}")
"""What a ride may be called: it names a file."""

COPY = "put back a saved copy of library.sqlite"
_SHOWN = 40


@cache
def channel_names(text: str) -> tuple[str, ...]:
    """The channels of a ride from the catalogue's column. Raises ValueError for what is no list of names."""
    names = json.loads(text)
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise ValueError("no list of names")
    return tuple(names)


def moment(text: str) -> datetime:
    """An aware moment. Raises ValueError."""
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError("no time zone")
    return found


@dataclass(frozen=True)
class Column:
    """What a column holds. Texts are read by `reads`, which raises ValueError for one that is not what it should be;
    numbers lie between `low` and `high`. `empty`: it may hold nothing."""

    name: str
    meaning: str
    reads: Callable[[str], Any] | None = None
    low: float | None = None
    high: float | None = None
    empty: bool = False

    def holds(self, values: Sequence[Any]) -> bool:
        """Whether all these values can stand in the column. SQLite keeps no NaN."""
        kinds = set(map(type, values))
        if self.empty:
            kinds.discard(NoneType)
        if self.low is None or self.high is None:
            return kinds <= {str} and (self.reads is None or _can_read(self.reads, values))
        if not kinds <= {int, float}:
            return False
        given = [value for value in values if value is not None] if self.empty else values
        return not given or (self.low <= min(given) and max(given) <= self.high)


def _can_read(reads: Callable[[str], Any], values: Sequence[str | None]) -> bool:
    try:
        for value in values:
            if value is not None:
                reads(value)
    except (ValueError, TypeError, RecursionError):
        return False
    return True


def check(
    rows: Sequence[Sequence[Any]],
    columns: Sequence[Column],
    name: Callable[[Sequence[Any]], str],
    to_do: Callable[[Sequence[Any], Column], str],
) -> None:
    """Look at rows whose first values are those of `columns`. `name` says which row it is, `to_do` what puts a column
    of it right. Raises LibraryError for the first value that can't be."""
    if not rows:
        return
    for column, values in zip(columns, zip(*rows, strict=True), strict=False):
        if column.holds(values):
            continue
        at = next(at for at, value in enumerate(values) if not column.holds((value,)))
        raise LibraryError(
            f"the catalogue's column {column.name} holds {_shown(values[at])}",
            where=name(rows[at]),
            expected=column.meaning,
            to_do=to_do(rows[at], column),
        )


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bytes):
        return f"{len(value):,} bytes that are no text"
    return shortened(repr(value), _SHOWN)


# -- rides -------------------------------------------------------------------------------------------------------------


def _ride_id(text: str) -> None:
    if not RIDE_ID.fullmatch(text):
        raise ValueError("no id")


_AWARE = "a date and time with its zone"
RIDE = {
    column.name: column
    for column in (
        Column("id", "the id of a ride", _ride_id),
        Column("bike", "the id of a bike, or nothing", empty=True),
        Column("start_utc", f"{_AWARE}, or nothing", moment, empty=True),
        Column("timezone", "the name of a zone, or nothing", empty=True),
        # No clock runs so long; beyond it moments of the ride would leave the calendar.
        Column("duration_s", "seconds, from 0 on", low=0.0, high=1e10),
        Column("distance_m", "metres, from 0 on, or nothing", low=0.0, high=1e10, empty=True),
        Column("peak_c", "a temperature in C, or nothing", low=-300.0, high=1e6, empty=True),
        Column("condition", "healthy, faulty or unknown"),
        Column("ambient_c", "a temperature in C, or nothing", low=-100.0, high=100.0, empty=True),
        Column("channels", "a list of channels", channel_names),
        Column("content", "the hashes of the ride's files"),
        Column("stored_sha256", "a hash"),
    )
}
_EDITED = {"bike": "--bike BIKE", "start_utc": "--start ISO8601", "ambient_c": "--ambient C"}


def check_rides(rows: Sequence[Sequence[Any]], names: Sequence[str]) -> None:
    """Look at rows of rides whose first values are those of the columns `names`, the ride's id among them. Raises
    LibraryError that says which ride it is and how to put it right."""
    at = list(names).index("id")

    def to_do(row: Sequence[Any], column: Column) -> str:
        if column.name == "id":
            return COPY
        if column.name in _EDITED:
            return f"correct it: ridelog edit {row[at]} {_EDITED[column.name]}"
        return f"{COPY}, or remove the ride and import its log again: ridelog remove {row[at]}"

    check(rows, [RIDE[name] for name in names], lambda row: _ride(row[at]), to_do)


def _ride(value: Any) -> str:
    """A ride by its id; an id that is damaged itself can't be typed, and is shown only."""
    return value if isinstance(value, str) and RIDE_ID.fullmatch(value) else f"a ride with the id {_shown(value)}"


_FILES = (
    Column("name", "the name of a file"),
    Column("sha256", "a hash"),
    Column("size_bytes", "bytes, from 0 on", low=0, high=2**63),
    Column("format", "the name of a format"),
)


def check_files(rows: Sequence[Sequence[Any]]) -> None:
    """Look at rows of a ride's files: name, hash, size, format, then the ride's id. Raises LibraryError."""
    again = f"{COPY}, or remove the ride and import its log again: ridelog remove "
    check(rows, _FILES, lambda row: f"{_ride(row[4])}, its files", lambda row, _: again + str(row[4]))


# -- notes -------------------------------------------------------------------------------------------------------------

_LONGEST_S = RIDE["duration_s"].high


def notes_columns(abouts: Sequence[str]) -> tuple[Column, ...]:
    """Columns of a note in the order at_s, about, text, written_utc."""

    def known(text: str) -> None:
        if text not in abouts:
            raise ValueError(text)

    return (
        Column("at_s", "seconds from the start of the ride", low=0.0, high=_LONGEST_S),
        Column("about", f"one of {', '.join(abouts)}", known),
        Column("text", "a text"),
        Column("written_utc", _AWARE, moment),
    )


def check_notes(rows: Sequence[Sequence[Any]], columns: Sequence[Column]) -> None:
    """Look at rows of notes: the columns, then the note's number and the ride's id. Raises LibraryError."""
    number, ride = len(columns), len(columns) + 1
    check(
        rows,
        columns,
        lambda row: f"{_ride(row[ride])}, note {row[number]}",
        lambda row, _: f"{COPY}, or remove the note: ridelog note {row[ride]} --remove {row[number]}",
    )


# -- complaints --------------------------------------------------------------------------------------------------------

CASE = (
    Column("id", "the id of a case"),
    Column("bike", "the id of a bike, or nothing", empty=True),
    Column("day", "a day such as 2026-05-02", date.fromisoformat),
    Column("said", "what the rider said"),
    Column("opened_utc", _AWARE, moment),
    Column("closed_utc", f"{_AWARE}, or nothing", moment, empty=True),
    Column("workshop", "what the workshop found, or nothing", empty=True),
    Column("cause", "the name of a cause, or nothing", empty=True),
)

CASE_RIDE = (Column("ride", "the id of a ride"), Column("frozen_utc", _AWARE, moment))

FOUND_BEFORE = (
    Column("workshop", "what the workshop had found"),
    Column("cause", "the name of a cause, or nothing", empty=True),
    Column("closed_utc", _AWARE, moment),
    Column("reopened_utc", _AWARE, moment),
)


def check_case(rows: Sequence[Sequence[Any]], columns: Sequence[Column], case: Any = None) -> None:
    """Look at rows of cases (each with its id first), or at rows that belong to `case`. Raises LibraryError."""

    def name(row: Sequence[Any]) -> Any:
        return row[0] if case is None else case

    def to_do(row: Sequence[Any], column: Column) -> str:
        if column is CASE[0]:
            return COPY
        return f"{COPY}, or remove the case with all that was found: ridelog case drop {name(row)}"

    check(rows, columns, lambda row: f"case {shortened(str(name(row)), _SHOWN)}", to_do)


# -- columns of logs, bike files and sheets ----------------------------------------------------------------------------


def _header(text: str) -> None:
    columns = json.loads(text)
    if not all(isinstance(name, str) and isinstance(unit, str | None) for name, unit in columns):
        raise ValueError("no columns")


HEADER = (Column("fingerprint", "the mark of a header"), Column("columns", "names and units of columns", _header))

MEANING = (
    Column("name", "the name of a column"),
    Column("channel", "the name of a channel"),
    Column("unit", "a unit, or nothing", empty=True),
    Column("confirmed_utc", _AWARE, moment),
)


def check_columns(rows: Sequence[Sequence[Any]], columns: Sequence[Column], bike: str) -> None:
    """Look at rows of what was confirmed of the columns of a bike's logs. Raises LibraryError."""
    forget = f"{COPY}, or forget what was confirmed and be asked again: ridelog bikes forget-columns {bike}"
    check(rows, columns, lambda _: f"bike {bike}, columns of its logs", lambda *_: forget)


PROFILE = (
    Column("text", "the text of a file"),
    Column("added_utc", _AWARE, moment),
    Column("replaced_utc", f"{_AWARE}, or nothing", moment, empty=True),
)


def check_profiles(rows: Sequence[Sequence[Any]], columns: Sequence[Column], name: str) -> None:
    """Look at rows of texts that a bike or a sheet had. Raises LibraryError."""
    check(rows, columns, lambda _: name, lambda *_: COPY)
