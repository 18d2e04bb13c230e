"""Ignition tables of the maps: what is read, what is refused and where, and that a library keeps them by itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.bike import Bike, parse_bike, read_bike, with_tables_inside
from ridelog.errors import ProfileError
from ridelog.ignition_table import IgnitionTable, parse_csv
from ridelog.profile_file import parse
from ridelog.store.library import Library

PLAIN = "rpm \\ throttle,0,50,100\n2000,18,20,22\n6000,20,24,22.5\n9000,14,16,15\n"
SOFT = PLAIN.replace("24", "19").replace("16", "11")
TABLE = IgnitionTable((2000.0, 6000.0, 9000.0), (0.0, 50.0, 100.0), ((18, 20, 22), (20, 24, 22.5), (14, 16, 15)))
NAMES = 'ignition_standard = "tables/a.csv"\nignition_conservative = "tables/b.csv"\n'


def bike_file(folder: Path, maps: str = NAMES) -> Path:
    (folder / "tables").mkdir(exist_ok=True)
    (folder / "tables" / "a.csv").write_text(PLAIN)
    (folder / "tables" / "b.csv").write_text(SOFT)
    path = folder / "dune.bike.toml"
    path.write_text(f'schema = 1\nid = "dune"\n[maps]\nconservative_slot = 2\n{maps}[cooling]\ncap_kpa = 100.0\n')
    return path


@pytest.mark.parametrize(
    "text",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t").replace(".", ","),
        PLAIN.replace("\n", ",\n"),
        "# made on the bench\n\n" + PLAIN.replace(",", " , "),
    ],
    ids=["commas", "CR LF", "decimal commas", "tabs", "a separator at the end", "comment and spaces"],
)
def test_forms_of_one_table(text: str) -> None:
    assert parse_csv(text, "a.csv") == TABLE


@pytest.mark.parametrize(
    ("change", "where", "found"),
    [
        (("24", "x4"), "row 3, column 3", "'x4'"),
        (("24", ""), "row 3, column 3", "no figure"),
        (("24", "240"), "row 3, column 3", "'240'"),
        (("24", "nan"), "row 3, column 3", "'nan'"),
        (("24", "1_4"), "row 3, column 3", "'1_4'"),
        (("2000,", "-2000,"), "row 2, column 1", "'-2000'"),
        (("9000,", "6000,"), "column 1", "go from 6000 to 6000"),
        (("50,100", "100,50"), "row 1", "go from 100 to 50"),
        (("50,100", "50,101"), "row 1, column 4", "'101'"),
        ((",24,22.5", ",24"), "row 3", "has 3 cells, the first row 4"),
        (("2000,18,20,22\n6000,20,24,22.5\n", ""), "a.csv", "has 2 lines"),
        ((PLAIN, ""), "a.csv", "has 0 lines"),
        ((PLAIN, "a\nb\nc\n"), "a.csv", "1/min"),
    ],
)
def test_what_is_refused_names_the_place(change: tuple[str, str], where: str, found: str) -> None:
    with pytest.raises(ProfileError) as caught:
        parse_csv(PLAIN.replace(*change), "a.csv")
    text = str(caught.value)
    assert where in text
    assert found in text
    assert caught.value.expected


@pytest.mark.parametrize(
    "name",
    [
        NAMES,
        NAMES.replace('"', "'"),
        '# ignition_standard = "old.csv"\n' + NAMES,
        "# beside\n" + NAMES.replace('.csv"', '.csv"   # measured'),
    ],
)
def test_a_library_keeps_the_tables_by_itself(name: str, tmp_path: Path) -> None:
    path = bike_file(tmp_path, name)
    library = Library.open(tmp_path / "library")
    added = library.add_bike(path)
    for one in (tmp_path / "tables").iterdir():
        one.unlink()
    path.unlink()
    kept = library.bike("dune")
    assert kept == added
    assert (kept.ignition_standard, kept.unread_tables) == (TABLE, ())
    assert kept.ignition_conservative == parse_csv(SOFT, "b")
    # the text of the library is a bike file like any other
    again = tmp_path / "again.bike.toml"
    again.write_text(library.bike_text("dune"))
    assert read_bike(again) == kept


@pytest.mark.parametrize("quotes", ["'''", '"""'])
def test_names_that_stand_where_they_cant_be_replaced_are_refused(quotes: str, tmp_path: Path) -> None:
    names = NAMES.replace('"tables/a.csv"', f"{quotes}tables/a.csv{quotes}")
    with pytest.raises(ProfileError, match="can't be put into the text"):
        Library.open(tmp_path / "library").add_bike(bike_file(tmp_path, names))


def test_tables_inside_the_bike_file() -> None:
    inside = f"[maps]\nignition_standard = {TABLE.as_toml()}\n"
    inside += (
        "[maps.ignition_conservative]\nrpm = [1000, 2000]\nthrottle_pct = [0, 100]\nadvance_deg = [[1, 2], [3, 4]]\n"
    )
    found = parse_bike('schema = 1\nid = "a"\n' + inside, "a")
    assert found.ignition_standard == TABLE
    assert found.ignition_conservative == IgnitionTable((1000.0, 2000.0), (0.0, 100.0), ((1.0, 2.0), (3.0, 4.0)))


@pytest.mark.parametrize(
    ("maps", "says"),
    [
        ("ignition_standard = {rpm = [1, 2], throttle_pct = [0, 9]}", "advance_deg is missing"),
        ("ignition_standard = {rpm=[1,2], throttle_pct=[0,9], advance_deg=[[1,2]]}", "has 1 rows"),
        ("ignition_standard = {rpm=[1,2], throttle_pct=[0,9], advance_deg=[[1,2],[1]]}", "row 2 has 1 figures"),
        ("ignition_standard = {rpm=[1,2], throttle_pct=[0,9], advance_deg=[[1,2],[1,99]]}", "row 2, column 2 is 99"),
        ("ignition_standard = {rpm=[1,2], throttle_pct=[0,9], advance_deg=[[1,2],[1,true]]}", "row 2, column 2"),
        ("ignition_standard = {rpm=[2,1], throttle_pct=[0,9], advance_deg=[[1,2],[1,2]]}", "go from 2 to 1"),
        ("ignition_standard = {rpm=[2,3], throttle_pct=[0,9], advance_deg=[[1,2],[1,2]], deg=1}", "not a known key"),
        ("ignition_standard = 5", "maps.ignition_standard is 5"),
    ],
)
def test_tables_inside_that_are_refused(maps: str, says: str) -> None:
    text = f'schema = 1\nid = "a"\n[maps]\n{maps}\nignition_conservative = {TABLE.as_toml()}\n'
    with pytest.raises(ProfileError) as caught:
        parse_bike(text, "a")
    assert says in str(caught.value)


def test_one_table_alone_or_a_missing_file_is_refused(tmp_path: Path) -> None:
    path = bike_file(tmp_path, 'ignition_standard = "tables/a.csv"\n')
    with pytest.raises(ProfileError, match="stands alone"):
        read_bike(path)
    path = bike_file(tmp_path, NAMES.replace("b.csv", "c.csv"))
    with pytest.raises(ProfileError, match="no such file"):
        read_bike(path)


def test_a_text_of_an_older_library_that_only_names_its_tables_is_still_read() -> None:
    for maps, names in ((NAMES, ("tables/a.csv", "tables/b.csv")), (NAMES.splitlines()[0], ("tables/a.csv",))):
        found: Bike = parse_bike(f'schema = 1\nid = "a"\n[maps]\n{maps}\n', "a")
        assert (found.ignition_standard, found.ignition_conservative) == (None, None)
        assert found.unread_tables == names
        assert with_tables_inside(f'schema = 1\nid = "a"\n[maps]\n{maps}\n', found).count("csv") == len(names)


numbers = st.floats(-20.0, 60.0).map(lambda value: round(value, 12))


@given(st.lists(st.lists(numbers, min_size=3, max_size=3), min_size=2, max_size=5))
def test_a_table_comes_back_from_its_text_digit_by_digit(rows: list[list[float]]) -> None:
    rpm = tuple(1000.0 + 333.3 * n for n in range(len(rows)))
    table = IgnitionTable(rpm, (0.0, 33.4, 100.0), tuple(tuple(row) for row in rows))
    inside = f'schema = 1\nid = "a"\n[maps]\nignition_standard = {table.as_toml()}\nignition_conservative = '
    assert parse_bike(inside + TABLE.as_toml(), "a").ignition_standard == table
    assert parse("a = " + table.as_toml(), "x").has("a")


def test_the_largest_tables_still_fit_into_a_bike_file(tmp_path: Path) -> None:
    def largest(size: int) -> str:
        head = ",".join(str(100.0 * n / size) for n in range(size))
        return f"rpm,{head}\n" + "".join(f"{1000 + 100 * n}," + ",".join(["-12.5"] * size) + "\n" for n in range(size))

    path = bike_file(tmp_path)
    for name in ("a.csv", "b.csv"):
        (tmp_path / "tables" / name).write_text(largest(64))
    library = Library.open(tmp_path / "library")
    kept = library.add_bike(path)
    again = tmp_path / "again.bike.toml"
    again.write_text(library.bike_text("dune"))
    assert read_bike(again) == kept
    with pytest.raises(ProfileError, match="64 at most"):
        parse_csv(largest(65), "a.csv")
