"""Slot numbers the wrong way round, shown by the heat of many rides: then nothing is said of the riders."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from plant import BIKES, simulate
from plant.trouble import swapped_slots

from ridelog import map_numbers
from ridelog.errors import LibraryError
from ridelog.kept_results import Found, results
from ridelog.map_numbers import bikes_doubted
from ridelog.ride import Ride, SourceFile
from ridelog.store.library import Library
from ridelog.words import causes as cause_words

RIDES = 4


def bike_file(folder: Path, bike: str, *, conservative_slot: int = 2) -> Path:
    """A bike of a build of its own."""
    text = BIKES["heron-300"].replace('id = "heron-300"', f'id = "{bike}"').replace('build = "', f'build = "{bike} ')
    assert "conservative_slot = 2" in text
    path = folder / f"{bike}.bike.toml"
    path.write_text(text.replace("conservative_slot = 2", f"conservative_slot = {conservative_slot}"), encoding="utf-8")
    return path


def stored(library: Library, folder: Path, bike: str, number: int, played: Ride) -> None:
    log = folder / f"{bike}-{number}.csv"
    log.write_text(f"{bike} {number}\n", encoding="utf-8")
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    ride = replace(
        played, id=f"{bike}-{number}", bike=bike, sources=(source,), timezone="UTC", condition="unknown",
        ambient_c=20.0, start_utc=datetime(2026, 5, 1 + number, 9, tzinfo=UTC),
    )  # fmt: skip
    library.add(ride, [log])


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Library:
    """Rides of one simulated machine under two names: "right", and "wrong" with the slots the other way round."""
    folder = tmp_path_factory.mktemp("numbers")
    library = Library.open(folder / "library")
    for bike in ("right", "wrong"):
        library.add_bike(bike_file(folder, bike))
    for number in range(RIDES):
        played = simulate(40 + number, "heron-300", machine_seed=7, duration_s=1500.0, map_plan="alternate").ride
        stored(library, folder, "right", number, played)
        stored(library, folder, "wrong", number, swapped_slots(played))
    return library


def numbers_doubtful(library: Library, name: str) -> bool:
    return name in bikes_doubted(library, [library.bike(name)])


def told(library: Library, bike: str) -> list[Found]:
    return results(library, library.review_rows(bike))


def test_the_heat_tells_which_way_round_the_numbers_are(library: Library) -> None:
    assert not numbers_doubtful(library, "right")
    assert numbers_doubtful(library, "wrong")


def test_then_the_map_is_not_known_on_any_of_its_rides(library: Library) -> None:
    right, wrong = told(library, "right"), told(library, "wrong")
    advised = {one.row.id.removeprefix("right"): one for one in right if one.result and one.result.kinds}
    assert advised
    assert any(kind.unknown_s < kind.advised_s for one in advised.values() if one.result for kind in one.result.kinds)
    for one in wrong:
        assert one.result is not None
        if not one.result.kinds:
            continue
        # A ride on which the numbers look swapped by themselves says that.
        assert one.reason in (cause_words.HEAT_SPEAKS_AGAINST_NUMBERS, cause_words.MAP_MAY_BE_SWAPPED)
        assert one.result.reason == one.reason
        for kind in one.result.kinds:
            assert (kind.unknown_s, kind.conservative_s) == (kind.advised_s, 0.0)
            followed, late, missed, unknown, _ = kind.counts
            assert (followed, late, missed) == (0, 0, 0)
            assert unknown > 0
    assert any(one.reason == cause_words.HEAT_SPEAKS_AGAINST_NUMBERS for one in wrong)


def test_with_the_numbers_put_right_in_the_bike_file_it_is_told_again(library: Library, tmp_path: Path) -> None:
    library.add_bike(bike_file(tmp_path, "wrong", conservative_slot=1))
    try:
        assert not numbers_doubtful(library, "wrong")
        assert [one.result.kinds for one in told(library, "wrong") if one.result] == [
            one.result.kinds for one in told(library, "right") if one.result
        ]
    finally:
        library.add_bike(bike_file(tmp_path, "wrong"))


def test_the_answer_is_kept_until_a_ride_is_marked_faulty(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    numbers_doubtful(library, "wrong")
    asked: list[str] = []
    fits_of = map_numbers.fits_of
    monkeypatch.setattr(map_numbers, "fits_of", lambda *given: asked.append("fits") or fits_of(*given))
    assert numbers_doubtful(library, "wrong")
    assert asked == []
    library.edit("wrong-0", condition="faulty")
    numbers_doubtful(library, "wrong")
    assert asked == ["fits"]
    library.edit("wrong-0", condition="unknown")


def test_a_library_that_cannot_be_written_costs_no_answer(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise LibraryError("the disk is full", where="library", expected="room", to_do="make room")

    monkeypatch.setattr(type(library), "keep_estimate", full)
    library.edit("wrong-1", ambient_c=21.0)
    assert numbers_doubtful(library, "wrong")
    library.edit("wrong-1", ambient_c=20.0)
