"""The SQLite catalogue: which rides there are, the files behind them, bikes and advice sheets.

A connection lives for one question or one transaction, so threads and processes can share a library freely: in WAL
mode readers never wait, and a writer waits its turn up to `BUSY_S`. `BEGIN IMMEDIATE` is also the lock under which
files are put in place or removed: whoever holds it is the only one who does either.
"""

from __future__ import annotations

import json
import os
import sqlite3
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridelog.store import schema
from ridelog.store.checked import channel_names, check_files, check_rides
from ridelog.store.rows import FileRow, RideRow
from ridelog.store.trouble import BUSY_S

if TYPE_CHECKING:
    from ridelog.ride import Ride

_RIDE_COLUMNS = (
    "id",
    "bike",
    "start_utc",
    "timezone",
    "duration_s",
    "distance_m",
    "peak_c",
    "condition",
    "ambient_c",
    "channels",
)
_RIDE_SQL = f"{', '.join(_RIDE_COLUMNS)}, seq"
LOCAL_START = """CASE WHEN timezone IS NULL AND id GLOB '[0-9]*' THEN
    substr(id, 1, 4) || '-' || substr(id, 5, 2) || '-' || substr(id, 7, 2) || 'T' ||
    substr(id, 10, 2) || ':' || substr(id, 12, 2) END"""
"""Where a ride whose zone is not known stands among the others: its id begins with its own clock's time (RideRow)."""

SETTLED_NS = 200_000_000
"""A file changed longer ago than this has another time when it is changed again: file systems count in steps, of 10 ms
and less where libraries are kept."""

IN_PIECES = 500
"""SQLite builds differ in how many values one statement may hold; all take this many."""


class Catalogue:
    """The tables of one library. Raises sqlite3.Error; the library turns that into words."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def prepare(self) -> None:
        """Create or upgrade the tables. The caller holds the library's door, so one program does it at a time."""
        if not self._path.exists():
            os.close(os.open(self._path, os.O_CREAT | os.O_RDWR, 0o600))
        with closing(self._connect()) as db:
            schema.check_is_ours(db, self._path)
            db.execute("PRAGMA journal_mode = WAL")
            schema.upgrade(db, self._path)

    def is_current(self) -> bool:
        """True where the tables are those of this version. Raises LibraryError for what is not ours, or newer."""
        if not self._path.exists():
            return False
        with closing(self._connect()) as db:
            return schema.check_is_ours(db, self._path) == schema.VERSION

    def _connect(self) -> sqlite3.Connection:
        # mode=rw: a catalogue that has vanished is an error, not a reason to start an empty one.
        db = sqlite3.connect(self._path.as_uri() + "?mode=rw", uri=True, timeout=BUSY_S, isolation_level=None)
        db.execute("PRAGMA foreign_keys = ON")
        return db

    def mark(self) -> tuple[tuple[int, int, int], ...] | None:
        """Differs from one before where anything was committed in between, at the cost of a look at two files. None
        where a change is so fresh that the file system's clock could not tell another from it."""
        found = []
        for path in (self._path, self._path.with_name(f"{self._path.name}-wal")):
            try:
                told = path.stat()
            except OSError:
                continue
            # readers, too, leave an empty log of what is not yet in the tables, and take it away
            if told.st_size:
                found.append((told.st_ino, told.st_size, told.st_mtime_ns))
        fresh = any(time.time_ns() - changed_ns < SETTLED_NS for _, _, changed_ns in found)
        return None if fresh or not found else tuple(found)

    @contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """One consistent view of the tables."""
        with closing(self._connect()) as db:
            db.execute("BEGIN")
            yield db

    @contextmanager
    def write(self) -> Iterator[sqlite3.Connection]:
        """The one writer's transaction: committed at the end, rolled back when anything is raised inside."""
        with closing(self._connect()) as db:
            db.execute("BEGIN IMMEDIATE")
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise


def now_utc() -> str:
    """The moment of a change, as the tables hold it."""
    return utc_text(datetime.now(UTC))


def utc_text(moment: datetime) -> str:
    """An aware moment as text of fixed width, so that text order is time order."""
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def content_key(sha256s: Sequence[str]) -> str:
    """One text for a set of files, whatever their order."""
    return " ".join(sorted(set(sha256s)))


def newest_sql(condition: str = "1") -> str:
    """Rides that meet a condition, newest first. Those with a date and those without are each cut to the limit before
    they are put together, so that the index on the date still serves. The condition's values come twice, each followed
    by the limit, then the limit once more."""
    return f"""SELECT * FROM (
        SELECT {_RIDE_SQL}, start_utc AS began FROM ride WHERE start_utc IS NOT NULL AND {condition}
        ORDER BY start_utc DESC, seq DESC LIMIT ?
    ) UNION ALL SELECT * FROM (
        SELECT {_RIDE_SQL}, {LOCAL_START} AS began FROM ride WHERE start_utc IS NULL AND {condition}
        ORDER BY began DESC, seq DESC LIMIT ?
    ) ORDER BY began DESC, seq DESC LIMIT ?"""  # noqa: S608


def rows_where(
    db: sqlite3.Connection, condition: str = "1", values: Sequence[Any] = (), limit: int | None = None
) -> list[RideRow]:
    """Rides that meet a condition, newest first; those without a date last, latest import first. Raises LibraryError
    for a row that can't be (see store.checked)."""
    most = -1 if limit is None else limit
    found = db.execute(newest_sql(condition), (*values, most, *values, most, most)).fetchall()
    check_rides(found, _RIDE_COLUMNS)
    files = _files(db, {row[10]: row[0] for row in found})
    return [
        RideRow(
            id=ride_id,
            bike=bike,
            start_utc=datetime.fromisoformat(start) if start is not None else None,
            timezone=zone,
            duration_s=duration_s,
            distance_m=distance_m,
            peak_c=peak_c,
            condition=condition_,
            ambient_c=ambient_c,
            channels=channel_names(channels),
            files=files.get(seq, ()),
        )
        for ride_id, bike, start, zone, duration_s, distance_m, peak_c, condition_, ambient_c, channels, seq, _ in found
    ]


def _files(db: sqlite3.Connection, rides: Mapping[int, str]) -> dict[int, tuple[FileRow, ...]]:
    """The files of rides; `rides` are row number -> id."""
    columns = "name, sha256, size_bytes, format, ride_seq"
    seqs = list(rides)
    rows: list[tuple[Any, ...]] = []
    if len(seqs) > 4 * IN_PIECES:
        rows = db.execute(f"SELECT {columns} FROM ride_file ORDER BY ride_seq, position").fetchall()  # noqa: S608
    else:
        for start in range(0, len(seqs), IN_PIECES):
            piece = seqs[start : start + IN_PIECES]
            marks = ",".join("?" * len(piece))
            query = f"SELECT {columns} FROM ride_file WHERE ride_seq IN ({marks}) ORDER BY ride_seq, position"  # noqa: S608
            rows += db.execute(query, piece).fetchall()
    check_files([(*row[:4], rides.get(row[4])) for row in rows if row[4] in rides])
    return {seq: tuple(FileRow(*row[:4]) for row in group) for seq, group in groupby(rows, key=lambda row: row[4])}


def insert_ride(db: sqlite3.Connection, ride: Ride, stored_bytes: int, stored_sha256: str) -> None:
    """Enter a ride with its files."""
    cursor = db.execute(
        """INSERT INTO ride (id, bike, ambient_c, start_utc, condition, timezone, duration_s, distance_m, peak_c,
                             channels, content, stored_bytes, stored_sha256, added_utc)
           VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)""",
        (
            ride.id,
            ride.bike,
            ride.ambient_c,
            utc_text(ride.start_utc) if ride.start_utc else None,
            ride.condition,
            ride.timezone,
            ride.duration_s,
            ride.distance_m,
            ride.peak_c,
            json.dumps(list(ride.channels), ensure_ascii=False),
            content_key([source.sha256 for source in ride.sources]),
            stored_bytes,
            stored_sha256,
            now_utc(),
        ),
    )
    db.executemany(
        "INSERT INTO ride_file (ride_seq, position, sha256, name, size_bytes, format) VALUES (?, ?, ?, ?, ?, ?)",
        [
            (cursor.lastrowid, position, source.sha256, source.name, source.size_bytes, source.format)
            for position, source in enumerate(ride.sources)
        ],
    )


def stored_file(db: sqlite3.Connection, ride_id: str) -> tuple[int, str] | None:
    """Size in bytes and SHA-256 of a ride's file, None where there is no such ride."""
    row = db.execute("SELECT stored_bytes, stored_sha256 FROM ride WHERE id = ?", (ride_id,)).fetchone()
    return (int(row[0]), str(row[1])) if row else None


def original_in_use(db: sqlite3.Connection, sha256: str) -> bool:
    """True while a ride rests on this file."""
    return db.execute("SELECT 1 FROM ride_file WHERE sha256 = ? LIMIT 1", (sha256,)).fetchone() is not None
