"""When a note speaks of: from a time as people write it to seconds of the ride.

`12:34` can be minutes and seconds from the start or the time of day. What can be two moments of the ride is refused,
with both spelled out; what can be one only is that one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import TYPE_CHECKING

from ridelog.errors import UsageError
from ridelog.words import notes as words

if TYPE_CHECKING:
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

_NUMBER = re.compile(r"(\d{1,7}(?:\.\d{1,6})?)\s*s?")
_COLONS = re.compile(r"(\d{1,3}):(\d{2})(?::(\d{2}))?(\.\d{1,6})?")
_TIME_OF_DAY = re.compile(
    r"T?(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2})(?P<f>\.\d{1,6})?)?\s*(?P<half>am|pm)?\s*(?P<zone>Z|UTC|[+-]\d{2}:?\d{2})?",
    re.IGNORECASE,
)
_DATED = re.compile(r"(?P<day>\d{4}-\d{2}-\d{2})[T ]\s*(?P<rest>\d{1,2}:.*)", re.IGNORECASE)

LATE_S = 1.0
"""Times are shown to the second, so that one taken from the ride's end may lie this far behind it."""

LONGEST_DAYS = 40
"""So many days of a ride are looked through for a time of day; a longer one needs the date."""


@dataclass(frozen=True)
class Span:
    """From when to when a ride runs. `start` is aware, in the ride's own zone where it is known (`zone`), else in UTC;
    `local` the start on the log's own clock where no zone is known. Both None for a ride without a date."""

    ride: str
    duration_s: float
    start: datetime | None = None
    zone: tzinfo | None = None
    local: datetime | None = None


@dataclass(frozen=True)
class Moment:
    """A moment of a ride; `clock` its time of day where it was read as one."""

    at_s: float
    clock: datetime | None = None


def span_of(library: Library, row: RideRow) -> Span:
    """From when to when a ride of the library runs. Raises LibraryError."""
    if row.start_utc is not None:
        zone = _zone(row.timezone)
        return Span(row.id, row.duration_s, row.start_utc.astimezone(zone or UTC), zone)
    if row.start_local is None:
        return Span(row.id, row.duration_s)
    from ridelog.ride import local_start

    # The list has the minute only; the ride itself has the second.
    return Span(row.id, row.duration_s, local=local_start(library.load(row.id)) or row.start_local)


def _zone(name: str | None) -> tzinfo | None:
    """The zone in which the rider's watch ran; None where the log knows UTC only, or a zone this machine does not."""
    from ridelog.clock import parse_zone

    if name is None:
        return None
    try:
        zone = parse_zone(name)
    except UsageError:
        return None
    return None if zone is UTC else zone


def clock_of(span: Span, at_s: float) -> datetime | None:
    """The time of day at so many seconds of the ride, where the ride has one."""
    begin = span.start or span.local
    if begin is None:
        return None
    if begin.tzinfo is None:
        return begin + timedelta(seconds=at_s)
    return (begin.astimezone(UTC) + timedelta(seconds=at_s)).astimezone(begin.tzinfo)


def read_time(text: str, span: Span, timezone: str | None = None) -> Moment:
    """The moment that `text` names: seconds, m:ss or h:mm:ss from the ride's start (`+` before it says so), or a time
    of day, with its zone, its date or both where needed. `timezone` is the zone of a time of day that names none.
    Raises UsageError for what is no time, lies outside the ride, or could be two moments."""
    from ridelog.clock import parse_zone

    said = " ".join(text.split())
    zone = parse_zone(timezone) if timezone is not None else None
    if said.startswith("+") or _NUMBER.fullmatch(said):
        at_s = _from_start(said.removeprefix("+").strip())
        if at_s is None:
            raise _no_time(text)
        return Moment(_inside(at_s, text, span))
    clocks = _Clocks(said, span, zone)
    if not clocks.is_time and _from_start(said) is None:
        raise _no_time(text)
    found = [] if clocks.is_plainly_clock else _elapsed(said, span)
    if span.start is None and (clocks.names_zone if span.local is not None else clocks.is_plainly_clock):
        raise _no_clock(text, span)
    if not clocks.needs_zone:
        found += clocks.moments()
    elif clocks.could_be_day:
        raise _zone_missing(text, span, found)
    distinct = [one for i, one in enumerate(found) if all(abs(one.at_s - two.at_s) > 0.5 for two in found[:i])]
    if len(distinct) > 1:
        raise _several(text, span, distinct)
    if not distinct:
        raise _outside(text, span, skipped=clocks.skipped)
    return distinct[0]


def _from_start(said: str) -> float | None:
    """Seconds from the start, None for what is none."""
    if number := _NUMBER.fullmatch(said):
        return float(number[1])
    match = _COLONS.fullmatch(said)
    if match is None:
        return None
    parts = [int(match[1]), int(match[2]), *([int(match[3])] if match[3] else [])]
    if any(part > 59 for part in parts[1:]):
        return None
    seconds = 0
    for part in parts:
        seconds = seconds * 60 + part
    return seconds + float(match[4] or 0.0)


def _elapsed(said: str, span: Span) -> list[Moment]:
    at_s = _from_start(said)
    return [Moment(min(at_s, span.duration_s))] if at_s is not None and at_s < span.duration_s + LATE_S else []


def _inside(at_s: float, text: str, span: Span) -> float:
    if at_s >= span.duration_s + LATE_S:
        raise _outside(text, span)
    return min(at_s, span.duration_s)


class _Clocks:
    """The readings of a text as a time of day."""

    def __init__(self, said: str, span: Span, zone: tzinfo | None) -> None:
        dated = _DATED.fullmatch(said)
        match = _TIME_OF_DAY.fullmatch(dated["rest"] if dated else said)
        self._span = span
        self._day = _day(dated["day"]) if dated else None
        self._time = _time(match) if match else None
        self._whole_minute = match is not None and match["s"] is None
        self.is_time = self._time is not None and (dated is None or self._day is not None)
        own = _offset(match["zone"]) if match is not None and match["zone"] else None
        self._zone = own or zone or span.zone
        self.names_zone = self.is_time and (own is not None or zone is not None)
        self.is_plainly_clock = (
            self.is_time and match is not None and bool(dated or match["zone"] or match["half"] or said[:1] in "Tt")
        )
        self.needs_zone = self.is_time and span.start is not None and self._zone is None
        # Nobody notes the time of day at night: 0:12:34 is what ridelog itself writes for a moment of a ride.
        self.could_be_day = self.is_plainly_clock or (self.is_time and self._time is not None and self._time.hour > 3)
        self.skipped = False

    def moments(self) -> list[Moment]:
        """All moments of the ride at which it was that time of day."""
        span, at = self._span, self._time
        begin = span.start.astimezone(self._zone) if span.start is not None and self._zone is not None else span.local
        if not self.is_time or at is None or begin is None:
            return []
        found: list[Moment] = []
        for day in self._days(begin):
            for moment in self._on(datetime.combine(day, at)):
                since_s = _since_s(moment, begin)
                early_s = 60.0 if self._whole_minute else 1.0
                if -early_s < since_s < span.duration_s + LATE_S:
                    found.append(Moment(min(max(since_s, 0.0), span.duration_s), moment))
        return found

    def _days(self, begin: datetime) -> Iterator[date]:
        if self._day is not None:
            yield self._day
            return
        count = min(int(self._span.duration_s // 86_400), LONGEST_DAYS)
        for step in range(-1, count + 3):
            try:
                yield begin.date() + timedelta(days=step)
            except OverflowError:
                continue

    def _on(self, wall: datetime) -> Iterator[datetime]:
        """The moments of a time on the wall: one, two where the clocks go back, none where they skip it."""
        zone = self._zone
        if zone is None or self._span.start is None:
            yield wall
            return
        try:
            early, late = wall.replace(tzinfo=zone, fold=0), wall.replace(tzinfo=zone, fold=1)
            back = early.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
            offsets = early.utcoffset(), late.utcoffset()
        except OverflowError:
            return
        if back != wall:
            self.skipped = True
            return
        yield early
        if offsets[0] != offsets[1]:
            yield late


def _since_s(moment: datetime, begin: datetime) -> float:
    # Two times of one zone would be subtracted as they stand on the wall, over a change of the clocks.
    if moment.tzinfo is None or begin.tzinfo is None:
        return (moment.replace(tzinfo=None) - begin.replace(tzinfo=None)).total_seconds()
    return (moment.astimezone(UTC) - begin.astimezone(UTC)).total_seconds()


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def _time(match: re.Match[str]) -> time | None:
    hour, minute, second = int(match["h"]), int(match["m"]), int(match["s"] or 0)
    if match["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match["half"].lower() == "pm" else 0)
    if hour > 23 or minute > 59 or second > 59:
        return None
    return time(hour, minute, second, round(float(match["f"] or 0.0) * 1e6) % 1_000_000)


def _offset(text: str) -> tzinfo:
    from ridelog.clock import parse_zone

    return parse_zone(text)


def _no_time(text: str) -> UsageError:
    return UsageError(
        f"{text[:40]!r} is no time",
        where="--at",
        expected="seconds (754), m:ss (12:34) or h:mm:ss (0:12:34) from the start of the ride, or a time of day "
        "(T10:31, 10:31+02:00, 2026-05-02T10:31)",
        to_do="correct the time",
    )


def _outside(text: str, span: Span, *, skipped: bool = False) -> UsageError:
    why = "the clocks skip that hour, or it" if skipped else "it"
    return UsageError(
        f"{text[:40]!r}: {why} is outside the ride, which runs {words.runs(span.duration_s, *_ends(span))}",
        where=f"--at, {span.ride}",
        expected="a time within the ride",
        to_do="correct the time",
    )


def _ends(span: Span) -> tuple[datetime | None, datetime | None]:
    return clock_of(span, 0.0), clock_of(span, span.duration_s)


def _several(text: str, span: Span, found: list[Moment]) -> UsageError:
    return UsageError(
        f"{text[:40]!r} could be {words.either([(one.at_s, one.clock) for one in found])}",
        where=f"--at, {span.ride}",
        expected="a time that names one moment",
        to_do="say which: --at " + " or --at ".join(_spelled(one) for one in found),
    )


def _spelled(moment: Moment) -> str:
    """The moment in a form that can be nothing else."""
    if moment.clock is None:
        return f"+{words.elapsed(moment.at_s)}"
    return moment.clock.isoformat(timespec="seconds" if moment.clock.microsecond == 0 else "milliseconds")


def _zone_missing(text: str, span: Span, found: list[Moment]) -> UsageError:
    knows = "and the log of this ride knows UTC only"
    could_be = f"could be {words.elapsed(found[0].at_s)} from the start or a time of day" if found else ""
    from_start = f", or --at {_spelled(found[0])} for the time from the start" if found else ""
    return UsageError(
        f"{text[:40]!r} {could_be or 'is a time of day without a zone'}, {knows}",
        where=f"--at, {span.ride}",
        expected="a time that names one moment",
        to_do=f"add the zone of the clock (--timezone +02:00, or an IANA name){from_start}",
    )


def _no_clock(text: str, span: Span) -> UsageError:
    """A time of day on a ride that has none, or whose clock's zone nobody knows."""
    if span.local is None:
        return UsageError(
            f"{text[:40]!r} is a time of day, and the ride has no date",
            where=f"--at, {span.ride}",
            expected="a time from the start of the ride, such as 0:12:34",
            to_do=f"give such a time, or tell when the ride began: ridelog edit {span.ride} --start ISO8601",
        )
    return UsageError(
        f"{text[:40]!r} names a zone, and that of the log's own clock is not known",
        where=f"--at, {span.ride}",
        expected=f"a time as the log's clock shows it: the ride runs {words.runs(span.duration_s, *_ends(span))}",
        to_do=f"give such a time, or tell when the ride began: ridelog edit {span.ride} --start ISO8601",
    )
