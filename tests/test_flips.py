"""What a change of a bike file or a sheet would make of rides that are there, told before it is saved."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import sample_logs
from ridelog import flips
from ridelog.advice import Advice, default_advice
from ridelog.bike import Bike
from ridelog.ingest import ImportOptions, import_files
from ridelog.store.library import Library
from ridelog.study import known_of, study
from ridelog.words.terms import clock


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """Two rides of one bike, on two days."""
    source = sample_logs.folder()
    found = Library.open(tmp_path_factory.mktemp("flips") / "library")
    bike = found.add_bike(source / "bikes" / "enduro-07.bike.toml")
    for day, name in ((9, "01-standard-in-sand.csv.gz"), (10, "02-switched-in-time.csv.gz")):
        start = datetime(2026, 5, day, 10, tzinfo=UTC)
        options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=33.0, start=start)
        (outcome,) = import_files(found, [source / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    return found


@pytest.fixture(scope="module")
def bike(library: Library) -> Bike:
    return library.bike("enduro-07")


def moved(bike: Bike, name: str, by_c: float) -> Bike:
    levels = tuple((one, value + by_c if one == name else value) for one, value in bike.thresholds)
    return replace(bike, thresholds=levels)


def test_the_same_file_again_changes_nothing(library: Library, bike: Bike) -> None:
    found = flips.with_bike(library, bike)
    assert (found.looked, found.left, found.flips, found.failed) == (2, 0, (), ())


def test_a_threshold_moved_tells_the_seconds_before_and_after(library: Library, bike: Bike) -> None:
    changed = moved(bike, "hot", -2.0)
    found = flips.with_bike(library, changed)
    assert len(found.flips) == 2
    for flip in found.flips:
        row = library.row(flip.ride)
        known, ride = known_of(library, row), library.load(flip.ride)
        now = study(ride, replace(known, bike=changed)).found.analysis.exposure
        was = study(ride, known).found.analysis.exposure
        after, before = (next(one for one in rows if one.name == "hot").observed_s for rows in (now, was))
        assert after > before
        assert any("(hot) (105 C before)" in sentence for sentence in flip.said)


def test_a_threshold_renamed_is_told_as_gone_and_new(library: Library, bike: Bike) -> None:
    renamed = replace(bike, thresholds=tuple(("very hot" if n == "hot" else n, v) for n, v in bike.thresholds))
    said = " ".join(sentence for flip in flips.with_bike(library, renamed).flips for sentence in flip.said)
    assert "(hot) is no longer told" in said
    assert "(very hot), not watched before" in said


def stricter(sheet: Advice, version: str, first_day: date) -> Advice:
    """A sheet that counts drag stretches from one minute on."""
    rules = tuple(replace(rule, min_duration_s=60.0) if rule.kind == "heavy_drag" else rule for rule in sheet.rules)
    return replace(sheet, version=version, valid_from=first_day, rules=rules)


def test_a_new_sheet_concerns_only_the_days_it_would_be_in_force(library: Library) -> None:
    sheet = stricter(default_advice(), "next", date(2026, 5, 10))
    found = flips.with_sheet(library, sheet)
    assert found.looked == 1
    (flip,) = found.flips
    assert flip.day == date(2026, 5, 10)
    assert any("would no longer be flagged" in sentence for sentence in flip.said)
    assert flips.with_sheet(library, replace(sheet, valid_from=date(2027, 1, 1))).looked == 0


def test_the_map_no_longer_advised_takes_its_verdicts_away(library: Library) -> None:
    sheet = default_advice()
    rules = tuple(replace(rule, map="either") if rule.kind == "wide_open" else rule for rule in sheet.rules)
    found = flips.with_sheet(library, replace(sheet, version="softer", valid_from=date(2026, 1, 1), rules=rules))
    said = " ".join(sentence for flip in found.flips for sentence in flip.said)
    assert "no switch advised instead of" in said
    assert "Advised time" in said
    # what is said of a stretch comes with its seconds, what is said of the ride without
    for flip in found.flips:
        assert len(flip.spans) == len(flip.said)
        for sentence, span in zip(flip.said, flip.spans, strict=True):
            assert (span is not None) == (" from 0:" in sentence)
            assert span is None or f" from {clock(span[0])} to {clock(span[1])}" in sentence


def test_only_so_many_rides_are_looked_at_and_the_rest_is_said(library: Library, bike: Bike) -> None:
    found = flips.with_bike(library, moved(bike, "hot", -5.0), most=1)
    assert (found.looked, found.left) == (1, 1)


def test_a_ride_that_cannot_be_read_stops_nothing(library: Library, bike: Bike, tmp_path: Path) -> None:
    import shutil

    copy = tmp_path / "library"
    shutil.copytree(library.root, copy)
    other = Library.open(copy)
    first = other.list_rides()[0].id
    (copy / "rides" / f"{first}.parquet").write_bytes(b"broken")
    found = flips.with_bike(other, moved(bike, "hot", -2.0))
    assert [ride for ride, _ in found.failed] == [first]
    assert len(found.flips) == 1
