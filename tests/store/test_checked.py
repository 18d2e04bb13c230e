"""A catalogue in which a column holds what ridelog never writes there: every reading either does not need it, or says
which ride, note or case it is, which column, and what puts it right; and that does."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from ridelog.errors import LibraryError, NotInLibrary
from ridelog.store import checked
from ridelog.store.library import Library

BIKE = "enduro-07"
HURT, WHOLE = "ride-00001", "ride-00003"
CASE, OTHER_CASE = "2026-05-02-1", "2026-05-02-2"

WRONG: dict[str, Any] = {
    "a word": "x",
    "nothing": None,
    "bytes": b"\xff\x00",
    "a number": 5,
    "endless": float("inf"),
    "huge": 1e300,
    "below": -1e9,
    "a list of numbers": "[1, 2]",
    "deep": "[" * 100_000,
    "a time without a zone": "2026-05-02T10:00:00",
    "a way out": "../../outside",
}


@pytest.fixture(scope="module")
def made(maker: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two rides of a bike with notes, two cases with a ride each, confirmed columns and a bike file of two texts."""
    folder = tmp_path_factory.mktemp("checked")
    library = Library.open(folder / "library")
    for mass in ("", "[mass]\ntotal_kg = 170\n"):
        library.put_bike(f'schema = 1\nid = "{BIKE}"\n{mass}', "bike.toml")
    maker.stored(library, folder, 1, 3)
    for ride in (HURT, WHOLE):
        library.edit(ride, ambient_c=20.0)
        library.add_note(ride, 2.0, "stop", "gate")
        case = library.open_complaint(BIKE, date(2026, 5, 2), "boils", [(ride, "{}")])
        library.close_complaint(case.id, "fins", "airflow_blocked")
        library.reopen_complaint(case.id)
        library.close_complaint(case.id, "fins again", "airflow_blocked")
    library.confirm_columns(BIKE, "mark", [("Temp", "C")], [("Temp", "coolant_c", "C")])
    return library.root


@pytest.fixture
def filled(made: Path, tmp_path: Path) -> Library:
    """A copy of it."""
    shutil.copytree(made, tmp_path / "filled")
    return Library.open(tmp_path / "filled")


def readings(library: Library) -> list[Callable[[], object]]:
    """All that commands read of rides, notes, cases, columns and files."""
    return [
        lambda: library.list_rides(limit=None),
        lambda: library.list_rides(bike=BIKE),
        lambda: library.row(HURT),
        lambda: library.load(HURT),
        lambda: library.rides_during(datetime(2026, 5, 1, 8, tzinfo=UTC), 60.0),
        library.review_rows,
        lambda: library.review_rows(BIKE),
        lambda: library.ride_marks(BIKE),
        lambda: library.fit_rows(BIKE, ["coolant_c"]),
        lambda: library.part_rows(BIKE, "effect", ["coolant_c"], 40),
        lambda: library.notes_of(HURT),
        library.complaints,
        lambda: library.complaint(CASE),
        lambda: library.column_mappings(BIKE),
        lambda: library.profile_history("bike", BIKE),
        lambda: library.find_by_content(["0" * 64]),
    ]


def told(library: Library) -> list[LibraryError]:
    errors = []
    for read in readings(library):
        try:
            read()
        except LibraryError as error:
            errors.append(error)
    return errors


def damage(library: Library, table: str, column: str, value: Any, where: str) -> bool:
    """Put a value there; False where SQLite itself refuses it."""
    with closing(sqlite3.connect(library.root / "library.sqlite", isolation_level=None)) as db:
        try:
            db.execute(f"UPDATE {table} SET {column} = ? WHERE {where}", (value,))  # noqa: S608 - own names
        except sqlite3.IntegrityError:
            return False
    return True


OF_RIDE, OF_RIDE_TOO = "id = 'ride-00001'", "ride_seq = (SELECT seq FROM ride WHERE id = 'ride-00001')"
OF_CASE = "id = '2026-05-02-1'"
OF_CASE_TOO = "complaint_seq = (SELECT seq FROM complaint WHERE id = '2026-05-02-1')"

PLACES = [
    *(("ride", column, OF_RIDE, HURT) for column in checked.RIDE if column != "id"),
    *(("ride_file", column.name, OF_RIDE_TOO, HURT) for column in checked._FILES),
    *(("ride_note", column, OF_RIDE_TOO, HURT) for column in ("at_s", "about", "text", "written_utc")),
    *(("complaint", column.name, OF_CASE, CASE) for column in checked.CASE if column.name != "id"),
    *(("complaint_ride", column.name, OF_CASE_TOO, CASE) for column in checked.CASE_RIDE),
    *(("complaint_finding", column.name, OF_CASE_TOO, CASE) for column in checked.FOUND_BEFORE),
    *(("header", column.name, "1", BIKE) for column in checked.HEADER),
    *(("column_meaning", column.name, "1", BIKE) for column in checked.MEANING),
    *(("profile", column.name, "1", BIKE) for column in checked.PROFILE),
]


def mend(library: Library, table: str, column: str) -> None:
    """Do what the message says."""
    if table == "ride" and column == "start_utc":
        library.edit(HURT, start_utc=datetime(2026, 5, 1, 8, tzinfo=UTC))
    elif table == "ride" and column == "ambient_c":
        library.edit(HURT, ambient_c=21.0)
    elif table == "ride" and column == "bike":
        library.edit(HURT, bike=BIKE)
    elif table in ("ride", "ride_file"):
        library.remove(HURT)
    elif table == "ride_note":
        assert library.remove_note(HURT, 1) is None
    elif table.startswith("complaint"):
        library.drop_complaint(library.complaint_id(CASE))
    elif table in ("header", "column_meaning"):
        library.forget_columns(BIKE)


@pytest.mark.parametrize("place", PLACES, ids=lambda place: f"{place[0]} {place[1]}")
def test_what_is_damaged_is_named_and_can_be_mended(
    made: Path, tmp_path: Path, place: tuple[str, str, str, str]
) -> None:
    table, column, where, name = place
    damaged = 0
    for number, value in enumerate(WRONG.values()):
        shutil.copytree(made, tmp_path / str(number))
        library = Library.open(tmp_path / str(number))
        if not damage(library, table, column, value, where):
            continue
        errors = told(library)
        for error in errors:
            if "differs from what the import wrote" in error.found:
                continue  # another hash in the catalogue
            assert name in error.where
            assert f"column {column} holds" in error.found
            assert error.expected
            assert "library.sqlite" in error.to_do or "ridelog" in error.to_do
            assert len(error.one_line()) < 500
        damaged += bool(errors)
        if errors and table != "profile":
            mend(library, table, column)
            # `HURT` and `CASE` may be gone: that is another answer, and none of damage.
            for read in readings(library):
                try:
                    read()
                except NotInLibrary:
                    continue
    assert damaged or column == "condition"  # which SQLite itself keeps


@pytest.mark.parametrize(
    ("place", "value", "to_do"),
    [
        (("ride", "start_utc", OF_RIDE), "x", f"ridelog edit {HURT} --start"),
        (("ride", "ambient_c", OF_RIDE), float("inf"), f"ridelog edit {HURT} --ambient"),
        (("ride", "channels", OF_RIDE), "[", f"ridelog remove {HURT}"),
        (("ride", "duration_s", OF_RIDE), "x", f"ridelog remove {HURT}"),
        (("ride_file", "name", OF_RIDE_TOO), b"\xff", f"ridelog remove {HURT}"),
        (("ride_note", "written_utc", OF_RIDE_TOO), "x", f"ridelog note {HURT} --remove 1"),
        (("ride_note", "at_s", OF_RIDE_TOO), 1e300, f"ridelog note {HURT} --remove 1"),
        (("complaint", "day", OF_CASE), "x", f"ridelog case drop {CASE}"),
        (("complaint_ride", "frozen_utc", OF_CASE_TOO), "never", f"ridelog case drop {CASE}"),
        (("complaint_finding", "closed_utc", OF_CASE_TOO), "x", f"ridelog case drop {CASE}"),
        (("column_meaning", "confirmed_utc", "1"), "x", f"ridelog bikes forget-columns {BIKE}"),
        (("profile", "added_utc", "1"), "x", "put back a saved copy"),
    ],
)
def test_damage_is_found_and_what_helps_is_said(
    filled: Library, place: tuple[str, str, str], value: object, to_do: str
) -> None:
    table, column, where = place
    damage(filled, table, column, value, where)
    assert any(to_do in error.to_do for error in told(filled))


def test_a_ride_whose_id_leads_elsewhere_touches_nothing_there(filled: Library) -> None:
    outside = filled.root.parent / "outside.parquet"
    outside.write_bytes(b"mine")
    assert damage(filled, "ride", "id", "../../outside", OF_RIDE)
    with pytest.raises(LibraryError, match=r"column id holds '\.\./\.\./outside'"):
        filled.list_rides()
    with pytest.raises(NotInLibrary):
        filled.remove("../../outside")
    with pytest.raises(LibraryError):
        filled.load("../../outside")
    assert outside.read_bytes() == b"mine"
    assert filled.row(WHOLE).id == WHOLE


def test_two_damaged_facts_are_put_right_one_after_the_other(filled: Library) -> None:
    damage(filled, "ride", "start_utc", "x", OF_RIDE)
    damage(filled, "ride", "ambient_c", "hot", OF_RIDE)
    with pytest.raises(LibraryError, match="ambient_c"):
        filled.edit(HURT, start_utc=datetime(2026, 5, 1, 8, tzinfo=UTC))
    assert filled.edit(HURT, ambient_c=20.0).ambient_c == 20.0
    assert told(filled) == []
