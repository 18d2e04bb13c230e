"""What users confirmed of columns, in the catalogue."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from ridelog.store import mappings, schema
from ridelog.store.library import Library

COLUMNS = (("Speed", None), ("Time", "s"))
BIKE = 'schema = 1\nid = "enduro-07"\n'


def meanings(library: Library, bike: str = "enduro-07") -> dict[str, tuple[str, str | None]]:
    return {
        one.column: (one.channel, one.unit) for mapping in library.column_mappings(bike) for one in mapping.meanings
    }


def test_what_is_confirmed_comes_back(library: Library) -> None:
    library.confirm_columns(
        "enduro-07", "a" * 64, COLUMNS, [("Speed", "gps_speed_mps", "km/h"), ("Time", "time", None)]
    )
    (mapping,) = library.column_mappings("enduro-07")
    assert (mapping.header, mapping.columns) == ("a" * 64, COLUMNS)
    assert meanings(library) == {"Speed": ("gps_speed_mps", "km/h"), "Time": ("time", None)}
    assert all(one.confirmed_utc.tzinfo is not None for one in mapping.meanings)
    assert library.column_mappings("enduro-08") == []


def test_a_column_confirmed_again_is_replaced_and_the_others_stay(library: Library) -> None:
    library.confirm_columns("enduro-07", "a" * 64, COLUMNS, [("Speed", "gps_speed_mps", "km/h"), ("Time", "time", "s")])
    library.confirm_columns("enduro-07", "a" * 64, COLUMNS, [("Speed", "raw", None)])
    library.confirm_columns("enduro-07", "b" * 64, COLUMNS[:1], [("Speed", "wheel_speed_mps", "mph")])
    first, second = library.column_mappings("enduro-07")
    assert {one.column: one.channel for one in first.meanings} == {"Speed": "raw", "Time": "time"}
    assert [one.channel for one in second.meanings] == ["wheel_speed_mps"]


def test_forgetting_is_of_one_bike(library: Library) -> None:
    for bike in ("enduro-07", "enduro-08"):
        library.confirm_columns(bike, "a" * 64, COLUMNS, [("Speed", "gps_speed_mps", "km/h")])
    assert library.forget_columns("enduro-07") == 1
    assert library.forget_columns("enduro-07") == 0
    assert meanings(library) == {}
    assert meanings(library, "enduro-08") == {"Speed": ("gps_speed_mps", "km/h")}
    with library._catalogue.read() as db:
        assert db.execute("SELECT count(*) FROM column_meaning").fetchone() == (1,)


def test_a_bike_file_that_is_replaced_leaves_them(library: Library, tmp_path: Path) -> None:
    path = tmp_path / "a.bike.toml"
    path.write_text(BIKE)
    library.add_bike(path)
    library.confirm_columns("enduro-07", "a" * 64, COLUMNS, [("Speed", "gps_speed_mps", "km/h")])
    path.write_text(BIKE + "[mass]\ntotal_kg = 180.0\n")
    library.add_bike(path)
    assert meanings(library) == {"Speed": ("gps_speed_mps", "km/h")}


def test_a_catalogue_of_the_version_before_gets_the_tables(tmp_path: Path) -> None:
    root = tmp_path / "library"
    root.mkdir()
    path = root / "library.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as db:
        schema.upgrade(db, path, schema.MIGRATIONS[:1])
    library = Library.open(root)
    library.confirm_columns("enduro-07", "a" * 64, COLUMNS, [("Speed", "gps_speed_mps", "km/h")])
    assert meanings(Library.open(root)) == {"Speed": ("gps_speed_mps", "km/h")}


@given(
    name=st.text(st.characters(exclude_categories=("Cs",))),
    unit=st.none() | st.text(st.characters(exclude_categories=("Cs",))),
)
def test_any_name_and_unit_can_be_kept(name: str, unit: str | None) -> None:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        schema.upgrade(db, Path("memory"))
        mappings.put(db, "b", "h", [(name, unit)], [(name, "raw", unit)])
        (mapping,) = mappings.of_bike(db, "b")
        assert mapping.columns == ((name, unit),)
        assert [(one.column, one.unit) for one in mapping.meanings] == [(name, unit)]
