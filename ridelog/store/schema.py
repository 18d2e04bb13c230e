"""The catalogue's tables, and how a catalogue of an earlier version becomes one of today.

`PRAGMA user_version` holds the version. Each migration is one transaction: it happens whole or not at all, and two
programs that start at once apply it once.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ridelog.errors import LibraryError

APPLICATION_ID = 0x52494445
"""Marks an SQLite file as a catalogue of ridelog ("RIDE")."""


@dataclass(frozen=True)
class Migration:
    """Statements that lead from version `to - 1` to version `to`."""

    to: int
    name: str
    statements: tuple[str, ...]


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        1,
        "rides, their files, bikes and advice sheets",
        (
            # `seq` gives the order of import; `channels` is a JSON list; `content` the sorted hashes of the files.
            """CREATE TABLE ride (
                seq INTEGER PRIMARY KEY,
                id TEXT NOT NULL UNIQUE,
                bike TEXT,
                ambient_c REAL,
                start_utc TEXT,
                condition TEXT NOT NULL CHECK (condition IN ('healthy', 'faulty', 'unknown')),
                timezone TEXT,
                duration_s REAL NOT NULL CHECK (duration_s >= 0),
                distance_m REAL,
                peak_c REAL,
                channels TEXT NOT NULL,
                content TEXT NOT NULL,
                stored_bytes INTEGER NOT NULL,
                stored_sha256 TEXT NOT NULL,
                added_utc TEXT NOT NULL
            )""",
            "CREATE INDEX ride_newest ON ride (start_utc DESC, seq DESC)",
            "CREATE INDEX ride_of_bike ON ride (bike, start_utc DESC, seq DESC)",
            "CREATE INDEX ride_content ON ride (content)",
            """CREATE TABLE ride_file (
                ride_seq INTEGER NOT NULL REFERENCES ride (seq) ON DELETE CASCADE,
                position INTEGER NOT NULL,
                sha256 TEXT NOT NULL,
                name TEXT NOT NULL,
                size_bytes INTEGER NOT NULL,
                format TEXT NOT NULL,
                PRIMARY KEY (ride_seq, position)
            ) WITHOUT ROWID""",
            "CREATE INDEX ride_file_hash ON ride_file (sha256)",
            # Replaced texts stay: an old result can still be explained.
            """CREATE TABLE profile (
                seq INTEGER PRIMARY KEY,
                kind TEXT NOT NULL CHECK (kind IN ('bike', 'advice')),
                name TEXT NOT NULL,
                text TEXT NOT NULL,
                added_utc TEXT NOT NULL,
                replaced_utc TEXT
            )""",
            "CREATE UNIQUE INDEX profile_in_use ON profile (kind, name) WHERE replaced_utc IS NULL",
        ),
    ),
    Migration(
        2,
        "what users confirmed of the columns of a bike's logs",
        (
            # `columns` is a JSON list of names and units; a bike is known by its id, whatever becomes of its file.
            """CREATE TABLE header (
                seq INTEGER PRIMARY KEY,
                bike TEXT NOT NULL,
                fingerprint TEXT NOT NULL,
                columns TEXT NOT NULL,
                UNIQUE (bike, fingerprint)
            )""",
            """CREATE TABLE column_meaning (
                header_seq INTEGER NOT NULL REFERENCES header (seq) ON DELETE CASCADE,
                name TEXT NOT NULL,
                channel TEXT NOT NULL,
                unit TEXT,
                confirmed_utc TEXT NOT NULL,
                PRIMARY KEY (header_seq, name)
            ) WITHOUT ROWID""",
        ),
    ),
    Migration(
        3,
        "the longest ride at once",
        # How far back a ride may have begun that is still going on at a moment.
        ("CREATE INDEX ride_length ON ride (duration_s)",),
    ),
    Migration(
        4,
        "each ride's own fit of the heat balance, for other rides of the bike to go by",
        (
            # `basis` is a hash over all the fit rests on: a row of another basis is as good as none.
            """CREATE TABLE heat_fit (
                ride_seq INTEGER PRIMARY KEY REFERENCES ride (seq) ON DELETE CASCADE,
                basis TEXT NOT NULL,
                reason TEXT,
                numbers BLOB,
                made_utc TEXT NOT NULL,
                CHECK ((reason IS NULL) <> (numbers IS NULL))
            )""",
        ),
    ),
    Migration(
        5,
        "notes on a ride's time line, and complaints",
        (
            # `at_s` counts from the ride's first sample; `about` is what the note speaks of, as whoever wrote it said.
            """CREATE TABLE ride_note (
                seq INTEGER PRIMARY KEY,
                ride_seq INTEGER NOT NULL REFERENCES ride (seq) ON DELETE CASCADE,
                at_s REAL NOT NULL CHECK (at_s >= 0),
                about TEXT NOT NULL,
                text TEXT NOT NULL,
                written_utc TEXT NOT NULL
            )""",
            "CREATE INDEX ride_note_of_ride ON ride_note (ride_seq, at_s)",
            # `workshop` is what was found in the end, in words, `cause` the same as a name of the diagnosis.
            """CREATE TABLE complaint (
                seq INTEGER PRIMARY KEY,
                id TEXT NOT NULL UNIQUE,
                bike TEXT,
                day TEXT NOT NULL,
                said TEXT NOT NULL,
                opened_utc TEXT NOT NULL,
                closed_utc TEXT,
                workshop TEXT,
                cause TEXT,
                CHECK ((closed_utc IS NULL) = (workshop IS NULL))
            )""",
            # A ride may be removed from the library; what was found of it then stays. `findings` is a JSON document.
            """CREATE TABLE complaint_ride (
                complaint_seq INTEGER NOT NULL REFERENCES complaint (seq) ON DELETE CASCADE,
                position INTEGER NOT NULL,
                ride TEXT NOT NULL,
                findings TEXT NOT NULL,
                frozen_utc TEXT NOT NULL,
                PRIMARY KEY (complaint_seq, position),
                UNIQUE (complaint_seq, ride)
            ) WITHOUT ROWID""",
        ),
    ),
    Migration(
        6,
        "results of many rides, and what was estimated over rides, kept for a review",
        (
            # As with a fit: `basis` is a hash over all that the document rests on.
            """CREATE TABLE kept_result (
                ride_seq INTEGER PRIMARY KEY REFERENCES ride (seq) ON DELETE CASCADE,
                basis TEXT NOT NULL,
                document TEXT NOT NULL,
                made_utc TEXT NOT NULL
            )""",
            # What a ride gives to an estimate over rides, and estimates themselves by what they are of.
            """CREATE TABLE kept_part (
                ride_seq INTEGER NOT NULL REFERENCES ride (seq) ON DELETE CASCADE,
                kind TEXT NOT NULL,
                basis TEXT NOT NULL,
                numbers BLOB NOT NULL,
                made_utc TEXT NOT NULL,
                PRIMARY KEY (ride_seq, kind)
            ) WITHOUT ROWID""",
            """CREATE TABLE kept_estimate (
                subject TEXT PRIMARY KEY,
                basis TEXT NOT NULL,
                document TEXT NOT NULL,
                made_utc TEXT NOT NULL
            ) WITHOUT ROWID""",
        ),
    ),
    Migration(
        7,
        "what a workshop found before a complaint was opened again",
        (
            """CREATE TABLE complaint_finding (
                complaint_seq INTEGER NOT NULL REFERENCES complaint (seq) ON DELETE CASCADE,
                position INTEGER NOT NULL,
                workshop TEXT NOT NULL,
                cause TEXT,
                closed_utc TEXT NOT NULL,
                reopened_utc TEXT NOT NULL,
                PRIMARY KEY (complaint_seq, position)
            ) WITHOUT ROWID""",
        ),
    ),
    Migration(
        8,
        "numbers of notes and cases, so that those of removed ones are not given again",
        (
            # `subject` is "note", or "case" with its day; the numbers there are when this comes are taken as given.
            """CREATE TABLE number_given (
                subject TEXT PRIMARY KEY,
                last INTEGER NOT NULL CHECK (last >= 0)
            ) WITHOUT ROWID""",
            "INSERT INTO number_given SELECT 'note', coalesce(max(seq), 0) FROM ride_note",
            """INSERT INTO number_given SELECT 'case ' || day, max(CAST(substr(id, 12) AS INTEGER)) FROM complaint
               WHERE typeof(day) = 'text' GROUP BY day""",
        ),
    ),
)

VERSION = MIGRATIONS[-1].to
"""The catalogue version this code reads and writes."""


def version_of(db: sqlite3.Connection) -> int:
    """The catalogue's version; 0 for a blank file."""
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)


def check_is_ours(db: sqlite3.Connection, where: Path, newest: int = VERSION) -> int:
    """The catalogue's version. Raises LibraryError for a database of something else or of a newer ridelog."""
    version = version_of(db)
    (application,) = db.execute("PRAGMA application_id").fetchone()
    (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if application != APPLICATION_ID and (version or application or tables):
        raise LibraryError(
            "is a database of another program",
            where=str(where),
            expected="a catalogue made by ridelog",
            to_do="name another folder with --library",
        )
    if version > newest:
        raise LibraryError(
            f"was written by a newer ridelog (catalogue version {version}, this one knows {newest})",
            where=str(where),
            expected=f"version {newest} or earlier",
            to_do="update ridelog, or name another library with --library; nothing was changed",
        )
    return version


def upgrade(db: sqlite3.Connection, where: Path, migrations: Sequence[Migration] = MIGRATIONS) -> None:
    """Apply the migrations the catalogue has not seen. Each is one transaction; a failing one changes nothing."""
    for migration in migrations:
        db.execute("BEGIN IMMEDIATE")
        try:
            if version_of(db) < migration.to:
                for statement in migration.statements:
                    db.execute(statement)
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                db.execute(f"PRAGMA user_version = {migration.to}")
            db.execute("COMMIT")
        except BaseException as error:
            if db.in_transaction:
                db.execute("ROLLBACK")
            if isinstance(error, sqlite3.OperationalError):
                error.add_note(f"migration {migration.to} of {where}: {migration.name}")
            raise
