"""Which stored rides share time with a stretch."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from types import ModuleType

import pytest

from ridelog.store import overlap
from ridelog.store.library import Library

MINUTE = timedelta(minutes=1)


@pytest.fixture
def filled(library: Library, tmp_path: Path, maker: ModuleType) -> Library:
    """Rides 0 to 4, an hour apart, of 39.9 s each; odd ones are of enduro-07, even ones of no bike."""
    maker.stored(library, tmp_path, *range(5))
    return library


def ids(library: Library, start: datetime, seconds: float, **which: str) -> list[str]:
    return sorted(row.id for row in library.rides_during(start, seconds, **which))  # type: ignore[arg-type]


def test_only_rides_that_share_time(filled: Library, maker: ModuleType) -> None:
    begin = maker.BEGIN
    assert ids(filled, begin, 30.0) == ["ride-00000"]
    assert ids(filled, begin - 2 * MINUTE, 60.0) == []
    assert ids(filled, begin + timedelta(seconds=39.8), 10.0) == ["ride-00000"]
    assert ids(filled, begin + timedelta(seconds=39.95), 10.0) == []
    assert ids(filled, begin - timedelta(seconds=5), 5.0) == []  # the one begins as the other ends
    assert ids(filled, begin - MINUTE, 7300.0) == ["ride-00000", "ride-00001", "ride-00002"]


def test_of_a_bike_or_of_none_named(filled: Library, maker: ModuleType) -> None:
    whole = maker.BEGIN - MINUTE, 5 * 3600.0
    assert len(ids(filled, *whole)) == 5
    assert ids(filled, *whole, bike="enduro-12") == ["ride-00000", "ride-00002", "ride-00004"]
    assert len(ids(filled, *whole, bike="enduro-07")) == 5


def test_a_long_ride_is_found_however_long_ago_it_began(filled: Library, tmp_path: Path, maker: ModuleType) -> None:
    path = maker.original(tmp_path, 9)
    long = replace(maker.ride(9, path, rows=3000), id="ride-long", start_utc=maker.BEGIN + timedelta(minutes=3))
    assert filled.add(long, [path]) == "stored"
    assert ids(filled, maker.BEGIN + timedelta(minutes=7), 5.0) == ["ride-long"]


def test_rides_without_a_zone_are_found_by_the_minute_in_their_ids(
    library: Library, tmp_path: Path, maker: ModuleType
) -> None:
    path = maker.original(tmp_path, 1)
    local = replace(maker.ride(1, path, start=None), id="20260501-0900-0123abcd", timezone=None)
    assert library.add(local, [path]) == "stored"
    nine = datetime(2026, 5, 1, 9, 0)  # noqa: DTZ001 - a clock without a zone
    found = {
        shift: [row.id for row in library.rides_during(nine + timedelta(seconds=shift), 30.0, local=True)]
        for shift in (-31.0, -29.0, 0.0, 95.0, 101.0)
    }
    # 39.9 s from some moment of that minute on.
    assert [bool(found[shift]) for shift in found] == [False, True, True, True, False]
    assert library.rides_during(maker.BEGIN, 7200.0) == []


def test_an_empty_library_and_the_first_days_of_the_calendar(library: Library, filled: Library) -> None:
    assert Library.open(library.root.parent / "empty").rides_during(datetime(2026, 1, 1), 10.0, local=True) == []  # noqa: DTZ001
    assert filled.rides_during(datetime(1, 1, 1), 10.0, local=True) == []  # noqa: DTZ001


@pytest.mark.parametrize("local", [False, True])
def test_the_indexes_serve(filled: Library, maker: ModuleType, *, local: bool) -> None:
    """A search through all rides would grow with the library."""
    asked: list[str] = []
    start = maker.BEGIN.replace(tzinfo=None) if local else maker.BEGIN
    with filled._catalogue.read() as db:
        db.set_trace_callback(asked.append)
        overlap.rides_during(db, start, 60.0, bike=None, local=local)
        db.set_trace_callback(None)
        rides = [text for text in asked if "FROM ride " in text or text.endswith("FROM ride")]
        plans = [[row[3] for row in db.execute(f"EXPLAIN QUERY PLAN {text}").fetchall()] for text in rides]
    assert len(plans) == 2
    assert any("ride_length" in step for step in plans[0])
    index = "sqlite_autoindex_ride" if local else "ride_newest"
    assert any(step.startswith("SEARCH ride") and index in step for step in plans[1])
    assert not any(step.startswith("SCAN ride") for step in plans[1])
