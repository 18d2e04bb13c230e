"""What an offset between two clocks most likely is: leap seconds, a time zone, a turn of the week count."""

from __future__ import annotations

from datetime import UTC, datetime

from ridelog.words import clock_offsets

_GPS_AHEAD: tuple[tuple[datetime, int], ...] = (
    (datetime(2017, 1, 1, tzinfo=UTC), 18),
    (datetime(2015, 7, 1, tzinfo=UTC), 17),
    (datetime(2012, 7, 1, tzinfo=UTC), 16),
    (datetime(2009, 1, 1, tzinfo=UTC), 15),
    (datetime(2006, 1, 1, tzinfo=UTC), 14),
)
"""Seconds by which GPS time is ahead of UTC from each day on (IERS Bulletin C, from memory)."""

WEEK_TURN_S = 1024 * 7 * 86_400.0
"""The satellites of GPS count weeks with ten bits (IS-GPS-200, 20.3.3.3.1.1)."""

_DAY_S = 86_400.0
_HALF_HOUR_S = 1800.0
_FURTHEST_ZONE_S = 26.0 * 3600.0
"""Between the easternmost and the westernmost zone."""

_ZONE_REST_S = 300.0
"""A clock set by hand is some minutes off at most beside its zone (common practice, no source)."""


def leap_seconds(moment: datetime | None) -> int:
    """Seconds by which GPS time is ahead of UTC; today's count where the day is not known or before the table."""
    for since, seconds in _GPS_AHEAD:
        if moment is not None and moment >= since:
            return seconds
    return _GPS_AHEAD[0][1]


def likely_cause(apart_s: float, tolerance_s: float, moment: datetime | None) -> str:
    """A phrase for what lies between two clocks that are `apart_s` apart, good to `tolerance_s`; "" where nothing is
    known to be so."""
    leap = leap_seconds(moment)
    if abs(abs(apart_s) - leap) <= min(tolerance_s, 1.0):
        return clock_offsets.leap_seconds(leap)
    turns = round(apart_s / WEEK_TURN_S)
    if turns and abs(apart_s - turns * WEEK_TURN_S) <= _DAY_S:
        return clock_offsets.WEEKS_LOST
    half_hours = round(apart_s / _HALF_HOUR_S)
    rest_s = apart_s - half_hours * _HALF_HOUR_S
    if half_hours % 48 and abs(apart_s) <= _FURTHEST_ZONE_S and abs(rest_s) <= _ZONE_REST_S:
        hours = half_hours / 2.0
        what = clock_offsets.zone(abs(hours))
        if abs(abs(rest_s) - leap) <= min(tolerance_s, 1.0):
            return clock_offsets.and_leap_seconds(what, leap)
        return what if abs(rest_s) <= tolerance_s else clock_offsets.and_rest(what, abs(rest_s))
    if abs(apart_s) >= _DAY_S / 2.0:
        return clock_offsets.WRONG_DAY
    return ""
