"""Complaints as they stand in the catalogue."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from ridelog.errors import NotInLibrary, UsageError


@dataclass(frozen=True)
class FrozenRide:
    """A ride of a complaint and what was found of it then, a JSON document. The ride may be gone from the library."""

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
    """Complaints that meet a condition, the latest day first."""
    found = db.execute(
        f"""SELECT seq, id, bike, day, said, opened_utc, closed_utc, workshop, cause FROM complaint
            WHERE {condition} ORDER BY day DESC, seq DESC""",  # noqa: S608 - own text
        values,
    ).fetchall()
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
            rides=_rides(db, seq),
            found_before=_before(db, seq),
        )
        for seq, name, bike, day, said, opened, closed, workshop, cause in found
    ]


def _rides(db: sqlite3.Connection, seq: int) -> tuple[FrozenRide, ...]:
    query = "SELECT ride, findings, frozen_utc FROM complaint_ride WHERE complaint_seq = ? ORDER BY position"
    return tuple(
        FrozenRide(ride, findings, datetime.fromisoformat(frozen))
        for ride, findings, frozen in db.execute(query, (seq,))
    )


def _before(db: sqlite3.Connection, seq: int) -> tuple[FoundBefore, ...]:
    query = """SELECT workshop, cause, closed_utc, reopened_utc FROM complaint_finding
               WHERE complaint_seq = ? ORDER BY position"""
    return tuple(
        FoundBefore(workshop, cause, datetime.fromisoformat(closed), datetime.fromisoformat(reopened))
        for workshop, cause, closed, reopened in db.execute(query, (seq,))
    )


def seq_of(db: sqlite3.Connection, complaint: str, *, closed: bool | None = None) -> tuple[int, str | None]:
    """Row number and bike of a complaint by its whole id; `closed` tells which it must be. Raises NotInLibrary,
    UsageError."""
    row = db.execute("SELECT seq, bike, closed_utc FROM complaint WHERE id = ?", (complaint,)).fetchone()
    if row is None:
        raise no_such(db, complaint, [])
    if closed is not None and closed != (row[2] is not None):
        raise UsageError(
            "it is open" if closed else f"it was closed on {row[2][:10]}, with what the workshop found",
            where=f"case {complaint}",
            expected="a closed case" if closed else "an open case",
            to_do=f"close it first: ridelog case close {complaint} --found TEXT"
            if closed
            else f"open it again first: ridelog case reopen {complaint}",
        )
    return int(row[0]), row[1]


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
