"""Sentences and times of the analysis and the import as a page writes them."""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import UTC, datetime, timedelta, tzinfo

from ridelog.errors import UsageError
from ridelog.ride import Ride, local_start
from ridelog.words.display import NBSP

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:h|min|s|C|kW|km/h|km|m|%)\b|%)")
_DEGREES = re.compile(r"(?<=\d[ \u00a0])C\b|\bC(?= a minute\b)")


def shown(text: str) -> str:
    """A sentence as it stands on a page: `118 C` becomes `118 °C`, and a number keeps its unit on its line."""
    return _NUMBER_AND_UNIT.sub(NBSP, _DEGREES.sub("°C", text)).replace(" °C", f"{NBSP}°C")


def sentence(text: str, names: Collection[str] = ()) -> str:
    """A remark as a sentence: a large first letter and a full stop. What begins with one of `names` (files), or with
    a word that has a dot or a line inside (a file, a key), keeps its letters."""
    text = text.strip()
    first = text.split(maxsplit=1)[0].rstrip(".:,;?!") if text else ""
    if not any(text.startswith(name) for name in names) and not re.search(r"[._/\\]", first):
        text = text[:1].upper() + text[1:]
    return shown(text if text.endswith((".", "?", "!")) else text + ".")


def moment(start_utc: datetime | None, timezone: str | None, start_local: datetime | None = None) -> str:
    """`17 May 2026, 10:12 UTC+2` on the ride's own clock (UTC where its zone is not known); where only the log's own
    time is known, that, and that its zone is not; '' where nothing is."""
    if start_utc is None:
        return f"{_written(start_local)} (time zone not known)" if start_local is not None else ""
    aware = start_utc if start_utc.tzinfo else start_utc.replace(tzinfo=UTC)
    local = aware.astimezone(zone_of(timezone))
    return f"{_written(local)} {_offset(local)}"


def start_text(ride: Ride) -> str:
    """Start of the ride on its own clock, with its zone; '' where not known."""
    return moment(ride.start_utc, ride.timezone, local_start(ride))


def time_of_day(ride: Ride, at_s: float) -> str:
    """`10:31:05 UTC+2` at so many seconds of a ride, on its own clock; '' where the ride has none."""
    after = timedelta(seconds=at_s)
    if ride.start_utc is None:
        begin = local_start(ride)
        return f"{begin + after:%H:%M:%S} (time zone not known)" if begin is not None else ""
    aware = ride.start_utc if ride.start_utc.tzinfo else ride.start_utc.replace(tzinfo=UTC)
    local = (aware + after).astimezone(zone_of(ride.timezone))
    return f"{local:%H:%M:%S} {_offset(local)}"


def zone_of(timezone: str | None) -> tzinfo:
    """A ride's zone by its name; UTC where it has none, or one this computer does not know."""
    from ridelog.clock.zones import parse_zone

    try:
        return parse_zone(timezone) if timezone else UTC
    except UsageError:
        return UTC


def _written(when: datetime) -> str:
    return f"{when.day} {when:%B %Y}, {when:%H:%M}"


def _offset(local: datetime) -> str:
    """`UTC`, `UTC+2`, `UTC−3:30`."""
    offset = local.utcoffset()
    minutes = round(offset.total_seconds() / 60.0) if offset is not None else 0
    if minutes == 0:
        return "UTC"
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'+' if minutes > 0 else '−'}{hours}" + (f":{rest:02d}" if rest else "")
