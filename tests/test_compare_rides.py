"""Which rides a comparison is made of: before and after work, a build's bikes, and what is left out and told."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import pytest
from plant import BIKES, simulate

from ridelog import compare_rides
from ridelog.errors import UsageError
from ridelog.ride import Ride, SourceFile
from ridelog.store.library import Library

WORK = """
[[service]]
date = 2026-05-10
what = "radiators washed"
[[service]]
date = 2026-05-20
what = "new pump seal"
[[service]]
date = 2026-05-20
what = "coolant renewed"
"""


@cache
def played() -> Ride:
    """Any ride: what it holds does not matter here, only when it was and whose."""
    return simulate(3, "heron-300", duration_s=420.0).ride


def stored(library: Library, folder: Path, number: int, day: int | None, bike: str = "heron-300") -> str:
    """A ride of a day of May 2026, or of no known day; its id."""
    log = folder / f"{bike}-{number}.csv"
    log.write_text(f"{bike} {number}\n", encoding="utf-8")
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    ride = replace(
        played(),
        id=f"202605{day:02d}-0900-{number:08x}" if day is not None else f"undated-{number:08x}",
        bike=bike,
        sources=(source,),
        start_utc=datetime(2026, 5, day, 9, tzinfo=UTC) if day is not None else None,
        timezone="UTC" if day is not None else None,
        condition="unknown",
        ambient_c=20.0,
    )
    library.add(ride, [log])
    return ride.id


def with_bikes(folder: Path, *, work: str = WORK) -> Library:
    """A library with four bikes of one build, one of another."""
    library = Library.open(folder / "library")
    text = BIKES["heron-300"]
    for name in ("heron-300", "heron-b", "heron-c"):
        path = folder / f"{name}.bike.toml"
        path.write_text(text.replace('id = "heron-300"', f'id = "{name}"') + work, encoding="utf-8")
        library.add_bike(path)
    path = folder / "otter-250.bike.toml"
    path.write_text(BIKES["otter-250"], encoding="utf-8")
    library.add_bike(path)
    return library


def ids(part: tuple[compare_rides.Study, ...]) -> list[str]:
    """Ids of a side, in order."""
    return [one.ride.id for one in part]


def test_rides_on_either_side_up_to_the_next_work(tmp_path: Path) -> None:
    library = with_bikes(tmp_path)
    kept = {day: stored(library, tmp_path, day, day) for day in (3, 9, 10, 14, 20, 25)}
    undated = stored(library, tmp_path, 99, None)
    stored(library, tmp_path, 50, 12, bike="heron-b")
    chosen = compare_rides.around_service(library, library.bike("heron-300"), date(2026, 5, 10))
    # Nearest to the work first; the day of the work itself counts as after it.
    assert ids(chosen.first) == [kept[10], kept[14]]
    assert ids(chosen.others) == [kept[9], kept[3]]
    assert chosen.service == "2026-05-10: radiators washed"
    assert chosen.left_out[0] == f"{undated}: it has no date"
    assert chosen.left_out[1].startswith("2 rides of the bike: other work")
    both = compare_rides.around_service(library, library.bike("heron-300"), date(2026, 5, 20))
    assert both.service == "2026-05-20: new pump seal; coolant renewed"
    assert ids(both.others) == [kept[14], kept[10]]


def test_the_nearest_twelve_of_a_side_are_taken_and_the_rest_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(compare_rides, "MOST_A_SIDE", 2)
    library = with_bikes(tmp_path)
    kept = {day: stored(library, tmp_path, day, day) for day in (2, 5, 8, 11, 12, 13)}
    chosen = compare_rides.around_service(library, library.bike("heron-300"), date(2026, 5, 10))
    assert ids(chosen.first) == [kept[11], kept[12]]
    assert ids(chosen.others) == [kept[8], kept[5]]
    assert [text.split(":")[0] for text in chosen.left_out] == [kept[2], kept[13]]


@pytest.mark.parametrize("side", ["before", "after"])
def test_an_empty_side_is_refused(tmp_path: Path, side: str) -> None:
    library = with_bikes(tmp_path)
    stored(library, tmp_path, 1, 12 if side == "before" else 2)
    with pytest.raises(UsageError, match=f"no ride of heron-300 {side} the work"):
        compare_rides.around_service(library, library.bike("heron-300"), date(2026, 5, 10))


def test_a_day_without_work_is_refused_and_the_listed_ones_named(tmp_path: Path) -> None:
    library = with_bikes(tmp_path)
    with pytest.raises(UsageError, match=r"2026-05-10 \(radiators washed\), 2026-05-20 \(new pump seal\)"):
        compare_rides.around_service(library, library.bike("heron-300"), date(2026, 5, 11))
    with pytest.raises(UsageError, match="there is none"):
        compare_rides.around_service(library, library.bike("otter-250"), date(2026, 5, 10))


def test_named_rides_keep_their_order(tmp_path: Path) -> None:
    library = with_bikes(tmp_path)
    kept = [stored(library, tmp_path, day, day) for day in (4, 3, 2)]
    chosen = compare_rides.named(library, kept)
    assert ids(chosen.first) == kept[:1]
    assert ids(chosen.others) == kept[1:]
    assert chosen.others_name == "the 2 other rides"
    # Each is analyzed by itself: what one side tells must not come back as what the other tells.
    assert all(one.known.baseline == () for one in (*chosen.first, *chosen.others))


def test_a_build_holds_its_other_bikes_and_no_bike_of_another_build(tmp_path: Path) -> None:
    library = with_bikes(tmp_path)
    kept = [stored(library, tmp_path, day, day) for day in (3, 4)]
    stored(library, tmp_path, 40, 5, bike="heron-b")
    stored(library, tmp_path, 41, 5, bike="otter-250")
    found = compare_rides.among_build(library, kept)
    assert found.bike.id == "heron-300"
    assert sorted(found.others) == ["heron-b", "heron-c"]
    assert found.others["heron-c"] == ()
    other = stored(library, tmp_path, 42, 6, bike="heron-b")
    with pytest.raises(UsageError, match="not all of one bike"):
        compare_rides.among_build(library, [kept[0], other])
