"""Fits of the heat balance in the catalogue, and the rides of a bike that may be fitted.

A fit is numbers that came from a ride and can be had from it again: losing one costs time, never an answer. The store
does not know what the numbers mean; whoever reads them checks them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from ridelog.store.catalogue import IN_PIECES, LOCAL_START, now_utc
from ridelog.store.checked import channel_names, check_rides

_COLUMNS = ("id", "start_utc", "timezone", "ambient_c", "duration_s", "content", "stored_sha256", "channels")


@dataclass(frozen=True)
class FitRow:
    """A ride another ride of its bike may learn from: what its fit rests on besides the bike. `start_utc` is aware;
    `start_local` stands where the log has a time without a zone. `content` is the hash of the ride file."""

    id: str
    start_utc: datetime | None
    start_local: datetime | None
    timezone: str | None
    ambient_c: float | None
    duration_s: float
    files: str
    content: str


@dataclass(frozen=True)
class KeptFit:
    """A fit as it is kept: float64 numbers in little-endian order, or why the ride can't be fitted."""

    basis: str
    reason: str | None
    numbers: bytes | None


def rows_of_bike(db: sqlite3.Connection, bike: str, channels: Sequence[str]) -> list[FitRow]:
    """Rides of a bike that are not marked faulty and have all these channels, in the order they were stored. Raises
    LibraryError for a row that can't be."""
    found = db.execute(
        f"""SELECT {", ".join(_COLUMNS)}, {LOCAL_START}
            FROM ride WHERE bike = ? AND condition <> 'faulty' ORDER BY seq""",  # noqa: S608 - own text
        (bike,),
    ).fetchall()
    check_rides(found, _COLUMNS)
    return [
        FitRow(
            id=ride_id,
            start_utc=datetime.fromisoformat(start) if start is not None else None,
            start_local=_local(began) if start is None else None,
            timezone=zone,
            ambient_c=ambient_c,
            duration_s=duration_s,
            files=files,
            content=content,
        )
        for ride_id, start, zone, ambient_c, duration_s, files, content, names, began in found
        if set(channels) <= set(channel_names(names))
    ]


def _local(began: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(began) if began is not None else None
    except ValueError:
        return None


def kept(db: sqlite3.Connection, rides: Sequence[str]) -> dict[str, KeptFit]:
    """The fits that are kept of these rides, whatever they rest on."""
    fits: dict[str, KeptFit] = {}
    for start in range(0, len(rides), IN_PIECES):
        piece = rides[start : start + IN_PIECES]
        marks = ",".join("?" * len(piece))
        query = f"""SELECT id, basis, reason, numbers FROM heat_fit JOIN ride ON seq = ride_seq
                    WHERE id IN ({marks})"""  # noqa: S608
        fits.update({ride: KeptFit(*row) for ride, *row in db.execute(query, piece)})
    return fits


def keep(db: sqlite3.Connection, ride: str, fit: KeptFit) -> None:
    """Keep a fit in place of the one before it; of a ride that is gone nothing is kept."""
    db.execute(
        """INSERT INTO heat_fit (ride_seq, basis, reason, numbers, made_utc)
           SELECT seq, ?, ?, ?, ? FROM ride WHERE id = ?
           ON CONFLICT (ride_seq) DO UPDATE SET
               basis = excluded.basis, reason = excluded.reason, numbers = excluded.numbers,
               made_utc = excluded.made_utc""",
        (fit.basis, fit.reason, fit.numbers, now_utc(), ride),
    )
