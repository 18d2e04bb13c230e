"""The library: storing, listing, editing, removing, and trouble told in words."""

from __future__ import annotations

import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ridelog.errors import InputRefused, LibraryError, NotInLibrary, ProfileError, UsageError
from ridelog.store import catalogue, incoming, parquet
from ridelog.store.library import Library

BIKE = 'schema = 1\nid = "enduro-07"\n[mass]\ntotal_kg = {kg}\n'
SHEET = 'schema = 1\nversion = "{version}"\nvalid_from = {day}\n'


# -- storing ----------------------------------------------------------------------------------------------------------


def test_a_stored_ride_is_the_same_ride(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    path = maker.original(tmp_path, 3)
    ride = maker.ride(3, path)
    assert library.add(ride, [path]) == "stored"
    assert library.add(ride, [path]) == "already_stored"
    back = library.load(ride.id)
    assert back.samples.equals(ride.samples)
    assert replace(back, samples=ride.samples) == ride
    sha256 = ride.sources[0].sha256
    assert library.find_by_content([sha256]) == [ride.id]
    kept = library.original(sha256)
    assert kept is not None
    assert kept.read_bytes() == path.read_bytes()
    assert "log 3" not in "".join(maker.files_of(library)), (
        "a name can hold private data; it stands in the catalogue only"
    )


def test_content_is_the_exact_set_of_files(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    one, two = maker.original(tmp_path, 1), maker.original(tmp_path, 2)
    together = maker.ride(1, one, two)
    library.add(together, [one, two])
    hashes = [source.sha256 for source in together.sources]
    assert library.find_by_content(hashes) == library.find_by_content(hashes[::-1]) == ["ride-00001"]
    assert library.find_by_content(hashes[:1]) == []
    assert library.find_by_content([*hashes, "0" * 64]) == []


def test_several_rides_share_an_original_until_the_last_goes(
    library: Library, maker: ModuleType, tmp_path: Path
) -> None:
    path = maker.original(tmp_path, 1)
    for number in (1, 2):
        library.add(maker.ride(number, path), [path])
    sha256 = maker.ride(1, path).sources[0].sha256
    assert library.find_by_content([sha256]) == ["ride-00001", "ride-00002"]
    library.remove("ride-00001")
    assert library.original(sha256) is not None
    assert library.load("ride-00002").id == "ride-00002"
    library.remove("ride-00002")
    assert library.original(sha256) is None
    assert maker.files_of(library) == set()
    with pytest.raises(NotInLibrary):
        library.remove("ride-00002")


def test_a_source_that_changed_is_refused(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    path = maker.original(tmp_path, 1)
    ride = maker.ride(1, path)
    path.write_text("still growing", encoding="utf-8")
    with pytest.raises(InputRefused, match="changed while"):
        library.add(ride, [path])
    path.unlink()
    with pytest.raises(InputRefused, match="can't be read"):
        library.add(ride, [path])
    assert library.list_rides() == []
    assert maker.files_of(library) == set()


def test_a_ride_without_matching_originals_is_our_fault(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    path = maker.original(tmp_path, 1)
    ride = maker.ride(1, path)
    for wrong, given_ in ((ride, []), (replace(ride, id="../x"), [path]), (replace(ride, sources=()), [])):
        with pytest.raises(ValueError, match=r"original|id"):
            library.add(wrong, given_)


def test_a_lost_or_spoilt_ride_file_is_put_right_by_importing_again(
    library: Library, maker: ModuleType, tmp_path: Path
) -> None:
    maker.stored(library, tmp_path, 1)
    library.edit("ride-00001", ambient_c=31.0)
    path = library.root / "rides" / "ride-00001.parquet"
    whole = path.read_bytes()
    for spoilt in (None, whole[:-100]):
        if spoilt is None:
            path.unlink()
        else:
            path.write_bytes(spoilt)
        with pytest.raises(LibraryError) as caught:
            library.load("ride-00001")
        assert "import the log again" in caught.value.to_do
        assert library.find_by_content([library.row("ride-00001").files[0].sha256]) == []
        log = maker.original(tmp_path, 1)
        assert library.add(maker.ride(1, log), [log]) == "stored"
        assert library.load("ride-00001").ambient_c == 31.0


@pytest.mark.parametrize("place", [0.02, 0.3, 0.5, 0.7, 0.98])
def test_one_flipped_bit_is_noticed(library: Library, maker: ModuleType, tmp_path: Path, place: float) -> None:
    maker.stored(library, tmp_path, 1)
    path = library.root / "rides" / "ride-00001.parquet"
    data = bytearray(path.read_bytes())
    data[int(len(data) * place)] ^= 4
    path.write_bytes(data)
    with pytest.raises(LibraryError, match="damaged"):
        library.load("ride-00001")


def test_threads_share_a_library(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    trouble: list[BaseException] = []

    def work(first: int) -> None:
        try:
            maker.stored(library, tmp_path, first, first + 1, first + 2)
            assert len(library.list_rides(limit=None)) >= 3
        except BaseException as error:
            trouble.append(error)

    threads = [threading.Thread(target=work, args=(first,)) for first in (0, 10, 20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert trouble == []
    assert len(library.list_rides(limit=None)) == 9


def test_an_original_removed_meanwhile_is_brought_along(
    library: Library, maker: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = maker.original(tmp_path, 1)
    library.add(maker.ride(1, path), [path])
    write = parquet.write_ride

    def write_and_remove(ride: object, target: Path) -> None:
        monkeypatch.setattr(parquet, "write_ride", write)
        library.remove("ride-00001")
        write(ride, target)  # type: ignore[arg-type]

    monkeypatch.setattr(parquet, "write_ride", write_and_remove)
    assert library.add(maker.ride(2, path), [path]) == "stored"
    kept = library.original(library.row("ride-00002").files[0].sha256)
    assert kept is not None
    assert kept.read_bytes() == path.read_bytes()


# -- listing ----------------------------------------------------------------------------------------------------------


def test_newest_first_and_those_without_a_date_last(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    for number, start in ((1, maker.BEGIN), (2, None), (3, maker.BEGIN - timedelta(days=90)), (4, None)):
        path = maker.original(tmp_path, number)
        library.add(maker.ride(number, path, start=start), [path])
    assert [row.id[-1] for row in library.list_rides()] == ["1", "3", "4", "2"]
    assert [row.id[-1] for row in library.list_rides(limit=2)] == ["1", "3"]
    assert [row.id[-1] for row in library.list_rides(bike="enduro-07")] == ["1", "3"]
    assert library.list_rides(bike="nobody") == []
    row = library.row("ride-00001")
    assert (row.channels, row.files[0].name) == (("coolant_c", "engine_rpm"), "log 1.csv")
    assert (row.duration_s, row.distance_m, row.timezone) == (39.9, 1001.0, "+02:00")


def test_ten_thousand_rides_are_listed_in_order(library: Library, maker: ModuleType) -> None:
    with library._catalogue.write() as db:
        for number in range(10_000):
            ride = maker.ride(number, rows=2)
            sources = (replace_source(number),)
            catalogue.insert_ride(db, replace(ride, sources=sources), 1, "0" * 64)
    rows = library.list_rides(limit=None)
    assert len(rows) == 10_000
    assert [row.id for row in rows] == sorted((row.id for row in rows), reverse=True)
    assert all(row.files[0].sha256 == f"{int(row.id[5:]):064x}" for row in rows)
    assert [row.id for row in library.list_rides()] == [row.id for row in rows[:50]]
    assert library.resolve("ride-09999") == "ride-09999"
    for condition, index in (("1", "ride_newest"), ("bike = ?", "ride_of_bike")):
        plan = [str(line) for (*_, line) in library_plan(library, catalogue.newest_sql(condition))]
        dated = next(place for place, line in enumerate(plan) if index in line and "start_utc>" in line)
        assert "TEMP B-TREE" not in plan[dated + 1]


def replace_source(number: int) -> object:
    from ridelog.ride import SourceFile

    return SourceFile(f"log {number}.csv", f"{number:064x}", 10, "csv")


def library_plan(library: Library, query: str) -> list[tuple[object, ...]]:
    with library._catalogue.read() as db:
        return db.execute("EXPLAIN QUERY PLAN " + query, (50,) * query.count("?")).fetchall()


def test_a_start_without_a_zone_stands_by_its_own_clock(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    """The id begins with the date and time the log has; a ride without a zone must not sink below undated ones."""
    known = {
        "20260501-0930-0a0b0c0d": None, "20260420-1015-1a1b1c1d": None, "undated-2a2b2c2d": None,
        "20260425-0800-3a3b3c3d": maker.BEGIN - timedelta(days=6), "20261399-9999-4a4b4c4d": None,
    }  # fmt: skip
    for number, (ride_id, start) in enumerate(known.items(), 10):
        path = maker.original(tmp_path, number)
        ride = replace(maker.ride(number, path, start=start), id=ride_id, timezone="+02:00" if start else None)
        library.add(ride, [path])
    rows = library.list_rides(limit=4)
    assert [row.id[:8] for row in rows] == ["20261399", "20260501", "20260425", "20260420"]
    assert [row.id for row in library.list_rides()][-1] == "undated-2a2b2c2d"
    by_id = {row.id[:8]: row for row in library.list_rides()}
    assert by_id["20260501"].start_local == datetime(2026, 5, 1, 9, 30)  # noqa: DTZ001 - its zone is not known
    assert by_id["20260501"].start_utc is None
    assert by_id["20260425"].start_local is None  # its moment is known
    assert by_id["20261399"].start_local is None  # no such day
    assert by_id["undated-"].start_local is None


def test_listing_loads_no_data_library(library: Library) -> None:
    program = (
        "import sys; from pathlib import Path; from ridelog.store.library import Library\n"
        "Library.open(Path(sys.argv[1])).list_rides(limit=None)\n"
        "print(sorted({'polars', 'pyarrow', 'numpy', 'filelock', 'platformdirs'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(library.root)], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


def test_resolve(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    maker.stored(library, tmp_path, 1, 12, 123)
    assert library.resolve("ride-00001") == "ride-00001"
    assert library.resolve("ride-0012") == "ride-00123"
    with pytest.raises(NotInLibrary, match=r"several rides: ride-00001, ride-00012, ride-00123"):
        library.resolve("ride-0")
    with pytest.raises(NotInLibrary, match="ride-00012"):
        library.resolve("rode-00012")
    for text in ("", "%", "ride_0", "zzz"):
        with pytest.raises(NotInLibrary, match="no ride"):
            library.resolve(text)


# -- what the user says -----------------------------------------------------------------------------------------------


def test_edit_changes_what_was_said_and_nothing_else(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    maker.stored(library, tmp_path, 2)
    (tmp_path / "b.toml").write_text(BIKE.format(kg=190), encoding="utf-8")
    library.add_bike(tmp_path / "b.toml")
    before = library.load("ride-00002")
    east = datetime(2026, 5, 3, 9, 0, 0, 250_000, tzinfo=timezone(timedelta(hours=2)))
    row = library.edit("ride-00002", bike="enduro-07", ambient_c=-3.5, start_utc=east, condition="faulty")
    assert (row.bike, row.ambient_c, row.start_utc, row.condition) == ("enduro-07", -3.5, east, "faulty")
    assert row.start_utc is not None
    assert row.start_utc.tzinfo == UTC
    after = library.load("ride-00002")
    expected = replace(before, bike="enduro-07", ambient_c=-3.5, start_utc=east, condition="faulty")
    assert replace(after, samples=before.samples) == replace(expected, samples=before.samples)
    assert library.edit("ride-00002", condition="healthy").bike == "enduro-07"
    cleared = library.edit("ride-00002", bike=None, ambient_c=None, start_utc=None)
    assert (cleared.bike, cleared.ambient_c, cleared.start_utc, cleared.condition) == (None, None, None, "healthy")


def test_edit_refuses_what_cannot_be(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    maker.stored(library, tmp_path, 1)
    before = library.row("ride-00001")
    with pytest.raises(NotInLibrary, match="enduro-99"):
        library.edit("ride-00001", ambient_c=20.0, bike="enduro-99")
    with pytest.raises(NotInLibrary):
        library.edit("ride-77777", condition="healthy")
    for ambient_c in (99.0, float("nan")):
        with pytest.raises(UsageError):
            library.edit("ride-00001", ambient_c=ambient_c)
    with pytest.raises(UsageError, match="zone"):
        library.edit("ride-00001", start_utc=datetime(2026, 5, 1))  # noqa: DTZ001 - that is the fault
    with pytest.raises(UsageError):
        library.edit("ride-00001", condition="broken")  # type: ignore[arg-type]
    assert library.row("ride-00001") == before


def test_bikes_and_sheets_keep_their_history(library: Library, tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    for kg in (190, 190, 201):
        path.write_text(BIKE.format(kg=kg), encoding="utf-8")
        assert library.add_bike(path).total_kg == kg
    assert [bike.total_kg for bike in library.bikes()] == [201]
    assert library.bike_text("enduro-07") == BIKE.format(kg=201)
    with library._catalogue.read() as db:
        texts = db.execute("SELECT text FROM profile WHERE replaced_utc IS NOT NULL").fetchall()
    assert texts == [(BIKE.format(kg=190),)]
    for version, day in (("b", "2026-03-01"), ("a", "2026-06-01")):
        path.write_text(SHEET.format(version=version, day=day), encoding="utf-8")
        library.add_advice(path)
    assert [sheet.version for sheet in library.advice_sheets()] == ["b", "a"]
    assert library.advice("a").valid_from.month == 6
    assert library.advice_text("b").startswith("schema = 1")


def test_a_wrong_or_unknown_profile_changes_nothing(library: Library, tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_text('schema = 1\nid = "enduro-07"\n[mass]\ntotal = 3\n', encoding="utf-8")
    with pytest.raises(ProfileError):
        library.add_bike(path)
    path.write_text(SHEET.format(version="built-in", day="2026-01-01"), encoding="utf-8")
    with pytest.raises(ProfileError, match="built-in"):
        library.add_advice(path)
    assert (library.bikes(), library.advice_sheets()) == ([], [])
    with pytest.raises(NotInLibrary, match="bikes add"):
        library.bike("enduro-07")
    path.write_text(BIKE.format(kg=190), encoding="utf-8")
    library.add_bike(path)
    with pytest.raises(NotInLibrary, match="enduro-07"):
        library.bike_text("enduro-7")
    with pytest.raises(NotInLibrary, match="advice"):
        library.advice_text("x")


# -- a whole life -----------------------------------------------------------------------------------------------------


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(st.tuples(st.sampled_from(["add", "remove", "edit", "crash"]), st.integers(0, 3)), max_size=8))
def test_every_ride_listed_can_be_loaded(
    steps: list[tuple[str, int]], maker: ModuleType, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("life")
    expected: set[str] = set()
    for step, number in steps:
        library = Library.open(folder / "library")
        path = maker.original(folder, number % 2)
        ride = maker.ride(number, path)
        if step == "add":
            assert library.add(ride, [path]) == ("already_stored" if ride.id in expected else "stored")
            expected.add(ride.id)
        elif step == "crash":
            leave_half_done(library, ride)
        elif ride.id in expected and step == "remove":
            library.remove(ride.id)
            expected.remove(ride.id)
        elif ride.id in expected:
            library.edit(ride.id, ambient_c=float(number))
        library = Library.open(folder / "library")
        rows = library.list_rides(limit=None)
        assert {row.id for row in rows} == expected
        for row in rows:
            assert library.load(row.id).samples.height == 400
            assert all(library.original(file.sha256) is not None for file in row.files)
        assert len(maker.files_of(library)) == len(expected) + len({file.sha256 for row in rows for file in row.files})


def leave_half_done(library: Library, ride: object) -> None:
    """What a writer leaves that died between putting its files in place and its commit."""
    ids = {row.id for row in library.list_rides(limit=None)}
    used = {file.sha256 for row in library.list_rides(limit=None) for file in row.files}
    space = library.root / "incoming" / "0123456789ab"
    space.mkdir()
    names = tuple(source.sha256 for source in ride.sources)  # type: ignore[attr-defined]
    incoming._write_intent(space, incoming.Intent(ride.id, names))  # type: ignore[attr-defined]
    (space / "ride.parquet").write_bytes(b"half")
    if ride.id not in ids:  # type: ignore[attr-defined]
        (library.root / "rides" / f"{ride.id}.parquet").write_bytes(b"x")  # type: ignore[attr-defined]
    for name in set(names) - used:
        (library.root / "originals" / name).write_bytes(b"x")
