"""Which stored rides were going on at the same time as another."""

from __future__ import annotations

import sqlite3
from datetime import datetime, timedelta

from ridelog.store import catalogue
from ridelog.store.checked import check_rides
from ridelog.store.rows import RideRow

_MINUTE = timedelta(minutes=1)


def rides_during(
    db: sqlite3.Connection, start: datetime, duration_s: float, *, bike: str | None, local: bool
) -> list[RideRow]:
    """Rides that share time with the stretch from `start` on, those named last first.

    `local`: `start` bears no zone, and only rides without one are looked at, by the minute in their ids; else it is
    aware, and only rides dated in UTC are. `bike`: of this bike or of none named; None: of any. The length of the
    longest ride bounds how far back to look, so the indexes on start and id serve.
    """
    longest = db.execute("SELECT id, duration_s FROM ride ORDER BY duration_s DESC LIMIT 1").fetchall()
    if not longest:
        return []
    check_rides(longest, ("id", "duration_s"))
    longest_s = longest[0][1]
    end = start + timedelta(seconds=duration_s)
    # A year before the calendar's first has no rides either.
    earliest = start - min(timedelta(seconds=longest_s) + _MINUTE, start - datetime.min.replace(tzinfo=start.tzinfo))
    if local:
        # The plus keeps SQLite from the index of starts, which all rides without a date share as one value.
        within = "SELECT seq FROM ride WHERE id >= ? AND id <= ? AND +start_utc IS NULL AND timezone IS NULL"
        values = [f"{earliest:%Y%m%d-%H%M}", f"{end:%Y%m%d-%H%M}~"]
    else:
        within = "SELECT seq FROM ride WHERE start_utc > ? AND start_utc < ?"
        values = [catalogue.utc_text(earliest), catalogue.utc_text(end)]
    if bike is not None:
        within += " AND (bike = ? OR bike IS NULL)"
        values.append(bike)
    found = catalogue.rows_where(db, f"seq IN ({within})", values)
    return [row for row in found if _shares(row, start, end, local=local)]


def _shares(row: RideRow, start: datetime, end: datetime, *, local: bool) -> bool:
    began = row.start_local if local else row.start_utc
    if began is None:
        return False
    # An id tells the minute only: the ride may have begun up to a minute later.
    latest = began + _MINUTE if local else began
    return began < end and latest + timedelta(seconds=row.duration_s) > start
