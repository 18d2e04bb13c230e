"""Versions of the catalogue: from every earlier one to today's, never from a newer one."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path
from types import ModuleType

import pytest

from ridelog.errors import LibraryError
from ridelog.store import catalogue, schema
from ridelog.store.library import Library


def test_a_blank_catalogue_becomes_one_of_today(tmp_path: Path) -> None:
    root = tmp_path / "library"
    root.mkdir()
    (root / "library.sqlite").touch()
    library = Library.open(root)
    assert library.list_rides() == []
    with library._catalogue.read() as db:
        assert schema.version_of(db) == schema.VERSION
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_newer_catalogue_is_refused_and_not_changed(library: Library) -> None:
    path = library.root / "library.sqlite"
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(LibraryError, match="newer ridelog") as caught:
        Library.open(library.root)
    assert "update ridelog" in caught.value.to_do
    assert path.read_bytes() == before


def test_a_database_of_another_program_is_refused(tmp_path: Path) -> None:
    root = tmp_path / "library"
    root.mkdir()
    with closing(sqlite3.connect(root / "library.sqlite")) as db:
        db.execute("CREATE TABLE song (title TEXT)")
    with pytest.raises(LibraryError, match="another program"):
        Library.open(root)


NEXT = schema.Migration(schema.VERSION + 1, "a column for the weather", ("ALTER TABLE ride ADD COLUMN weather TEXT",))
BROKEN = schema.Migration(
    schema.VERSION + 2,
    "a step that fails half-way",
    ("ALTER TABLE ride ADD COLUMN wind TEXT", "ALTER TABLE no_table ADD COLUMN x"),
)


@pytest.mark.parametrize("start", range(schema.VERSION + 1))
def test_every_earlier_version_can_be_upgraded(start: int, tmp_path: Path, maker: ModuleType) -> None:
    """From each version there was, filled as far as it can be, to one beyond today's; rides stay."""
    path = tmp_path / "library.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        schema.upgrade(db, path, schema.MIGRATIONS[:start])
        assert schema.version_of(db) == start
        if start >= 1:
            catalogue.insert_ride(db, maker.ride(1, rows=2), 1, "0" * 64)
        schema.upgrade(db, path, [*schema.MIGRATIONS, NEXT])
        assert schema.version_of(db) == NEXT.to
        rows = db.execute("SELECT id, weather FROM ride").fetchall()
        assert rows == ([("ride-00001", None)] if start >= 1 else [])
        schema.upgrade(db, path, [*schema.MIGRATIONS, NEXT])  # again: nothing to do


def test_a_failing_migration_changes_nothing(library: Library) -> None:
    path = library.root / "library.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        with pytest.raises(sqlite3.OperationalError):
            schema.upgrade(db, path, [*schema.MIGRATIONS, NEXT, BROKEN])
        assert schema.version_of(db) == NEXT.to
        columns = {name for (_, name, *_) in db.execute("PRAGMA table_info(ride)")}
        assert "weather" in columns
        assert "wind" not in columns


@pytest.mark.parametrize("start", range(5, schema.VERSION))
def test_numbers_given_before_are_not_given_again_after_an_upgrade(
    start: int, tmp_path: Path, maker: ModuleType
) -> None:
    """Notes and cases of an earlier version count as given; one removed afterwards leaves its number unused."""
    root = tmp_path / "library"
    root.mkdir()
    path = root / "library.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        schema.upgrade(db, path, schema.MIGRATIONS[:start])
        catalogue.insert_ride(db, maker.ride(1, rows=2), 1, "0" * 64)
        for number in (3, 9):
            db.execute("INSERT INTO ride_note VALUES (?, 1, 0.0, 'other', 'x', '2026-05-02T10:00:00+00:00')", (number,))
            db.execute(
                "INSERT INTO complaint (id, bike, day, said, opened_utc) VALUES (?, 'enduro-07', '2026-05-02', 'x', ?)",
                (f"2026-05-02-{number}", "2026-05-02T10:00:00+00:00"),
            )
    library = Library.open(root)
    library.put_bike('schema = 1\nid = "enduro-07"\n', "bike.toml")
    library.remove_note("ride-00001", 9)
    library.drop_complaint("2026-05-02-9")
    assert library.add_note("ride-00001", 0.0, "other", "y").number == 10
    assert library.open_complaint("enduro-07", date(2026, 5, 2), "y").id == "2026-05-02-10"
    assert library.open_complaint("enduro-07", date(2026, 5, 3), "y").id == "2026-05-03-1"
