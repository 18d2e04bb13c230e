"""What rides give to estimates over rides, and estimates, as the library keeps them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import ModuleType

from ridelog.store.library import Library

BIKE = "enduro-07"
"""The bike of the maker's rides of odd number."""

HAS = ("coolant_c", "engine_rpm")


def test_the_latest_rides_come_first_and_undated_ones_last(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    one, two, three = maker.stored(library, tmp_path, 1, 3, 5)
    path = maker.original(tmp_path, 9)
    undated = replace(maker.ride(9, path, start=None), bike=BIKE)
    library.add(undated, [path])
    maker.stored(library, tmp_path, 2)  # another bike's
    assert [row.id for row in library.part_rows(BIKE, "a", HAS, 10)] == [three, two, one, undated.id]
    assert [row.id for row in library.part_rows(BIKE, "a", HAS, 2)] == [three, two]
    assert library.part_rows(BIKE, "a", (*HAS, "throttle_pct"), 10) == []
    assert library.part_rows("nobody", "a", HAS, 10) == []


def test_a_name_that_is_part_of_another_is_not_taken_for_it(
    library: Library, maker: ModuleType, tmp_path: Path
) -> None:
    maker.stored(library, tmp_path, 1)
    assert library.part_rows(BIKE, "a", ("coolant_%",), 10) == []
    assert library.part_rows(BIKE, "a", ("coolant",), 10) == []


def test_rows_tell_what_a_part_rests_on(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    (ride,) = maker.stored(library, tmp_path, 1)
    library.edit(ride, ambient_c=21.5, condition="faulty")
    library.keep_part(ride, "a", "basis", b"1")
    (row,) = library.part_rows(BIKE, "a", HAS, 10)
    (other,) = library.part_rows(BIKE, "b", HAS, 10)
    assert (row.id, row.ambient_c, row.basis) == (ride, 21.5, "basis")
    assert other == row._replace(basis=None)
    assert len(row.content) == 64
    assert row.start_utc is not None


def test_a_part_takes_the_place_of_the_one_before_and_goes_with_its_ride(
    library: Library, maker: ModuleType, tmp_path: Path
) -> None:
    one, two = maker.stored(library, tmp_path, 1, 3)
    library.keep_part(one, "a", "x", b"1")
    library.keep_part(one, "a", "y", bytes(range(256)))
    library.keep_part(one, "b", "z", b"3")
    library.keep_part(two, "a", "y", b"")
    library.keep_part("ride-99999", "a", "y", b"4")
    assert Library.open(library.root).parts([one, two, "ride-99999"], "a") == {one: bytes(range(256)), two: b""}
    library.remove(one)
    assert library.parts([one, two], "a") == {two: b""}
    assert library.parts([one, two], "b") == {}


def test_many_rides_are_asked_for_in_pieces(library: Library, maker: ModuleType, tmp_path: Path) -> None:
    (ride,) = maker.stored(library, tmp_path, 1)
    library.keep_part(ride, "a", "x", b"1")
    assert library.parts([*(f"ride-{n}" for n in range(1200)), ride], "a") == {ride: b"1"}


def test_an_estimate_comes_back_as_it_was_kept(library: Library) -> None:
    assert library.estimate("effect of x") is None
    library.keep_estimate("effect of x", "a", "{}")
    library.keep_estimate("effect of x", "b", '{"né": 1}')
    assert Library.open(library.root).estimate("effect of x") == ("b", '{"né": 1}')


def test_bikes_of_a_build_are_those_whose_file_says_so(library: Library, tmp_path: Path) -> None:
    for name, build in (("a", 'build = "300-x"'), ("b", 'build = "300-x-2"'), ("c", 'build = "300-x"'), ("300-x", "")):
        path = tmp_path / f"{name}.bike.toml"
        path.write_text(f'schema = 1\nid = "{name}"\n{build}\n', encoding="utf-8")
        library.add_bike(path)
    # Without a build of its own, a bike's build is its id.
    assert [bike.id for bike in library.bikes_of_build("300-x")] == ["300-x", "a", "c"]
    assert library.bikes_of_build("none") == []
