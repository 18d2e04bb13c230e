"""What the user says of the files of one import."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from ridelog import clock, normalize
from ridelog.bike import Bike
from ridelog.errors import UsageError
from ridelog.normalize import ColumnChoice, Header, Settled
from ridelog.readers.limits import Limits
from ridelog.readers.naming import split_unit

FIRST_YEAR = 1970
"""No ride was logged before."""


@dataclass(frozen=True)
class ImportOptions:
    """What the user says of the files of one call. `start` is the moment of the first sample; without a zone it is in
    `timezone`. `columns` settle what columns hold, `description` what the messages of a bus hold.
    `offsets` are seconds to add to the clocks of files read together, by name."""

    bike: Bike | None = None
    bike_id: str | None = None
    ambient_c: float | None = None
    start: datetime | None = None
    timezone: str | None = None
    format: str | None = None
    columns: tuple[ColumnChoice, ...] = ()
    description: Path | None = None
    answers: tuple[Settled, ...] = ()
    """What was answered in this call; it holds for tables with the same header."""
    remembered: tuple[Settled, ...] = ()
    """What earlier imports know of the bike's logs."""
    on_settled: Callable[[Header, Sequence[ColumnChoice]], None] | None = None
    """Told of each table that could be read: its header, and what the user said of its columns, by their names."""
    offsets: tuple[tuple[str, float], ...] = ()
    limits: Limits = field(default_factory=Limits.from_environment)


def parse_column_option(text: str) -> ColumnChoice:
    """`'NAME=channel:unit'` as a choice; the unit may be left out. Raises UsageError."""
    choice = normalize.parse_choice(text)
    return replace(choice, names=(*choice.names, split_unit(choice.names[0])[0]))


def start_of(options: ImportOptions) -> datetime | None:
    """The start as a moment. Raises UsageError for one without a zone, and for an unknown zone."""
    zone = clock.parse_zone(options.timezone) if options.timezone is not None else None
    if options.start is None:
        return None
    if options.start.tzinfo is not None:
        return _in_calendar(options.start)
    if zone is None:
        raise UsageError(
            f"{options.start.isoformat()} has no time zone",
            where="--start",
            expected="a time with its zone, such as 2026-05-02T09:30:00+02:00, or --timezone",
            to_do="add the zone",
        )
    return _in_calendar(_one_moment(options.start, zone, options.timezone or ""))


def _one_moment(start: datetime, zone: tzinfo, name: str) -> datetime:
    """A local time as a moment. Raises UsageError for one that the zone skips or has twice."""
    early, late = start.replace(tzinfo=zone, fold=0), start.replace(tzinfo=zone, fold=1)
    if early.utcoffset() == late.utcoffset():
        return early
    shown = f"{start:%Y-%m-%d %H:%M}"
    there = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == start
    ways = " or ".join(one.isoformat() for one in (early, late))
    raise UsageError(
        f"{shown} {'occurs twice' if there else 'does not exist'} in {name}",
        where="--start",
        expected="a time that names one moment",
        to_do=f"give it with its offset: {ways}" if there else "give another time, or one with its offset",
    )


def _in_calendar(start: datetime) -> datetime:
    if start.year < FIRST_YEAR:
        raise UsageError(
            f"the year {start.year} is no year of a ride",
            where="--start",
            expected="the moment of the first sample",
            to_do="correct the option",
        )
    try:
        start.astimezone(UTC) + timedelta(weeks=1)
    except OverflowError as error:
        raise UsageError(
            f"{start.isoformat()} is at the end of the calendar",
            where="--start",
            expected="the moment of the first sample",
            to_do="correct the option",
        ) from error
    return start
