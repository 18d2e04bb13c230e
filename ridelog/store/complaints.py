"""Complaints as they stand in the catalogue."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from ridelog.errors import NotInLibrary, UsageError
from ridelog.store.checked import CASE, CASE_RIDE, FOUND_BEFORE, check_case


@dataclass(frozen=True)
class FrozenRide:
    """A ride of a complaint and what was found of it then, a JSON document; whoever reads it looks at it, for what
    stands in the catalogue can be damaged. The ride may be gone from the library."""

    ride: str
    findings: str
    frozen_utc: datetime


@dataclass(frozen=True)
class FoundBefore:
    """What a workshop had found when a complaint was opened again."""

    workshop: str
    cause: str | None
    closed_utc: datetime
    reopened_utc: datetime


@dataclass(frozen=True)
class ComplaintRow:
    """A complaint. `said` are the customer's words; `workshop` what was found in the end and `cause` the same as a name
    of the diagnosis, None while it is open (`cause` also where none was given)."""

    id: str
    bike: str | None
    day: date
    said: str
    opened_utc: datetime
    closed_utc: datetime | None
    workshop: str | None
    cause: str | None
    rides: tuple[FrozenRide, ...]
    found_before: tuple[FoundBefore, ...] = ()

    @property
    def is_closed(self) -> bool:
        """True once it is written down what the workshop found."""
        return self.closed_utc is not None


def read(db: sqlite3.Connection, condition: str = "1", values: Sequence[str] = ()) -> list[ComplaintRow]:
    """Complaints that meet a condition, the latest day first. Raises LibraryError for a row that can't be."""
    found = db.execute(
        f"""SELECT id, bike, day, said, opened_utc, closed_utc, workshop, cause, seq FROM complaint
            WHERE {condition} ORDER BY day DESC, seq DESC""",  # noqa: S608 - own text
        values,
    ).fetchall()
    check_case(found, CASE)
    return [
        ComplaintRow(
            id=name,
            bike=bike,
            day=date.fromisoformat(day),
            said=said,
            opened_utc=datetime.fromisoformat(opened),
            closed_utc=datetime.fromisoformat(closed) if closed is not None else None,
            workshop=workshop,
            cause=cause,
            rides=_rides(db, seq, name),
            found_before=_before(db, seq, name),
        )
        for name, bike, day, said, opened, closed, workshop, cause, seq in found
    ]


def _rides(db: sqlite3.Connection, seq: int, case: str) -> tuple[FrozenRide, ...]:
    query = "SELECT ride, frozen_utc, findings FROM complaint_ride WHERE complaint_seq = ? ORDER BY position"
    rows = db.execute(query, (seq,)).fetchall()
    check_case(rows, CASE_RIDE, case)
    return tuple(FrozenRide(ride, findings, datetime.fromisoformat(frozen)) for ride, frozen, findings in rows)


def _before(db: sqlite3.Connection, seq: int, case: str) -> tuple[FoundBefore, ...]:
    query = """SELECT workshop, cause, closed_utc, reopened_utc FROM complaint_finding
               WHERE complaint_seq = ? ORDER BY position"""
    rows = db.execute(query, (seq,)).fetchall()
    check_case(rows, FOUND_BEFORE, case)
    return tuple(
        FoundBefore(workshop, cause, datetime.fromisoformat(closed), datetime.fromisoformat(reopened))
        for workshop, cause, closed, reopened in rows
    )


def seq_of(db: sqlite3.Connection, complaint: str, *, closed: bool | None = None) -> tuple[int, str | None]:
    """Row number and bike of a complaint by its whole id; `closed` tells which it must be. Raises NotInLibrary,
    UsageError."""
    row = db.execute("SELECT seq, bike, closed_utc FROM complaint WHERE id = ?", (complaint,)).fetchone()
    if row is None:
        raise no_such(db, complaint, [])
    if closed is not None and closed != (row[2] is not None):
        raise UsageError(
            "it is open" if closed else f"it was closed on {str(row[2])[:10]}, with what the workshop found",
            where=f"case {complaint}",
            expected="a closed case" if closed else "an open case",
            to_do=f"close it first: ridelog case close {complaint} --found TEXT"
            if closed
            else f"open it again first: ridelog case reopen {complaint}",
        )
    return int(row[0]), row[1]


def case_id(db: sqlite3.Connection, text: str) -> str:
    """The id of the one complaint whose id is `text` or starts with it. Raises NotInLibrary."""
    if db.execute("SELECT 1 FROM complaint WHERE id = ?", (text,)).fetchone():
        return text
    query = "SELECT id FROM complaint WHERE id >= ? AND id < ? ORDER BY day DESC, seq DESC"
    found = [str(name) for (name,) in db.execute(query, (text, text + "\U0010ffff"))] if text else []
    if len(found) == 1:
        return found[0]
    raise no_such(db, text, found)


def no_such(db: sqlite3.Connection, text: str, several: Sequence[str]) -> NotInLibrary:
    """No complaint, or several, of that id."""
    if several:
        return NotInLibrary(
            f"{text!r} could be several cases: {', '.join(several[:5])}{' and more' if len(several) > 5 else ''}",
            expected="an id, or so much of its start that it fits one case",
            to_do="type more of the id",
        )
    latest = [name for (name,) in db.execute("SELECT id FROM complaint ORDER BY day DESC, seq DESC LIMIT 3")]
    return NotInLibrary(
        f"there is no case {text!r}",
        expected=f"a case such as {', '.join(latest)}" if latest else "the id of a case",
        to_do="`ridelog case list` lists them"
        if latest
        else "open one first: ridelog case open --bike BIKE --said TEXT",
    )
