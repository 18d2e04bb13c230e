"""Dates that can't be true: a clock that was never set, a receiver whose count of weeks ran over."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from ridelog.ride import Note
from ridelog.words import clocks

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_WEEK_COUNT = timedelta(weeks=1024)
"""The satellites of GPS count weeks with ten bits (IS-GPS-200, 20.3.3.3.1.1): a receiver that does not know better
is 1,024 weeks early after each turn."""

_NO_LOGS_BEFORE = datetime(2000, 1, 1, tzinfo=UTC)
_OLD_BEFORE = datetime(2010, 1, 1, tzinfo=UTC)
_NO_LOGS_FROM = datetime(2080, 1, 1, tzinfo=UTC)
"""A clock that counts from 1980 with two digits of the year starts again in 2080."""

_STARTS = (
    datetime(1970, 1, 1, tzinfo=UTC),
    datetime(1980, 1, 1, tzinfo=UTC),
    datetime(1980, 1, 6, tzinfo=UTC),
    datetime(1999, 8, 22, tzinfo=UTC),
    datetime(2000, 1, 1, tzinfo=UTC),
)
"""Where clocks begin that nobody set: Unix time, the calendars of small clocks and file systems, week 0 of GPS and its
first turn, the first year of a two-digit clock. Common practice, the weeks of GPS apart."""

_UNSET_FOR = timedelta(days=7)
"""A clock that lost its battery starts again with every ride, so it shows a day near its beginning."""


@dataclass(frozen=True)
class Checked:
    """A moment that may be believed (None: the date is not known) and what to tell of it."""

    moment: datetime | None
    note: Note | None = None


def moment_of(us: int) -> datetime | None:
    """Microseconds since 1970 as a moment; None outside the years 1 to 9999."""
    try:
        return _EPOCH + timedelta(microseconds=us)
    except OverflowError:
        return None


def check(us: int) -> Checked:
    """The moment of a ride's first sample, put right or given up where it can't be true.

    The seconds of the ride are not touched either way.
    """
    moment = moment_of(us)
    zone = timedelta(hours=14)
    now = datetime.now(UTC)
    if (
        moment is None
        or moment >= _NO_LOGS_FROM - zone
        or moment.year < 1980
        or any(start - zone <= moment < start + _UNSET_FOR for start in _STARTS)
    ):
        shown = f"{moment:%Y-%m-%d}" if moment is not None else clocks.OUTSIDE_CALENDAR
        return Checked(
            None,
            Note(
                "clock_unset",
                clocks.not_set(shown),
            ),
        )
    if moment < _NO_LOGS_BEFORE:
        later = moment
        while later < _NO_LOGS_BEFORE:
            later += _WEEK_COUNT
        return Checked(
            later,
            Note(
                "week_rollover",
                clocks.weeks_added(moment, later),
            ),
        )
    if moment > now + zone:
        return Checked(
            moment,
            Note(
                "future_date",
                clocks.lies_ahead(moment),
            ),
        )
    if moment < _OLD_BEFORE and moment + _WEEK_COUNT <= now + zone:
        return Checked(
            moment,
            Note(
                "old_date",
                clocks.weeks_perhaps(moment, moment + _WEEK_COUNT),
            ),
        )
    return Checked(moment)
