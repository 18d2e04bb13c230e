"""Time zones: what the user may name, and local times turned into UTC without guessing at the repeated hour."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import polars as pl

from ridelog.errors import InputRefused, UsageError
from ridelog.results import FloatArray
from ridelog.told import shortened

_SHOWN = 60

_NO_PLACE = {"localtime", "posixrules", "factory"}
"""Files beside the zones that are none: this machine's own setting, rules for another notation, a clock nobody set. A
ride kept under one of them would mean another time on another machine."""

_OTHER_TABLES = ("posix/", "right/")
"""The same zones once more, the latter with leap seconds counted, which no log does."""

_FIXED = re.compile(r"(?:UTC|GMT)?([+-])(\d{1,2}):?(\d{2})?", re.IGNORECASE)


def parse_zone(text: str) -> tzinfo:
    """A zone from its IANA name, `UTC`, `Z` or `+02:00`. Raises UsageError."""
    plain = text.strip()
    if plain.upper() in ("UTC", "Z", "GMT"):
        return UTC
    if match := _FIXED.fullmatch(plain):
        hours, minutes = int(match[2]), int(match[3] or 0)
        if hours <= 14 and minutes < 60:
            delta = timedelta(hours=hours, minutes=minutes)
            return timezone(-delta if match[1] == "-" else delta)
    zone = _named(plain)
    if zone is None:
        raise UsageError(
            f"{shortened(text, _SHOWN)!r} is no time zone",
            where="--timezone",
            expected="an IANA name (region and city), UTC, or an offset such as +02:00",
            to_do="correct the option",
        )
    return zone


def is_zone(name: str) -> bool:
    """True for a name in this machine's table of zones."""
    return _named(name) is not None


def _named(name: str) -> ZoneInfo | None:
    """The zone of an IANA name. '' is none, and not every version of Python says so."""
    if not name or name.lower() in _NO_PLACE or name.lower().startswith(_OTHER_TABLES):
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def is_utc_word(unit: str | None) -> bool:
    """True where a column's unit text says that its times are UTC."""
    return (unit or "").strip().upper() in ("UTC", "GMT", "Z", "UTC+0", "UTC+00:00")


def local_to_utc(us: pl.Series, zone: tzinfo, where: str) -> pl.Series:
    """Local microseconds (as if since 1970) in UTC. Raises InputRefused for times the zone skips, or repeats without
    a way to tell which of the two is meant."""
    if not isinstance(zone, ZoneInfo):
        offset = zone.utcoffset(datetime(2000, 1, 1))  # noqa: DTZ001 - a fixed offset needs no date
        return us - int((offset or timedelta(0)).total_seconds() * 1_000_000)
    local = us.cast(pl.Datetime("us"))
    first = local.dt.replace_time_zone(zone.key, ambiguous="earliest", non_existent="null").cast(pl.Int64)
    skipped = first.is_null() & us.is_not_null()
    if skipped.any():
        raise InputRefused(
            f"{local.filter(skipped)[0]} does not exist in {zone.key}: the clocks skip that hour",
            where=where,
            expected="times that exist in the zone",
            to_do="the logger kept another time; give its offset, such as --timezone +01:00",
        )
    second = local.dt.replace_time_zone(zone.key, ambiguous="latest", non_existent="null").cast(pl.Int64)
    twice = (first != second).fill_null(value=False)
    if not twice.any():
        return first
    return _settle(us, (first, second), f"{local.filter(twice)[0]} occurs twice in {zone.key}", where)


def _settle(us: pl.Series, readings: tuple[pl.Series, pl.Series], what: str, where: str) -> pl.Series:
    """Of the readings of a repeated hour, the one in which time runs on without a jump."""
    first, second = readings
    choices = [first, second]
    back = np.flatnonzero(np.diff(us.fill_null(strategy="forward").to_numpy()) < -1_800_000_000)
    if back.size == 1:
        late = pl.int_range(us.len(), eager=True) > int(back[0])
        choices.insert(0, pl.select(pl.when(late).then(second).otherwise(first)).to_series())
    jumps = [_jumps(choice.drop_nulls().to_numpy() / 1e6) for choice in choices]
    best = min(jumps)
    if jumps.count(best) > 1 and not (back.size == 1 and jumps[0] == best):
        raise InputRefused(
            f"{what}, and nothing in the log tells which of the two hours it was",
            where=where,
            expected="times that name one moment",
            to_do="give the offset that held, such as --timezone +02:00",
        )
    return choices[jumps.index(best)]


def _jumps(seconds: FloatArray) -> int:
    steps = np.diff(seconds)
    return int(((steps < 0) | (steps > 1800.0)).sum())
