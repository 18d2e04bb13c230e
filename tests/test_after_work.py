"""Bikes after work on them, and what complaints turned out to be."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from ridelog.after_work import after_work, hot_threshold
from ridelog.store.library import Library
from ridelog.words import after_work as words
from ridelog.words import outcomes


@pytest.fixture(scope="module")
def library(demo_library: Any) -> Library:
    return Library.open(demo_library.folder)


def test_every_piece_of_work_has_a_row_the_latest_first(library: Library) -> None:
    rows = after_work(library)
    assert [row.day for row in rows] == sorted((row.day for row in rows), reverse=True)
    listed = {(bike.id, one.day) for bike in library.bikes() for one in bike.services}
    assert {(row.bike, row.day) for row in rows} == listed


def test_sides_reach_to_the_work_next_to_it(library: Library) -> None:
    """A bike's rides before the first work, between and after the last are each counted once."""
    rows = sorted(after_work(library, "enduro-12"), key=lambda row: row.day)
    assert [row.day for row in rows] == [date(2026, 3, 1), date(2026, 5, 8), date(2026, 6, 23)]
    assert [row.after for row in rows[:-1]] == [row.before for row in rows[1:]]
    rides = rows[0].before.rides + sum(row.after.rides for row in rows)
    known = [row for row in library.list_rides(limit=None) if row.bike == "enduro-12" and "coolant_c" in row.channels]
    dated = [row for row in known if row.start_utc is not None or row.start_local is not None]
    assert rides == len(dated)


def test_hot_again_is_by_the_time_above(library: Library) -> None:
    for row in after_work(library):
        assert row.answer == ("cant_tell" if not row.after.rides else "yes" if row.after.rides_above else "no")
        for side in (row.before, row.after):
            if side.seconds_per_hour is None:
                assert side.rides == 0
                continue
            assert side.low is not None
            assert side.high is not None
            assert side.low <= side.seconds_per_hour <= side.high
            assert (side.seconds_per_hour > 0.0) == (side.rides_above > 0)
    complaints = {(row.bike, row.day): row.complaints for row in after_work(library)}
    # the demo's case of 20 June 2026 falls between the works of 8 May and 23 June
    assert complaints["enduro-12", date(2026, 5, 8)] == 1
    assert complaints["enduro-12", date(2026, 6, 23)] == 0


def test_the_answer_names_each_bike_once(library: Library) -> None:
    said = words.answer(after_work(library))
    assert said.count("enduro-12") == said.count("enduro-34") == 1
    assert words.answer(()) == words.NONE


def test_hot_is_the_threshold_below_the_highest(library: Library) -> None:
    assert hot_threshold(library.bike("enduro-12")) == ("hot", 105.0)


def test_outcomes_leave_no_case_out() -> None:
    found = [
        ("a", "terrain_load", True),
        ("b", "fan_fault", True),
        ("c", "sensor", True),  # a whole kind may be named
        ("d", None, True),
        ("e", "sensor_fault", False),  # opened again: what was found before no longer counts
        ("f", "of a later version", True),
    ]
    rows = {name: (count, which) for name, count, which in outcomes.rows(found)}
    assert sum(int(count) for count, _ in rows.values()) == len(found)
    assert rows[outcomes.KINDS["asked_for"]] == ("1", "a")
    assert rows[outcomes.KINDS["air_side"]] == ("1", "b")
    assert rows[outcomes.KINDS["sensor"]] == ("1", "c")
    assert rows[outcomes.NO_CAUSE] == ("2", "d, f")
    assert rows[outcomes.OPEN] == ("1", "e")
