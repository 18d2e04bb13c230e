"""What a review keeps of each ride, and all rides of a library with it in one reading.

A kept result came from a ride and can be had from it again: losing one costs time, never an answer. The store does not
know what a document means; whoever reads it looks at what it rests on.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from ridelog.store.casebook import NOTE_COLUMNS
from ridelog.store.catalogue import LOCAL_START, Catalogue, now_utc
from ridelog.store.checked import check_notes, check_rides
from ridelog.store.sealed import document_in, sealed_text
from ridelog.store.trouble import library_trouble

_COLUMNS = ("id", "bike", "start_utc", "timezone", "ambient_c", "condition", "stored_sha256")


class ReviewRow(NamedTuple):
    """A ride with what a review looks at. `start_utc` is aware; `start_local` stands where the log has a time without a
    zone. `content` is the hash of the ride file. `notes` are (seconds, what it is about, text) in order of time.
    `basis` and `document` are None where nothing is kept; `document` also where what is kept was damaged."""

    id: str
    bike: str | None
    start_utc: datetime | None
    start_local: datetime | None
    timezone: str | None
    ambient_c: float | None
    condition: str
    content: str
    basis: str | None
    document: str | None
    notes: tuple[tuple[float, str, str], ...]


class KeptResult(NamedTuple):
    """A result to keep."""

    ride: str
    basis: str
    document: str


class KeptResults:
    """The part of a library that keeps what rides gave, for questions over many of them."""

    root: Path
    _catalogue: Catalogue

    def review_rows(self, bike: str | None = None) -> list[ReviewRow]:
        """All rides, or those of one bike, in the order they were stored, with what is kept of each. Raises
        LibraryError."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return _rows(db, bike)

    def ride_marks(self, bike: str) -> list[tuple[str, ...]]:
        """Of each ride of a bike that is not marked faulty all that its own fit rests on besides the bike, as text, in
        the order they were stored. Raises LibraryError."""
        query = """SELECT id, stored_sha256, coalesce(start_utc, ''), coalesce(timezone, ''), coalesce(ambient_c, '')
                   FROM ride WHERE bike = ? AND condition <> 'faulty' ORDER BY seq"""
        with library_trouble(self.root), self._catalogue.read() as db:
            return [tuple(map(str, row)) for row in db.execute(query, (bike,))]

    def keep_results(self, results: Sequence[KeptResult]) -> None:
        """Keep results in place of those before them; of a ride that is gone nothing is kept. Raises LibraryError."""
        with library_trouble(self.root), self._catalogue.write() as db:
            db.executemany(
                """INSERT INTO kept_result (ride_seq, basis, document, made_utc)
                   SELECT seq, ?, ?, ? FROM ride WHERE id = ?
                   ON CONFLICT (ride_seq) DO UPDATE SET
                       basis = excluded.basis, document = excluded.document, made_utc = excluded.made_utc""",
                [(one.basis, sealed_text(one.basis, one.document), now_utc(), one.ride) for one in results],
            )


def _rows(db: sqlite3.Connection, bike: str | None) -> list[ReviewRow]:
    chosen, values = ("WHERE bike = ?", (bike,)) if bike is not None else ("", ())
    noted: dict[int, list[tuple[float, str, str]]] = {}
    notes = db.execute(
        """SELECT at_s, about, text, written_utc, ride_note.seq, ride.id, ride_seq
           FROM ride_note JOIN ride ON ride.seq = ride_seq ORDER BY ride_seq, at_s, ride_note.seq"""
    ).fetchall()
    check_notes(notes, NOTE_COLUMNS)
    for at_s, about, text, *_, seq in notes:
        noted.setdefault(seq, []).append((at_s, about, text))
    query = f"""SELECT {", ".join(_COLUMNS)}, {LOCAL_START}, seq, basis, document
                FROM ride LEFT JOIN kept_result ON ride_seq = seq {chosen} ORDER BY seq"""  # noqa: S608 - own text
    rows = db.execute(query, values).fetchall()
    check_rides(rows, _COLUMNS)
    parse = datetime.fromisoformat
    return [
        ReviewRow(
            ride,
            of,
            parse(start) if start is not None else None,
            _local(began) if start is None else None,
            zone,
            ambient_c,
            condition,
            content,
            basis,
            document_in(basis, document),
            tuple(noted.get(seq, ())),
        )
        for ride, of, start, zone, ambient_c, condition, content, began, seq, basis, document in rows
    ]


def _local(began: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(began) if began is not None else None
    except ValueError:
        return None
