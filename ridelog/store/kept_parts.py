"""What rides give to an estimate over rides, and the estimates, kept in the catalogue.

Both come from rides and can be had from them again: losing one costs time, never an answer. The store does not know
what numbers and documents mean; whoever reads them looks at what they rest on.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from ridelog.store.catalogue import IN_PIECES, Catalogue, now_utc
from ridelog.store.checked import channel_names, check_rides
from ridelog.store.sealed import document_in, numbers_in, sealed_bytes, sealed_text
from ridelog.store.trouble import library_trouble


class PartRow(NamedTuple):
    """A ride that may give a part, and what the part rests on besides the bike. `content` is the hash of the ride
    file; `basis` is that of the part kept of it, None where none is."""

    id: str
    start_utc: datetime | None
    ambient_c: float | None
    content: str
    basis: str | None


class KeptParts:
    """The part of a library that keeps estimates over rides. Every method raises LibraryError where the catalogue
    fails."""

    root: Path
    _catalogue: Catalogue

    def part_rows(self, bike: str, kind: str, channels: Sequence[str], most: int) -> list[PartRow]:
        """The latest rides of a bike that have all these channels, at most so many, those without a date last; with
        what is kept of this kind."""
        # Channels are cut by name in SQL, so that a long library is not read whole, and compared exactly afterwards.
        having = " AND channels LIKE ?" * len(channels)
        query = f"""SELECT id, start_utc, ambient_c, stored_sha256, channels, basis FROM (
                SELECT seq, id, start_utc, ambient_c, stored_sha256, channels FROM ride
                WHERE bike = ?{having} ORDER BY start_utc DESC, seq DESC LIMIT ?
            ) LEFT JOIN kept_part ON ride_seq = seq AND kind = ? ORDER BY start_utc DESC, seq DESC"""  # noqa: S608
        like = [f'%"{name}"%' for name in channels]
        with library_trouble(self.root), self._catalogue.read() as db:
            found = db.execute(query, (bike, *like, most, kind)).fetchall()
            check_rides(found, ("id", "start_utc", "ambient_c", "stored_sha256", "channels"))
        return [
            PartRow(ride, datetime.fromisoformat(start) if start is not None else None, ambient_c, content, basis)
            for ride, start, ambient_c, content, names, basis in found
            if set(channels) <= set(channel_names(names))
        ]

    def parts(self, rides: Sequence[str], kind: str) -> dict[str, bytes]:
        """The numbers kept of these rides, whatever they rest on; without those that were damaged."""
        rows: list[tuple[str, object, object]] = []
        with library_trouble(self.root), self._catalogue.read() as db:
            for start in range(0, len(rides), IN_PIECES):
                piece = rides[start : start + IN_PIECES]
                query = f"""SELECT id, basis, numbers FROM kept_part JOIN ride ON seq = ride_seq
                            WHERE kind = ? AND id IN ({",".join("?" * len(piece))})"""  # noqa: S608
                rows += db.execute(query, (kind, *piece)).fetchall()
        kept = ((ride, numbers_in(basis, numbers)) for ride, basis, numbers in rows)
        return {ride: numbers for ride, numbers in kept if numbers is not None}

    def keep_part(self, ride: str, kind: str, basis: str, numbers: bytes) -> None:
        """Keep a part in place of the one before it; of a ride that is gone nothing is kept."""
        with library_trouble(self.root), self._catalogue.write() as db:
            db.execute(
                """INSERT INTO kept_part (ride_seq, kind, basis, numbers, made_utc)
                   SELECT seq, ?, ?, ?, ? FROM ride WHERE id = ?
                   ON CONFLICT (ride_seq, kind) DO UPDATE SET
                       basis = excluded.basis, numbers = excluded.numbers, made_utc = excluded.made_utc""",
                (kind, basis, sealed_bytes(basis, numbers), now_utc(), ride),
            )

    def estimate(self, subject: str) -> tuple[str, str] | None:
        """What is kept of a subject: what it rests on and the document; None where nothing is, or what is was
        damaged."""
        with library_trouble(self.root), self._catalogue.read() as db:
            row = db.execute("SELECT basis, document FROM kept_estimate WHERE subject = ?", (subject,)).fetchone()
        document = document_in(*row) if row is not None else None
        return (row[0], document) if document is not None else None

    def keep_estimate(self, subject: str, basis: str, document: str) -> None:
        """Keep an estimate in place of the one before it."""
        with library_trouble(self.root), self._catalogue.write() as db:
            db.execute(
                """INSERT INTO kept_estimate (subject, basis, document, made_utc) VALUES (?, ?, ?, ?)
                   ON CONFLICT (subject) DO UPDATE SET
                       basis = excluded.basis, document = excluded.document, made_utc = excluded.made_utc""",
                (subject, basis, sealed_text(basis, document), now_utc()),
            )
