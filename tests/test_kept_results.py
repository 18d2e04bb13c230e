"""Results kept for a review: what makes them anew, what does not, and that a kept one is never an old one."""

from __future__ import annotations

import hashlib
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from plant import BIKES, simulate

from ridelog import advice, kept_results
from ridelog.kept_results import Bases, Found, RideResult, rests_on_prior, result_of, results
from ridelog.ride import Ride, SourceFile, day_of
from ridelog.store.library import Library
from ridelog.study import Study, known_of_ride, study

RIDES = {
    "one-1": ("one", date(2026, 5, 2)),
    "one-2": ("one", date(2026, 5, 9)),
    "one-3": ("one", date(2026, 6, 6)),
    "two-1": ("two", date(2026, 5, 3)),
    "two-2": ("two", date(2026, 6, 7)),
}
SEEDS = {name: 900 + number for number, name in enumerate((*RIDES, "one-4"))}


def stored(library: Library, folder: Path, name: str, day: date, *, without: tuple[str, ...] = ()) -> None:
    """A simulated ride in the library; its bike is the name's first part."""
    bike, _, _ = name.partition("-")
    log = folder / f"{name}.csv"
    log.write_text(f"{name}\n", encoding="utf-8")
    played = simulate(SEEDS[name], "heron-300", machine_seed=7, duration_s=900.0).ride
    if without:
        channels = {key: info for key, info in played.channels.items() if key not in without}
        played = replace(played, samples=played.samples.drop(*without), channels=channels)
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    ride = replace(
        played, id=name, bike=bike, sources=(source,), timezone="UTC", condition="unknown", ambient_c=20.0,
        start_utc=datetime(day.year, day.month, day.day, 9, tzinfo=UTC),
    )  # fmt: skip
    library.add(ride, [log])


def bike_file(folder: Path, name: str, *changed: tuple[str, str]) -> Path:
    """A bike file; bike "two" is of another build."""
    text = BIKES["heron-300"].replace('id = "heron-300"', f'id = "{name}"')
    for old, new in (*changed, *([] if name == "one" else [('build = "', 'build = "other ')])):
        assert old in text
        text = text.replace(old, new)
    path = folder / f"{name}.bike.toml"
    path.write_text(text, encoding="utf-8")
    return path


def sheet_file(folder: Path, version: str, day: date, *changed: tuple[str, str]) -> Path:
    text = advice.template(version, day)
    for old, new in changed:
        assert old in text
        text = text.replace(old, new)
    path = folder / f"{version}.advice.toml"
    path.write_text(text, encoding="utf-8")
    return path


BY_HEAT = ('kind = "heat_only"\nmap = "either"', 'kind = "heat_only"\nmap = "conservative"')


@pytest.fixture(scope="module")
def reviewed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library of two bikes of different builds and one sheet, every ride's result kept; tests copy it."""
    folder = tmp_path_factory.mktemp("reviewed")
    library = Library.open(folder / "library")
    for name in ("one", "two"):
        library.add_bike(bike_file(folder, name))
    library.add_advice(sheet_file(folder, "spring", date(2026, 1, 1)))
    for name, (_, day) in RIDES.items():
        stored(library, folder, name, day)
    results(library, library.review_rows())
    return folder / "library"


@pytest.fixture
def library(reviewed: Path, tmp_path: Path) -> Library:
    shutil.copytree(reviewed, tmp_path / "library")
    return Library.open(tmp_path / "library")


@pytest.fixture
def analyzed(monkeypatch: pytest.MonkeyPatch) -> Callable[[Library], set[str]]:
    """Names of the rides that a review analyzes; and that the one after it analyzes none."""
    seen: Counter[str] = Counter()

    def watched(ride: Ride, known: object) -> Study:
        seen[ride.id] += 1
        return study(ride, known)  # type: ignore[arg-type]

    monkeypatch.setattr(kept_results, "study", watched)

    def run(library: Library) -> set[str]:
        seen.clear()
        first = results(library, library.review_rows())
        made = set(seen)
        seen.clear()
        assert [one.result for one in results(library, library.review_rows())] == [one.result for one in first]
        assert not seen, "a result that was just kept was made again"
        return made

    return run


Analyzed = Callable[[Library], set[str]]


def test_nothing_changed_nothing_is_analyzed(library: Library, analyzed: Analyzed) -> None:
    assert analyzed(library) == set()


def test_a_changed_bike_file_makes_its_rides_anew(library: Library, analyzed: Analyzed, tmp_path: Path) -> None:
    library.add_bike(bike_file(tmp_path, "two", ("total_kg = 196.0", "total_kg = 201.0")))
    assert analyzed(library) == {"two-1", "two-2"}
    library.add_bike(bike_file(tmp_path, "two"))
    assert analyzed(library) == {"two-1", "two-2"}


def test_a_new_sheet_makes_the_rides_of_its_days_anew(library: Library, analyzed: Analyzed, tmp_path: Path) -> None:
    library.add_advice(
        sheet_file(tmp_path, "summer", date(2026, 6, 1), ("min_throttle_pct = 85", "min_throttle_pct = 70"))
    )
    assert analyzed(library) == {"one-3", "two-2"}
    assert {one.row.id: one.sheet for one in results(library, library.review_rows())}["one-3"] == "summer"


def test_a_sheet_in_force_on_no_ride_changes_nothing(library: Library, analyzed: Analyzed, tmp_path: Path) -> None:
    library.add_advice(sheet_file(tmp_path, "next", date(2027, 1, 1)))
    library.add_advice(sheet_file(tmp_path, "long-ago", date(2020, 1, 1)))
    assert analyzed(library) == set()


def test_the_air_of_one_ride(library: Library, analyzed: Analyzed) -> None:
    library.edit("one-2", ambient_c=31.0)
    assert analyzed(library) == {"one-2"}


def test_the_date_of_one_ride_counts_where_the_sheet_changes(
    library: Library, analyzed: Analyzed, tmp_path: Path
) -> None:
    library.edit("one-1", start_utc=datetime(2026, 5, 4, 9, tzinfo=UTC))
    assert analyzed(library) == set()
    library.edit("one-1", start_utc=datetime(2019, 5, 4, 9, tzinfo=UTC))
    assert analyzed(library) == {"one-1"}


def test_a_ride_of_another_bike(library: Library, analyzed: Analyzed) -> None:
    library.edit("two-1", bike="one")
    assert analyzed(library) == {"two-1"}


def test_notes_of_one_ride_added_changed_and_taken_away(library: Library, analyzed: Analyzed) -> None:
    late = library.add_note("two-1", 300.0, "stop", "stopped for water")
    library.add_note("two-1", 100.0, "map_conservative", "switched here")
    assert analyzed(library) == {"two-1"}
    library.correct_note("two-1", late.number, text="stopped at the gate")
    assert analyzed(library) == {"two-1"}
    library.remove_note("two-1", late.number)
    assert analyzed(library) == {"two-1"}


def test_another_version_makes_all_anew(library: Library, analyzed: Analyzed, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_results, "__version__", "99")
    assert analyzed(library) == set(RIDES)


def test_a_changed_constant_makes_all_anew(
    library: Library, analyzed: Analyzed, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("ridelog.analysis.adherence.FOLLOWED_SHARE", 0.9)
    assert analyzed(library) == set(RIDES)


def test_a_new_ride_is_the_only_one_made(library: Library, analyzed: Analyzed, tmp_path: Path) -> None:
    stored(library, tmp_path, "one-4", date(2026, 5, 10))
    assert analyzed(library) == {"one-4"}


def test_a_ride_marked_faulty_or_taken_away_makes_none_anew(library: Library, analyzed: Analyzed) -> None:
    library.edit("one-1", condition="faulty")
    library.remove("one-2")
    assert analyzed(library) == set()


# -- where the sheet advises by heat, other rides count ---------------------------------------------------------------


@pytest.fixture
def by_heat(library: Library, tmp_path: Path) -> Library:
    """The same library under a sheet that advises the map on stretches found by their heat."""
    library.add_advice(sheet_file(tmp_path, "spring", date(2026, 1, 1), BY_HEAT))
    results(library, library.review_rows())
    return library


def test_then_a_new_ride_makes_anew_what_its_fit_changes(by_heat: Library, analyzed: Analyzed, tmp_path: Path) -> None:
    assert analyzed(by_heat) == set()
    stored(by_heat, tmp_path, "one-4", date(2026, 5, 10))
    assert analyzed(by_heat) == {"one-1", "one-2", "one-3", "one-4"}


def test_but_not_by_a_ride_that_tells_nothing_of_heat(by_heat: Library, analyzed: Analyzed, tmp_path: Path) -> None:
    stored(by_heat, tmp_path, "one-4", date(2026, 5, 10), without=("coolant_c",))
    assert analyzed(by_heat) == {"one-4"}


def test_and_a_ride_marked_faulty_is_no_longer_heard(by_heat: Library, analyzed: Analyzed) -> None:
    by_heat.edit("one-1", condition="faulty")
    assert analyzed(by_heat) == {"one-2", "one-3"}


@pytest.mark.parametrize(
    ("heat_only", "heavy_drag", "expected"),
    [
        ("either", "conservative", False),
        ("none", "conservative", False),
        ("none", "none", False),
        ("conservative", "conservative", True),
        ("conservative", "none", True),
        # Stretches with the same advice may take a part of a drag stretch, and so give time to another kind.
        ("either", "either", True),
    ],
)
def test_when_other_rides_count(heat_only: str, heavy_drag: str, expected: bool) -> None:
    sheet = advice.parse_advice(
        f'schema = 1\nversion = "a"\n[[rule]]\nkind = "heat_only"\nmap = "{heat_only}"\n'
        f'[[rule]]\nkind = "heavy_drag"\nmap = "{heavy_drag}"\n',
        "a",
    )
    assert rests_on_prior(sheet) is expected


def test_else_they_move_nothing(library: Library) -> None:
    """The rule itself: with and without all that other rides tell, the result is the same."""
    for name in RIDES:
        ride = library.load(name)
        known = known_of_ride(library, ride)
        assert known.baseline
        alone = replace(known, baseline=(), effect=None)
        with_others, without = result_of(study(ride, known)), result_of(study(ride, alone))
        assert with_others.prior is not None
        assert with_others._replace(prior=None) == without


# -- kept and asked for -----------------------------------------------------------------------------------------------


def kept_as_told(library: Library) -> None:
    """By the catalogue's row and by what an analysis was given: one and the same basis for each ride."""
    bases = Bases(library)
    for row in library.review_rows():
        day = day_of(row.start_utc, row.timezone, row.start_local)
        ride = library.load(row.id)
        known = known_of_ride(library, ride)
        assert bases.of_row(row, bases.sheet_on(day), day) == bases.of_study(row.content, ride, known, day)
        assert known.advice == bases.sheet_on(day)


def test_all_at_once_and_one_by_one_agree(library: Library, tmp_path: Path) -> None:
    library.add_note("one-1", 200.0, "stop", "second")
    library.add_note("one-1", 100.0, "other", "first")
    library.add_note("one-1", 200.0, "other", "third")
    library.edit("two-2", ambient_c=None)
    library.edit("two-1", bike=None)
    kept_as_told(library)
    library.add_advice(sheet_file(tmp_path, "summer", date(2026, 6, 1), BY_HEAT))
    kept_as_told(library)


def test_a_map_known_from_notes_is_marked_so(library: Library, tmp_path: Path) -> None:
    stored(library, tmp_path, "one-4", date(2026, 5, 10), without=("map_slot",))
    silent = of(results(library, library.review_rows()))["one-4"]
    assert silent.result is not None
    assert not silent.result.estimated_map
    library.add_note("one-4", 5.0, "map_conservative", "conservative from the gate on")
    noted = of(results(library, library.review_rows()))["one-4"]
    assert noted.result is not None
    assert noted.result.estimated_map
    assert not noted.result.one_map
    logged = of(results(library, library.review_rows()))["one-1"].result
    assert logged is not None
    assert not logged.estimated_map


def of(found: list[Found]) -> dict[str, Found]:
    return {one.row.id: one for one in found}


def test_a_ride_that_cannot_be_read_is_told_and_the_rest_go_on(library: Library) -> None:
    library.edit("one-2", ambient_c=25.0)
    library.edit("one-3", ambient_c=25.0)
    path = library.root / "rides" / "one-2.parquet"
    path.write_bytes(path.read_bytes()[:-50])
    told = of(results(library, library.review_rows()))
    assert told["one-2"].result is None
    assert "can't be analyzed" in str(told["one-2"].reason)
    assert all(one.result is not None for name, one in told.items() if name != "one-2")


def test_a_bike_without_a_file_is_told(library: Library) -> None:
    with sqlite3.connect(library.root / "library.sqlite") as db:
        db.execute("DELETE FROM profile WHERE name = 'two'")
    told = of(results(library, library.review_rows()))
    assert told["two-1"].result is None
    assert "no file of bike two" in str(told["two-1"].reason)
    assert told["one-1"].result is not None


@pytest.mark.parametrize(
    "document", ["", "null", "[]", "{}", '[[["heavy_drag",1]],[],0,null,false,false,null,null]', "[1,2"]
)
def test_a_damaged_document_is_made_anew(library: Library, analyzed: Analyzed, document: str) -> None:
    with sqlite3.connect(library.root / "library.sqlite") as db:
        db.execute("UPDATE kept_result SET document = ? WHERE ride_seq = 1", (document,))
    assert analyzed(library) == {"one-1"}


def test_a_library_that_cannot_be_written_costs_no_answer(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    from ridelog.errors import LibraryError

    def full(*_: object) -> None:
        raise LibraryError("the disk is full", where="here", expected="room", to_do="make room")

    library.edit("one-2", ambient_c=25.0)
    monkeypatch.setattr(Library, "keep_results", full)
    assert all(one.result is not None for one in results(library, library.review_rows()))


def test_progress_names_how_far_it_is(library: Library) -> None:
    library.edit("one-2", ambient_c=25.0)
    library.edit("two-2", ambient_c=25.0)
    said: list[str] = []
    results(library, library.review_rows(), said.append)
    assert said[:2] == ["analyzing ride 1 of 2", "analyzing ride 2 of 2"]


def test_a_result_holds_what_the_analysis_says(library: Library) -> None:
    for one in results(library, library.review_rows()):
        result = one.result
        assert isinstance(result, RideResult)
        ride = library.load(one.row.id)
        analysis = study(ride, known_of_ride(library, ride)).found.analysis
        kept = analysis.adherence
        assert sum(kind.advised_s for kind in result.kinds) == pytest.approx(kept.advised_s, abs=0.01)
        if kept.share is not None and one.reason is None:
            on = sum(kind.conservative_s for kind in result.kinds)
            known = sum(kind.advised_s - kind.unknown_s for kind in result.kinds)
            assert on / known == pytest.approx(kept.share, abs=1e-4)
        for row, exposed in zip(result.above, analysis.exposure, strict=True):
            assert row.seconds + (exposed.engine_off_s or 0.0) == pytest.approx(exposed.observed_s, abs=0.002)
            assert row.low_s <= row.seconds + 0.001 <= row.high_s + 0.002
            assert row.seconds <= result.riding_s + 1.0
        assert result.riding_s <= analysis.ride.duration_s + 1.0


def test_a_lost_bike_file_or_sheet_leaves_the_other_rides_judged(library: Library, tmp_path: Path) -> None:
    with closing(sqlite3.connect(library.root / "library.sqlite")) as db, db:
        db.execute("UPDATE profile SET text = 'x' WHERE name = 'two'")
    told = of(results(library, library.review_rows()))
    assert told["two-1"].result is None
    assert "Bike two of the library" in str(told["two-1"].reason)
    assert "ridelog bikes add FILE" in str(told["two-1"].reason)
    assert all(one.result is not None for name, one in told.items() if not name.startswith("two"))
    library.add_bike(bike_file(tmp_path, "two"))
    last = max(one.day for one in told.values() if one.day is not None)
    library.add_advice(sheet_file(tmp_path, "newest", last))
    with closing(sqlite3.connect(library.root / "library.sqlite")) as db, db:
        db.execute("UPDATE profile SET text = text || 'unknown = 1' WHERE name = 'newest'")
    told = of(results(library, library.review_rows()))
    for one in told.values():
        assert (one.result is None) == (one.day == last), one.row.id
    hurt = next(one for one in told.values() if one.day == last)
    assert hurt.sheet == "newest"
    assert "ridelog advice add FILE" in str(hurt.reason)
