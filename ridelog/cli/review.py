"""`ridelog review`."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ridelog.cli import show
from ridelog.cli.common import (
    bike_option,
    find_bike,
    json_option,
    library_option,
    looks_like_path,
    open_library,
    print_json,
    progress,
)
from ridelog.errors import UsageError
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ridelog.review import OutcomeRow, Review
    from ridelog.review_groups import Group
    from ridelog.store.library import Library

THRESHOLDS_SHOWN = 3
"""Thresholds a person is shown, those that most rides have; `--json` lists them all."""

NAMED = 3
"""Rides named beside each reason for which some could not be judged."""


@click.command(short_help="Tell over many rides whether the map advice is followed.")
@bike_option
@click.option("--since", metavar="DATE", help="Only rides from this day on, such as 2026-05-01.")
@click.option("--rides", "each", is_flag=True, help="List each ride too.")
@json_option
@library_option
def review(bike: str | None, since: str | None, *, each: bool, as_json: bool, library_folder: Path | None) -> None:
    """Tell over all rides whether the map advice is followed, and whether following it goes with less time above the
    thresholds: by bike, kind of stretch, month and advice sheet.

    Rides are judged by the sheet in force on their day. Those that can't be judged are listed with the reason and are
    in no share. Rides not analyzed yet are analyzed now, once.
    """
    from ridelog.cases import tool_record, unreadable
    from ridelog.review import review as review_library
    from ridelog.words.cases import damaged as damaged_line
    from ridelog.words.cases import record as record_line

    library = open_library(library_folder, must_exist=True)
    day = _day(since) if since is not None else None
    named = _bike_of(library, bike) if bike is not None else None
    with progress() as tell:
        tell(doing.REVIEWING)
        found = review_library(library, bike=named, since=day, progress=tell)
    record = tool_record(library, named, since=day)
    left = unreadable(library, named, since=day, closed=True) if record["unreadable"] else []
    if as_json:
        cases = {**record, "left_out": [asdict(one) for one in left]}
        print_json({**found.to_json(), "cases": cases}, indent=None if len(found.rides) > 100 else 2)
    else:
        told = [record_line(record)] if record["closed"] else []
        if left:
            told.append(damaged_line([one.case for one in left], left[0].reason))
        print_review(found, each=each, cases=told)
        if not found.rides:
            show.lines("", [_nothing(library, named, day)])


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f"{text!r} is not a date", where="--since", expected="a date such as 2026-05-01", to_do="correct the option"
        ) from error


def _nothing(library: Library, bike: str | None, since: date | None) -> str:
    """Why there is no ride to review."""
    from ridelog.ride import day_of
    from ridelog.words import review_answer as words

    latest = library.list_rides(bike=bike, limit=1)
    if not latest:
        return words.no_rides(bike)
    (row,) = latest
    return words.none_since(since, day_of(row.start_utc, row.timezone, row.start_local), bike)


def _bike_of(library: Library, text: str) -> str:
    """The id of the bike named. A file must be the one the library has: results are kept, and rest on it."""
    bike = find_bike(library, text)
    if bike is None:
        raise UsageError("names no bike", where="--bike", expected="a bike id of the library", to_do="name one")
    if looks_like_path(text) and library.bike(bike.id) != bike:
        raise UsageError(
            f"differs from the file of bike {bike.id} in the library",
            where=text,
            expected="the same bike file: a review goes by those of the library",
            to_do=f"add it first: ridelog bikes add {text}",
        )
    return bike.id


def print_review(found: Review, *, each: bool = False, cases: Sequence[str] = ()) -> None:
    """The review as a person reads it: the answer, the shares, the time above, what could not be judged, and `cases`,
    how right the tool was on closed cases; without rides those alone."""
    from ridelog.words import review_answer as words

    if not found.rides:
        show.lines("Closed cases", cases)
        return
    show.lines(words.title(found), words.answer(found))
    _print_groups("By bike", "bike", found.by_bike)
    _print_groups("By kind of stretch", "kind", found.by_kind)
    _print_groups("By month", "month", found.by_month)
    _print_groups("By advice sheet", "sheet", found.by_sheet)
    _print_outcome(words.ABOVE_BY_SHARE, "on the map", found.outcome)
    if len(found.by_sheet) > 1:
        _print_outcome(words.ABOVE_BY_SHEET, "sheet", found.outcome_by_sheet)
    if each:
        rows = [words.ride_cells(one) for one in found.rides]
        show.table("Each ride", words.RIDE_COLUMNS, rows, right=(2, 3, 4), optional=(5, 1))
    show.lines(words.NOT_JUDGED, words.unjudged_lines(found.unjudged, NAMED))
    show.lines("Closed cases", cases)
    show.lines("", [words.STARRED, words.bands_line(), words.CAUTION])


def _print_groups(title: str, what: str, groups: Sequence[Group]) -> None:
    from ridelog.words import review_answer as words

    rows = [(words.key_words(what, group.key), *words.group_cells(group)) for group in groups]
    show.table(title, (what, *words.GROUP_COLUMNS), rows, right=(1, 2, 3, 4, 5), optional=(5,))


def _print_outcome(title: str, what: str, rows: Sequence[OutcomeRow]) -> None:
    from ridelog.words import review_answer as words
    from ridelog.words.terms import degrees

    rides: dict[tuple[float, str], int] = {}
    for row in rows:
        rides[row.threshold_c, row.name] = rides.get((row.threshold_c, row.name), 0) + row.outcome.rides
    shown = sorted(rides, key=lambda key: -rides[key])[:THRESHOLDS_SHOWN]
    cells = [
        (
            f"{degrees(row.threshold_c)} ({row.name})",
            words.BAND_WORDS.get(row.key, row.key),
            *words.outcome_cells(row.outcome),
        )
        for row in rows
        if (row.threshold_c, row.name) in shown and row.outcome.rides
    ]
    show.table(title, ("above", what, *words.OUTCOME_COLUMNS), cells, right=(2, 3, 4, 5))
