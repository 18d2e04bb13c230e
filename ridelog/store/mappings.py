"""What users confirmed of the columns of a bike's logs, kept by bike and header."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from ridelog.store.catalogue import now_utc
from ridelog.store.checked import HEADER, MEANING, check_columns


@dataclass(frozen=True)
class ColumnMeaning:
    """One column: its name as written, the channel it is ("time", "date" and "raw" too), and its unit, if any."""

    column: str
    channel: str
    unit: str | None
    confirmed_utc: datetime


@dataclass(frozen=True)
class Mapping:
    """What is confirmed for the tables with one header. `header` is its fingerprint, `columns` its names and units as
    written."""

    header: str
    columns: tuple[tuple[str, str | None], ...]
    meanings: tuple[ColumnMeaning, ...]


def of_bike(db: sqlite3.Connection, bike: str) -> list[Mapping]:
    """All that is confirmed for a bike, the first header first, its columns by name. Raises LibraryError for a row that
    can't be."""
    headers = db.execute("SELECT fingerprint, columns, seq FROM header WHERE bike = ? ORDER BY seq", (bike,)).fetchall()
    check_columns(headers, HEADER, bike)
    query = "SELECT name, channel, unit, confirmed_utc FROM column_meaning WHERE header_seq = ? ORDER BY name"
    meanings = {seq: db.execute(query, (seq,)).fetchall() for *_, seq in headers}
    for rows in meanings.values():
        check_columns(rows, MEANING, bike)
    return [
        Mapping(
            str(fingerprint),
            tuple((str(name), None if unit is None else str(unit)) for name, unit in json.loads(columns)),
            tuple(
                ColumnMeaning(str(name), str(channel), unit, datetime.fromisoformat(confirmed))
                for name, channel, unit, confirmed in meanings[seq]
            ),
        )
        for fingerprint, columns, seq in headers
    ]


def put(
    db: sqlite3.Connection,
    bike: str,
    header: str,
    columns: Sequence[tuple[str, str | None]],
    meanings: Sequence[tuple[str, str, str | None]],
) -> None:
    """Confirm meanings (column, channel, unit) of tables with this header; those of its other columns stay."""
    db.execute(
        "INSERT INTO header (bike, fingerprint, columns) VALUES (?, ?, ?) ON CONFLICT (bike, fingerprint) DO NOTHING",
        (bike, header, json.dumps(columns, ensure_ascii=False)),
    )
    (seq,) = db.execute("SELECT seq FROM header WHERE bike = ? AND fingerprint = ?", (bike, header)).fetchone()
    now = now_utc()
    db.executemany(
        """INSERT INTO column_meaning (header_seq, name, channel, unit, confirmed_utc) VALUES (?, ?, ?, ?, ?)
           ON CONFLICT (header_seq, name) DO UPDATE
           SET channel = excluded.channel, unit = excluded.unit, confirmed_utc = excluded.confirmed_utc""",
        [(seq, name, channel, unit, now) for name, channel, unit in meanings],
    )


def forget(db: sqlite3.Connection, bike: str) -> int:
    """Forget all that is confirmed for a bike. Returns how many columns that were."""
    (count,) = db.execute(
        "SELECT count(*) FROM column_meaning JOIN header ON header.seq = header_seq WHERE bike = ?", (bike,)
    ).fetchone()
    db.execute("DELETE FROM header WHERE bike = ?", (bike,))
    return int(count)
