"""The conservative map's effect over a library's rides: which count, what is kept, when it is told, who uses it."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from plant import BIKES, simulate
from plant.effect_referee import machine, true_ratios

from ridelog import effect
from ridelog.cli.group import ridelog
from ridelog.effect import LATEST_OF_BUILD, LATEST_RIDES, Effect, effect_of, known_effect
from ridelog.errors import LibraryError
from ridelog.ride import Ride, SourceFile
from ridelog.store.library import Library
from ridelog.study import known_of, known_of_ride, study

MODEL = "heron-300"
RIDES = 5


def bike_text(name: str, extra: str = "") -> str:
    return BIKES[MODEL].replace('id = "heron-300"', f'id = "{name}"') + extra


def add_bike(library: Library, folder: Path, name: str, extra: str = "") -> None:
    path = folder / f"{name}.bike.toml"
    path.write_text(bike_text(name, extra), encoding="utf-8")
    library.add_bike(path)


def add_ride(library: Library, folder: Path, played: Ride, bike: str, number: int) -> Ride:
    """A simulated ride in the library, as one of a bike, on the day of its number."""
    log = folder / f"{bike}-{number}.csv"
    log.write_text(f"{bike} {number}\n", encoding="utf-8")
    source = SourceFile(log.name, hashlib.sha256(log.read_bytes()).hexdigest(), log.stat().st_size, "delimited")
    ride = replace(
        played,
        id=f"202605{number + 1:02d}-0900-{hashlib.sha256(log.read_bytes()).hexdigest()[:8]}",
        bike=bike,
        sources=(source,),
        start_utc=datetime(2026, 5, number + 1, 9, tzinfo=UTC),
        timezone="UTC",
        condition="unknown",
        ambient_c=20.0,
    )
    library.add(ride, [log])
    return ride


@pytest.fixture(scope="module")
def played() -> list[Ride]:
    """Rides of one machine whose map changes every few minutes, whatever the ground."""
    bike = machine(0)
    made = [
        simulate(8100 + n, MODEL, machine=bike, map_plan="alternate", duration_s=1500.0, ambient_c=20.0)
        for n in range(RIDES)
    ]
    assert true_ratios(made).same_work == pytest.approx(0.86, abs=0.01)
    return [one.ride for one in made]


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory, played: list[Ride]) -> Path:
    """A library with those rides, the effect worked out once."""
    folder = tmp_path_factory.mktemp("effect")
    library = Library.open(folder / "library")
    add_bike(library, folder, "alder")
    for number, ride in enumerate(played):
        add_ride(library, folder, ride, "alder", number)
    effect_of(library, library.bike("alder"))
    return folder / "library"


@pytest.fixture
def library(shelf: Path, tmp_path: Path) -> Library:
    shutil.copytree(shelf, tmp_path / "library")
    return Library.open(tmp_path / "library")


def nothing_made(monkeypatch: pytest.MonkeyPatch) -> None:
    """From here on no ride may be worked out."""

    def made(*_: object, **__: object) -> None:
        raise AssertionError("a ride was worked out again")

    monkeypatch.setattr(effect, "part_of", made)


def test_the_effect_of_rides_on_both_maps_is_told(library: Library) -> None:
    found = effect_of(library, library.bike("alder"))
    assert found.identified
    assert found.reason is None
    assert found.level == "bike"
    assert found.rides == RIDES
    assert found.bikes == ("alder",)
    assert found.heat_ratio is not None
    assert found.same_throttle is not None
    assert found.heat_ratio.low <= 0.86 <= found.heat_ratio.high
    assert found.same_throttle.value < found.heat_ratio.value
    assert found.switches > found.switches_on_like_ground > 0
    assert min(found.standard_s, found.conservative_s) > 600.0
    document = found.to_json()
    assert {"schema", "bike", "rides", "identified", "reason", "heat_ratio", "method"} <= set(document)
    assert document["rides"] == RIDES
    json.dumps(document, allow_nan=False)


def test_a_second_call_works_out_nothing_and_says_the_same(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    bike = library.bike("alder")
    first = effect_of(library, bike)
    nothing_made(monkeypatch)
    monkeypatch.setattr(effect.estimate, "pooled", None)
    assert effect_of(library, bike) == first
    monkeypatch.undo()
    nothing_made(monkeypatch)
    # The estimate alone is lost: it is made again from what is kept of the rides, to the same digits.
    with sqlite3.connect(library.root / "library.sqlite") as db:
        db.execute("DELETE FROM kept_estimate")
    db.close()
    assert effect_of(library, bike) == first


@pytest.mark.parametrize("damage", [b"", b"N", b"Nabc", b"X" * 40, b"N" + b"\xff" * 8 * effect.estimate.NUMBERS])
def test_what_is_kept_and_makes_no_sense_is_made_again(library: Library, damage: bytes) -> None:
    first = effect_of(library, library.bike("alder"))
    with sqlite3.connect(library.root / "library.sqlite") as db:
        db.execute("UPDATE kept_part SET numbers = ?", (damage,))
        db.execute("UPDATE kept_estimate SET document = '{}'")
    db.close()
    assert effect_of(library, library.bike("alder")) == first


def test_another_air_temperature_or_another_bike_file_makes_its_rides_anew(library: Library, tmp_path: Path) -> None:
    first = effect_of(library, library.bike("alder"))
    library.edit(first.rides_used[0], ambient_c=26.0)
    second = effect_of(library, library.bike("alder"))
    assert second.hash != first.hash
    assert second.heat_ratio != first.heat_ratio
    add_bike(library, tmp_path, "alder", "\n[[service]]\ndate = 2026-05-03\nwhat = 'radiators washed'\n")
    # Work on the bike leaves the ratio of the maps as it is.
    assert effect_of(library, library.bike("alder")).heat_ratio == second.heat_ratio


def test_rides_marked_faulty_count(library: Library) -> None:
    first = effect_of(library, library.bike("alder"))
    library.edit(first.rides_used[0], condition="faulty")
    assert effect_of(library, library.bike("alder")) == first


def test_too_few_rides_or_only_one_map_or_no_map_is_not_identified(
    tmp_path: Path, played: list[Ride], monkeypatch: pytest.MonkeyPatch
) -> None:
    library = Library.open(tmp_path / "library")
    add_bike(library, tmp_path, "birch")
    bike = library.bike("birch")
    assert "no ride" in str(effect_of(library, bike).reason)
    for number, ride in enumerate(played[:3]):
        add_ride(library, tmp_path, ride, "birch", number)
    found = effect_of(library, bike)
    assert not found.identified
    assert found.heat_ratio is None
    assert "3 rides" in str(found.reason)
    add_bike(library, tmp_path, "cedar")
    one_map = [replace(ride, samples=ride.samples.with_columns(map_slot=1.0 + 0.0 * ride.samples["map_slot"]))
               for ride in played]  # fmt: skip
    for number, ride in enumerate(one_map):
        add_ride(library, tmp_path, ride, "cedar", number)
    assert "one map" in str(effect_of(library, library.bike("cedar")).reason)
    assert known_effect(library, library.bike("cedar")) is None
    add_bike(library, tmp_path, "doum")
    unlogged = replace(
        played[0],
        samples=played[0].samples.drop("map_slot"),
        channels={name: info for name, info in played[0].channels.items() if name != "map_slot"},
    )
    add_ride(library, tmp_path, unlogged, "doum", 0)
    found = effect_of(library, library.bike("doum"))
    assert [one.reason for one in found.left_out] == ["the log does not tell the map in use"]
    nothing_made(monkeypatch)
    assert effect_of(library, library.bike("doum")) == found


def test_slot_numbers_the_wrong_way_round_are_named_as_a_likely_reason(library: Library, tmp_path: Path) -> None:
    add_bike(library, tmp_path, "alder", "")
    text = bike_text("alder").replace("conservative_slot = 2", "conservative_slot = 1")
    path = tmp_path / "swapped.bike.toml"
    path.write_text(text, encoding="utf-8")
    library.add_bike(path)
    found = effect_of(library, library.bike("alder"))
    assert not found.identified
    assert "conservative_slot" in str(found.reason)


def test_a_bike_without_rides_of_its_own_hears_its_build(
    library: Library, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = effect_of(library, library.bike("alder"))
    add_bike(library, tmp_path, "elm")
    found = effect_of(library, library.bike("elm"))
    assert found.identified
    assert found.level == "build"
    assert found.bikes == ("alder",)
    assert found.heat_ratio is not None
    assert own.heat_ratio is not None
    assert found.heat_ratio.high - found.heat_ratio.low > own.heat_ratio.high - own.heat_ratio.low
    nothing_made(monkeypatch)
    assert known_effect(library, library.bike("elm")) == replace(found, hash=found.hash)
    text = bike_text("fir").replace('build = "heron"', 'build = "another"')
    (tmp_path / "fir.bike.toml").write_text(text, encoding="utf-8")
    library.add_bike(tmp_path / "fir.bike.toml")
    assert not effect_of(library, library.bike("fir")).identified


def test_an_analysis_works_out_no_more_than_the_latest_rides(
    library: Library, tmp_path: Path, played: list[Ride], monkeypatch: pytest.MonkeyPatch
) -> None:
    text = bike_text("gorse").replace('build = "heron"', 'build = "another"')
    (tmp_path / "gorse.bike.toml").write_text(text, encoding="utf-8")
    library.add_bike(tmp_path / "gorse.bike.toml")
    for number in range(LATEST_RIDES + 4):
        add_ride(library, tmp_path, played[number % RIDES], "gorse", number)
    asked: list[str] = []

    def counted(ride: Ride, *_: object, **__: object) -> str:
        asked.append(ride.id)
        return "nothing"

    monkeypatch.setattr(effect, "part_of", counted)
    bike = library.bike("gorse")
    assert known_effect(library, bike) is None
    assert len(asked) == LATEST_RIDES
    assert min(asked) > "20260505"
    assert known_effect(library, bike) is None
    assert len(asked) == LATEST_RIDES
    effect_of(library, bike)
    assert len(asked) == LATEST_RIDES + 4


def test_looking_at_the_effect_changes_no_analysis(library: Library, tmp_path: Path, played: list[Ride]) -> None:
    """What was worked out in between, of the bike and of its build, is not heard by the next analysis."""
    for number in range(LATEST_RIDES + 2):
        add_ride(library, tmp_path, played[number % RIDES], "alder", number + RIDES)
    add_bike(library, tmp_path, "elm")
    before = [known_effect(library, library.bike(name)) for name in ("alder", "elm")]
    assert all(one is not None for one in before)
    for name in ("alder", "elm"):
        effect_of(library, library.bike(name))
    assert [known_effect(library, library.bike(name)) for name in ("alder", "elm")] == before


def test_rides_of_a_build_are_shared_out_among_its_bikes(
    library: Library, tmp_path: Path, played: list[Ride], monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("birch", "cedar", "doum", "elm", "gorse"):
        add_bike(library, tmp_path, name)
        for number in range(8):
            add_ride(library, tmp_path, played[number % RIDES], name, number)
    asked: list[str] = []
    monkeypatch.setattr(effect, "part_of", lambda ride, *_, **__: asked.append(ride.bike) or "nothing")
    add_bike(library, tmp_path, "fir")
    known_effect(library, library.bike("fir"))
    # Those of the first bike are kept already.
    each = LATEST_OF_BUILD // 6
    assert {name: asked.count(name) for name in asked} == dict.fromkeys(
        ("birch", "cedar", "doum", "elm", "gorse"), each
    )


def test_a_library_that_can_only_be_read_still_tells(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    first = effect_of(library, library.bike("alder"))
    with sqlite3.connect(library.root / "library.sqlite") as db:
        db.execute("DELETE FROM kept_part")
        db.execute("DELETE FROM kept_estimate")
    db.close()

    def full(*_: object) -> None:
        raise LibraryError("disk full")

    monkeypatch.setattr(Library, "keep_part", full)
    monkeypatch.setattr(Library, "keep_estimate", full)
    assert effect_of(library, library.bike("alder")) == first


def test_a_damaged_ride_is_left_out_and_told(library: Library) -> None:
    first = effect_of(library, library.bike("alder"))
    ride = first.rides_used[1]
    (library.root / "rides" / f"{ride}.parquet").write_bytes(b"")
    with sqlite3.connect(library.root / "library.sqlite") as db:
        db.execute("DELETE FROM kept_part")
        db.execute("DELETE FROM kept_estimate")
    db.close()
    found = effect_of(library, library.bike("alder"))
    assert [(one.ride, one.reason) for one in found.left_out] == [(ride, "the ride's file can't be read")]
    assert found.rides == RIDES - 1


def test_the_what_if_of_a_ride_goes_by_it(library: Library) -> None:
    found = effect_of(library, library.bike("alder"))
    ride = library.load(found.rides_used[0])
    known = known_of_ride(library, ride)
    assert known.effect == found
    assert known_of(library, library.row(ride.id)).hash == known.hash
    assert replace(known, effect=None).hash != known.hash
    told = study(ride, known).found.analysis.what_if
    alone = study(ride, replace(known, effect=None)).found.analysis.what_if
    assert told is not None
    assert alone is not None
    assert (told.basis, told.heat_ratio) == ("library", found.heat_ratio)
    assert alone.basis == "default"
    assert alone.heat_ratio is not None
    assert found.heat_ratio is not None
    assert alone.heat_ratio.high - alone.heat_ratio.low != found.heat_ratio.high - found.heat_ratio.low


def test_the_command_prints_the_contract_and_says_it_in_words(library: Library) -> None:
    run = CliRunner().invoke(ridelog, ["effect", "--library", str(library.root), "--json"])
    assert run.exit_code == 0, run.output
    document = json.loads(run.stdout)
    assert document["schema"] == 1
    assert document["bike"] == "alder"
    assert document["rides"] == RIDES
    assert document["identified"] is True
    assert set(document["heat_ratio"]) == {"value", "low", "high"}
    run = CliRunner().invoke(ridelog, ["effect", "--bike", "alder", "--library", str(library.root)])
    assert run.exit_code == 0, run.output
    assert "less heat into the coolant" in run.stdout
    assert "piston" in run.stdout


def test_without_a_bike_the_command_asks_which(library: Library, tmp_path: Path) -> None:
    add_bike(library, tmp_path, "hazel")
    run = CliRunner().invoke(ridelog, ["effect", "--library", str(library.root)])
    assert run.exit_code != 0
    assert run.exception is not None
    assert "alder, hazel" in str(getattr(run.exception, "expected", "")) + run.output


def test_the_document_is_read_back_as_it_was(library: Library) -> None:
    found = effect_of(library, library.bike("alder"))
    kept = library.estimate("effect bike 40 alder")
    assert kept is not None
    assert effect._read(kept[1]) == found
    assert isinstance(found, Effect)
    assert np.isfinite([found.standard_s, found.conservative_s]).all()
