"""Bike files and advice sheets in the catalogue: the text in use, and every text it replaced."""

from __future__ import annotations

import difflib
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from ridelog.errors import NotInLibrary
from ridelog.store.catalogue import now_utc
from ridelog.store.checked import PROFILE, check_profiles

Kind = Literal["bike", "advice"]

_WORDS: dict[Kind, tuple[str, str]] = {
    "bike": ("bike", "`ridelog bikes` lists them; `ridelog bikes add FILE` adds one"),
    "advice": ("advice sheet", "`ridelog advice` lists them; `ridelog advice add FILE` adds one"),
}


def texts(db: sqlite3.Connection, kind: Kind) -> list[tuple[str, str]]:
    """Name and text of all in use, by name."""
    query = "SELECT name, text FROM profile WHERE kind = ? AND replaced_utc IS NULL ORDER BY name"
    return [(str(name), str(text)) for name, text in db.execute(query, (kind,))]


def text_of(db: sqlite3.Connection, kind: Kind, name: str) -> str:
    """The text in use under a name. Raises NotInLibrary that names near ones."""
    query = "SELECT text FROM profile WHERE kind = ? AND name = ? AND replaced_utc IS NULL"
    row = db.execute(query, (kind, name)).fetchone()
    if row:
        return str(row[0])
    known = [known for known, _ in texts(db, kind)]
    near = difflib.get_close_matches(name, known, n=3, cutoff=0.5) or known[:3]
    word, to_do = _WORDS[kind]
    raise NotInLibrary(
        f"the library has no {word} {name!r}",
        expected=f"one of {', '.join(near)}" if near else f"a library with {word}s in it",
        to_do=to_do,
    )


@dataclass(frozen=True)
class Version:
    """A text a bike or a sheet had, from when on, and until when; None where it is in use."""

    text: str
    added: datetime
    replaced: datetime | None


def history(db: sqlite3.Connection, kind: Kind, name: str) -> list[Version]:
    """All texts of a name, the latest first. Raises LibraryError for a row that can't be."""
    query = "SELECT text, added_utc, replaced_utc FROM profile WHERE kind = ? AND name = ? ORDER BY seq DESC"
    rows = db.execute(query, (kind, name)).fetchall()
    check_profiles(rows, PROFILE, f"{_WORDS[kind][0]} {name}")
    return [
        Version(text, datetime.fromisoformat(added), datetime.fromisoformat(replaced) if replaced else None)
        for text, added, replaced in rows
    ]


def put(db: sqlite3.Connection, kind: Kind, name: str, text: str) -> None:
    """Put a text in use; the one before it is kept as history. The same text again changes nothing."""
    query = "SELECT seq, text FROM profile WHERE kind = ? AND name = ? AND replaced_utc IS NULL"
    row = db.execute(query, (kind, name)).fetchone()
    if row and row[1] == text:
        return
    now = now_utc()
    if row:
        db.execute("UPDATE profile SET replaced_utc = ? WHERE seq = ?", (now, row[0]))
    db.execute("INSERT INTO profile (kind, name, text, added_utc) VALUES (?, ?, ?, ?)", (kind, name, text, now))
