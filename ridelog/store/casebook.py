"""The part of a library that holds what people said and found: notes on rides, and complaints with what was found then.

The store knows no meaning: what a ride gave is a text here, a JSON document that `ridelog.cases` makes and reads.
Every change is one transaction, checked inside it, so that two programs at once, or one that dies, leave it whole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from ridelog.errors import LibraryError, NotInLibrary, UsageError
from ridelog.store import profiles
from ridelog.store.catalogue import Catalogue, now_utc
from ridelog.store.checked import check_notes, notes_columns
from ridelog.store.complaints import ComplaintRow, FrozenRide, case_id, read, seq_of
from ridelog.store.rows import KEEP, Keep
from ridelog.store.trouble import library_trouble
from ridelog.told import cleaned

if TYPE_CHECKING:
    import sqlite3

    from ridelog.ride import RideNote
    from ridelog.store.rows import RideRow

AboutName = Literal["map_conservative", "map_standard", "stop", "coolant_lost", "service", "other"]
ABOUTS: tuple[AboutName, ...] = ("map_conservative", "map_standard", "stop", "coolant_lost", "service", "other")
"""What a note can speak of: those of `ride.About`, here without what that module imports."""

NOTE_COLUMNS = notes_columns(ABOUTS)
"""Columns of a note as `store.checked` looks at them."""

MOST_NOTES = 500
"""Notes on one ride."""

NOTE_LENGTH, TOLD_LENGTH = 1000, 4000
"""Characters of a note; of what a customer said, and of what a workshop found."""


@dataclass(frozen=True)
class NoteRow:
    """A note as it is kept. `number` is its own in the whole library and stays; `at_s` counts from the ride's first
    sample."""

    number: int
    at_s: float
    about: AboutName
    text: str
    written_utc: datetime

    def note(self) -> RideNote:
        """The note as the analysis knows it."""
        from ridelog.ride import RideNote

        return RideNote(self.at_s, self.about, self.text)


class Casebook:
    """Notes and complaints of the library in `root`. Every method raises LibraryError where the catalogue fails."""

    root: Path
    _catalogue: Catalogue

    if TYPE_CHECKING:

        def _row(self, db: sqlite3.Connection, ride_id: str) -> RideRow: ...
        def _known(self, db: sqlite3.Connection, ride_id: str) -> None: ...

    # -- notes --------------------------------------------------------------------------------------------------------

    def notes_of(self, ride_id: str) -> list[NoteRow]:
        """The notes of a ride in order of time; none for a ride the library does not hold."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return _notes(db, ride_id)

    def add_note(self, ride_id: str, at_s: float, about: str, text: str) -> NoteRow:
        """Write a note on a ride. Raises NotInLibrary; UsageError for a time outside the ride, an unknown `about`, an
        empty or long text, or too many notes."""
        text = cleaned(text, NOTE_LENGTH, "the note")
        with library_trouble(self.root), self._catalogue.write() as db:
            _check_note(self._row(db, ride_id), at_s, about)
            (count,) = db.execute(
                "SELECT count(*) FROM ride_note JOIN ride ON ride.seq = ride_seq WHERE ride.id = ?", (ride_id,)
            ).fetchone()
            if count >= MOST_NOTES:
                raise UsageError(
                    f"the ride has {count} notes", where=ride_id, expected=f"at most {MOST_NOTES}", to_do="remove some"
                )
            number = next_number(db, "note", "SELECT max(seq) FROM ride_note")
            db.execute(
                """INSERT INTO ride_note (seq, ride_seq, at_s, about, text, written_utc)
                   SELECT ?, seq, ?, ?, ?, ? FROM ride WHERE id = ?""",
                (number, at_s, about, text, now_utc(), ride_id),
            )
            return _written(db, ride_id, number)

    def correct_note(
        self,
        ride_id: str,
        number: int,
        *,
        at_s: float | Keep = KEEP,
        about: str | Keep = KEEP,
        text: str | Keep = KEEP,
    ) -> NoteRow:
        """Change a note of a ride; KEEP leaves a part as it is. Returns it as it stands then. Raises as `add_note`, and
        NotInLibrary for a number that is none of this ride's."""
        wording = text if isinstance(text, Keep) else cleaned(text, NOTE_LENGTH, "the note")
        with library_trouble(self.root), self._catalogue.write() as db:
            row, old = self._row(db, ride_id), _written(db, ride_id, number)
            at_s = old.at_s if isinstance(at_s, Keep) else at_s
            about = old.about if isinstance(about, Keep) else about
            wording = old.text if isinstance(wording, Keep) else wording
            _check_note(row, at_s, about)
            db.execute(
                "UPDATE ride_note SET at_s = ?, about = ?, text = ?, written_utc = ? WHERE seq = ?",
                (at_s, about, wording, now_utc(), number),
            )
            return _written(db, ride_id, number)

    def remove_note(self, ride_id: str, number: int) -> NoteRow | None:
        """Remove a note of a ride. Returns what it was; None for one that was damaged. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.write() as db:
            self._known(db, ride_id)
            gone = _note(db, ride_id, number, damaged=True)
            db.execute("DELETE FROM ride_note WHERE seq = ?", (number,))
            return gone

    # -- complaints ---------------------------------------------------------------------------------------------------

    def stored_sha256(self, ride_id: str) -> str:
        """Hash of a ride's file as the import wrote it. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            self._row(db, ride_id)
            (sha256,) = db.execute("SELECT stored_sha256 FROM ride WHERE id = ?", (ride_id,)).fetchone()
            return str(sha256)

    def complaints(self, bike: str | None = None) -> list[ComplaintRow]:
        """All complaints, or those of one bike, the latest day first."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return read(db, "bike = ?", (bike,)) if bike is not None else read(db)

    def complaint(self, text: str) -> ComplaintRow:
        """The one complaint whose id is `text` or starts with it. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return read(db, "id = ?", (case_id(db, text),))[0]

    def complaint_id(self, text: str) -> str:
        """Its id alone, also where the rest of it is damaged. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return case_id(db, text)

    def open_complaint(self, bike: str, day: date, said: str, rides: Sequence[tuple[str, str]] = ()) -> ComplaintRow:
        """Take down a complaint; `rides` are ids with what was found of each. Raises NotInLibrary for an unknown bike
        or ride; UsageError for a ride of another bike, a text that is empty or too long."""
        said = cleaned(said, TOLD_LENGTH, "what the rider said")
        with library_trouble(self.root), self._catalogue.write() as db:
            profiles.text_of(db, "bike", bike)
            name = f"{day.isoformat()}-{next_number(db, f'case {day.isoformat()}', _LAST_OF_DAY, day.isoformat())}"
            seq = db.execute(
                "INSERT INTO complaint (id, bike, day, said, opened_utc) VALUES (?, ?, ?, ?, ?)",
                (name, bike, day.isoformat(), said, now_utc()),
            ).lastrowid
            self._attach(db, seq or 0, name, bike, rides)
            return read(db, "id = ?", (name,))[0]

    def add_to_complaint(self, complaint: str, rides: Sequence[tuple[str, str]]) -> ComplaintRow:
        """Attach rides with what was found of each, all or none. Raises NotInLibrary; UsageError for a complaint that
        is closed, a ride it has already, a ride of another bike."""
        with library_trouble(self.root), self._catalogue.write() as db:
            seq, bike = seq_of(db, complaint, closed=False)
            self._attach(db, seq, complaint, bike, rides)
            return read(db, "id = ?", (complaint,))[0]

    def close_complaint(self, complaint: str, workshop: str, cause: str | None) -> ComplaintRow:
        """Write down what the workshop found. Raises NotInLibrary; UsageError for a complaint that is closed, a text
        that is empty or too long."""
        workshop = cleaned(workshop, TOLD_LENGTH, "what the workshop found")
        with library_trouble(self.root), self._catalogue.write() as db:
            seq, _ = seq_of(db, complaint, closed=False)
            db.execute(
                "UPDATE complaint SET closed_utc = ?, workshop = ?, cause = ? WHERE seq = ?",
                (now_utc(), workshop, cause, seq),
            )
            return read(db, "id = ?", (complaint,))[0]

    def reopen_complaint(self, complaint: str) -> ComplaintRow:
        """Open a closed complaint again; what the workshop found before stays among its earlier findings. Raises
        NotInLibrary, UsageError for one that is open."""
        with library_trouble(self.root), self._catalogue.write() as db:
            seq, _ = seq_of(db, complaint, closed=True)
            db.execute(
                """INSERT INTO complaint_finding (complaint_seq, position, workshop, cause, closed_utc, reopened_utc)
                   SELECT seq, (SELECT count(*) FROM complaint_finding WHERE complaint_seq = seq), workshop, cause,
                          closed_utc, ? FROM complaint WHERE seq = ?""",
                (now_utc(), seq),
            )
            db.execute("UPDATE complaint SET closed_utc = NULL, workshop = NULL, cause = NULL WHERE seq = ?", (seq,))
            return read(db, "id = ?", (complaint,))[0]

    def drop_complaint(self, complaint: str) -> None:
        """Remove a complaint with all that was found. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.write() as db:
            seq, _ = seq_of(db, complaint)
            db.execute("DELETE FROM complaint WHERE seq = ?", (seq,))

    def drop_from_complaint(self, complaint: str, ride_id: str) -> ComplaintRow:
        """Take a ride out of an open complaint, with what was found of it. Raises NotInLibrary, UsageError."""
        with library_trouble(self.root), self._catalogue.write() as db:
            seq, _ = seq_of(db, complaint, closed=False)
            gone = db.execute("DELETE FROM complaint_ride WHERE complaint_seq = ? AND ride = ?", (seq, ride_id))
            if gone.rowcount != 1:
                raise NotInLibrary(
                    f"it has no ride {ride_id!r}",
                    where=f"case {complaint}",
                    expected="a ride of the case",
                    to_do=f"`ridelog case show {complaint}` lists them",
                )
            return read(db, "id = ?", (complaint,))[0]

    def _attach(
        self, db: sqlite3.Connection, seq: int, complaint: str, bike: str | None, rides: Sequence[tuple[str, str]]
    ) -> None:
        """Inside a transaction: what was checked before may have changed since."""
        for ride_id, findings in rides:
            check_bike(self._row(db, ride_id), bike)
            (there, position) = db.execute(
                """SELECT coalesce(sum(ride = ?), 0), coalesce(max(position) + 1, 0) FROM complaint_ride
                   WHERE complaint_seq = ?""",
                (ride_id, seq),
            ).fetchone()
            if there:
                raise already_there(complaint, ride_id)
            db.execute(
                """INSERT INTO complaint_ride (complaint_seq, position, ride, findings, frozen_utc)
                   VALUES (?, ?, ?, ?, ?)""",
                (seq, position, ride_id, findings, now_utc()),
            )


__all__ = ["ABOUTS", "Casebook", "ComplaintRow", "FrozenRide", "NoteRow", "already_there", "check_bike"]


def check_bike(row: RideRow, bike: str | None) -> None:
    """Raises UsageError for a ride that is not of the complaint's bike."""
    if row.bike == bike:
        return
    whose = f"belongs to bike {row.bike}" if row.bike is not None else "belongs to no bike yet"
    raise UsageError(
        f"the ride {whose}, the complaint is about bike {bike}",
        where=row.id,
        expected=f"a ride of bike {bike}",
        to_do=f"attach another ride, or correct this one: ridelog edit {row.id} --bike {bike}",
    )


def already_there(complaint: str, ride_id: str) -> UsageError:
    """A ride that the case has: what was found then is not overwritten."""
    return UsageError(
        "the case has this ride already, with what was found then",
        where=f"case {complaint}, {ride_id}",
        expected="a ride that is not in the case",
        to_do=f"`ridelog case show {complaint}` compares it with today",
    )


def _check_note(row: RideRow, at_s: float, about: str) -> None:
    if about not in ABOUTS:
        raise UsageError(f"a note can't be about {about!r}", expected=", ".join(ABOUTS), to_do="choose one of these")
    if not (math.isfinite(at_s) and 0.0 <= at_s <= row.duration_s):
        raise UsageError(
            f"{at_s} s from its start is outside the ride",
            where=row.id,
            expected=f"0 to {row.duration_s:.1f} s",
            to_do="correct the time",
        )


def _notes(db: sqlite3.Connection, ride_id: str) -> list[NoteRow]:
    """The notes of a ride in order of time. Raises LibraryError for one that can't be."""
    return _read(_note_rows(db, ride_id))


def _note_rows(db: sqlite3.Connection, ride_id: str) -> list[tuple[Any, ...]]:
    return db.execute(
        """SELECT at_s, about, text, written_utc, ride_note.seq, ride.id FROM ride_note JOIN ride ON ride.seq = ride_seq
           WHERE ride.id = ? ORDER BY at_s, ride_note.seq""",
        (ride_id,),
    ).fetchall()


def _read(rows: Sequence[tuple[Any, ...]]) -> list[NoteRow]:
    check_notes(rows, NOTE_COLUMNS)
    return [
        NoteRow(number, at_s, about, text, datetime.fromisoformat(written))
        for at_s, about, text, written, number, _ in rows
    ]


def _written(db: sqlite3.Connection, ride_id: str, number: int) -> NoteRow:
    """One note of a ride. Raises NotInLibrary, LibraryError for one that can't be."""
    note = _note(db, ride_id, number)
    assert note is not None  # noqa: S101 - a damaged one was told
    return note


def _note(db: sqlite3.Connection, ride_id: str, number: int, *, damaged: bool = False) -> NoteRow | None:
    """One note of a ride. Where it may be `damaged`, None says so. Raises NotInLibrary."""
    rows = _note_rows(db, ride_id)
    mine = [row for row in rows if row[4] == number]
    if mine:
        try:
            return _read(mine)[0]
        except LibraryError:
            if not damaged:
                raise
            return None
    numbers = ", ".join(str(row[4]) for row in rows[:12]) + (" and more" if len(rows) > 12 else "")
    raise NotInLibrary(
        f"it has no note {number}",
        where=ride_id,
        expected=f"one of {numbers}" if rows else "a ride with notes",
        to_do=f"`ridelog note {ride_id}` lists them with their numbers",
    )


_LAST_OF_DAY = "SELECT max(CAST(substr(id, 12) AS INTEGER)) FROM complaint WHERE day = ?"


def next_number(db: sqlite3.Connection, subject: str, last: str, *values: str) -> int:
    """A number nobody had: one more than the last given for `subject`, and than the last there is (the query `last`).
    That of something removed is not given again: what somebody wrote down of it must not come to mean another."""
    given = db.execute("SELECT last FROM number_given WHERE subject = ?", (subject,)).fetchone()
    there = db.execute(last, values).fetchone()
    number = 1 + max(int(row[0]) if row is not None and isinstance(row[0], int) else 0 for row in (given, there))
    db.execute("INSERT OR REPLACE INTO number_given (subject, last) VALUES (?, ?)", (subject, number))
    return number
