"""A ride beside stored ones of the same time: exported twice, another device, part of a joint ride, another ride."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest

import sample_logs
from ridelog.ingest import ImportOptions, Outcome, import_files, read_rides
from ridelog.ride import Note, Ride
from ridelog.store.library import Library

START = datetime(2026, 5, 9, 10, 15, tzinfo=UTC)
NAMES = {
    "engine_rpm": "Engine speed [rpm]",
    "coolant_c": "Coolant temp [C]",
    "throttle_pct": "Throttle [%]",
    "gps_speed_mps": "GPS speed [m/s]",
    "lat_deg": "Latitude",
    "lon_deg": "Longitude",
}
ENGINE = ("engine_rpm", "coolant_c", "throttle_pct")
TRACK = ("lat_deg", "lon_deg", "gps_speed_mps")
PLAIN = ImportOptions()


def sample(name: str) -> Ride:
    return read_rides([sample_logs.folder() / "rides" / name], PLAIN)[0]


@pytest.fixture(scope="module")
def ride() -> Ride:
    return sample("01-standard-in-sand.csv.gz")


@pytest.fixture(scope="module")
def other_ride() -> Ride:
    return sample("04-clean-radiators.tsv.gz")


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


def write(
    path: Path, ride: Ride, channels: tuple[str, ...], *, every: int = 1, ahead_s: float = 0.0, zone: str = "Z"
) -> Path:
    """An export of the ride that begins at START, whatever day it truly was."""
    table = ride.samples.drop_nulls(list(channels)).gather_every(every)
    us = ((table["t_s"] + ahead_s) * 1e6).round().cast(pl.Int64) + round(START.timestamp() * 1e6)
    times = us.cast(pl.Datetime("us")).dt.strftime("%Y-%m-%dT%H:%M:%S%.3f") + zone
    pl.DataFrame({"Time": times} | {NAMES[name]: table[name] for name in channels}).write_csv(path)
    return path


def store(library: Library, *paths: Path, bike: str | None = None) -> Outcome:
    (outcome,) = import_files(library, paths, ImportOptions(bike_id=bike), together=len(paths) > 1)
    assert outcome.status == "stored"
    return outcome


def beside(outcome: Outcome) -> list[Note]:
    return [note for note in outcome.notes if note.kind.startswith("overlap")]


@pytest.mark.parametrize("zone", ["Z", ""])
@pytest.mark.parametrize("every", [2, 20])
def test_a_resampled_export_of_a_stored_ride_is_told(
    library: Library, ride: Ride, tmp_path: Path, every: int, zone: str
) -> None:
    first = store(library, write(tmp_path / "one.csv", ride, ENGINE, zone=zone))
    assert beside(first) == []
    second = store(library, write(tmp_path / "two.csv", ride, ENGINE, every=every, zone=zone))
    (note,) = beside(second)
    assert note.kind == "overlap_same_ride"
    assert f"overlaps ride {first.ride_id} from 2026-05-09 10:15:00 to 10:38:" in note.text
    assert "looks like the same ride exported twice" in note.text
    assert f"{first.ride_id} has more rows a second" in note.text
    assert f"ridelog remove {second.ride_id}" in note.text
    assert len(library.list_rides()) == 2  # told, not refused
    # What is told of another ride is no fact of this one: it is not written into the ride.
    assert second.ride_id is not None
    assert not [one for one in library.load(second.ride_id).notes if one.kind.startswith("overlap")]


def test_an_export_with_fewer_channels_and_a_clock_off_by_seconds(library: Library, ride: Ride, tmp_path: Path) -> None:
    first = store(library, write(tmp_path / "one.csv", ride, ENGINE))
    second = store(library, write(tmp_path / "two.csv", ride, ("engine_rpm",), every=4, ahead_s=7.0))
    (note,) = beside(second)
    assert note.kind == "overlap_same_ride"
    assert "clocks 7.0" in note.text or "clocks 6.9" in note.text
    assert f"{first.ride_id} has more channels (3 against 1)" in note.text


def test_another_device_is_offered_to_be_read_together(library: Library, ride: Ride, tmp_path: Path) -> None:
    engine, track = write(tmp_path / "my engine.csv", ride, ENGINE), write(tmp_path / "track.csv", ride, TRACK, every=4)
    first, second = store(library, engine), store(library, track)
    (note,) = beside(second)
    assert note.kind == "overlap_other_device"
    assert "ridelog import 'my engine.csv' track.csv --together" in note.text
    both = store(library, engine, track)
    assert [one.kind for one in beside(both)] == ["overlap_part", "overlap_part"]
    assert {f"ridelog remove {first.ride_id}", f"ridelog remove {second.ride_id}"} == {
        "ridelog remove " + one.text.rpartition(" ")[2] for one in beside(both)
    }


def test_a_part_of_a_joint_ride_is_told(library: Library, ride: Ride, tmp_path: Path) -> None:
    engine, track = write(tmp_path / "engine.csv", ride, ENGINE), write(tmp_path / "track.csv", ride, TRACK, every=4)
    store(library, engine, track)
    part = store(library, engine)
    (note,) = beside(part)
    assert note.kind == "overlap_part"
    assert "engine.csv is in both" in note.text
    assert note.text.endswith(f"ridelog remove {part.ride_id}")


def test_devices_with_nothing_in_common(library: Library, ride: Ride, tmp_path: Path) -> None:
    store(library, write(tmp_path / "heat.csv", ride, ("coolant_c",)))
    (note,) = beside(store(library, write(tmp_path / "track.csv", ride, TRACK, every=4)))
    assert note.kind == "overlap_unknown"
    assert "nothing in common to compare" in note.text
    assert "--together" in note.text


def test_another_ride_at_the_same_time_is_not_called_the_same(
    library: Library, ride: Ride, other_ride: Ride, tmp_path: Path
) -> None:
    """Two bikes on one course that set off together: alike to the eye, and not one ride."""
    store(library, write(tmp_path / "one.csv", ride, ENGINE))
    (note,) = beside(store(library, write(tmp_path / "two.csv", other_ride, ENGINE)))
    assert note.kind == "overlap_unlike"
    assert "agrees little" in note.text


def test_rides_of_another_bike_are_left_out(library: Library, ride: Ride, other_ride: Ride, tmp_path: Path) -> None:
    store(library, write(tmp_path / "one.csv", ride, ENGINE), bike="a")
    assert beside(store(library, write(tmp_path / "two.csv", other_ride, ENGINE), bike="b")) == []
    named = store(library, write(tmp_path / "three.csv", ride, ENGINE, every=2), bike="a")
    assert [note.kind for note in beside(named)] == ["overlap_same_ride"]
    unnamed = store(library, write(tmp_path / "four.csv", ride, ENGINE, every=4))
    assert len(beside(unnamed)) == 3


def test_only_the_nearest_are_compared_and_the_rest_counted(library: Library, ride: Ride, tmp_path: Path) -> None:
    for every in range(1, 6):
        last = store(library, write(tmp_path / f"{every}.csv", ride, ENGINE, every=every))
    notes = beside(last)
    assert [note.kind for note in notes] == ["overlap_same_ride"] * 3 + ["overlap_more"]
    assert notes[-1].text.startswith("one more ride of the library overlaps")


def test_the_next_ride_of_the_day_and_rides_without_a_date_say_nothing(
    library: Library, ride: Ride, tmp_path: Path
) -> None:
    store(library, write(tmp_path / "one.csv", ride, ENGINE))
    assert beside(store(library, write(tmp_path / "two.csv", ride, ENGINE, ahead_s=ride.duration_s - 20.0))) == []
    counter = tmp_path / "counter.csv"
    table = ride.samples.drop_nulls(list(ENGINE))
    pl.DataFrame({"Time [s]": table["t_s"]} | {NAMES[name]: table[name] for name in ENGINE}).write_csv(counter)
    assert beside(store(library, counter)) == []


def test_a_stored_ride_that_is_damaged_stops_nothing(library: Library, ride: Ride, tmp_path: Path) -> None:
    first = store(library, write(tmp_path / "one.csv", ride, ENGINE))
    (library.root / "rides" / f"{first.ride_id}.parquet").write_bytes(b"no longer a ride")
    (note,) = beside(store(library, write(tmp_path / "two.csv", ride, ENGINE, every=4)))
    assert note.kind == "overlap_unread"
    assert "could not be compared" in note.text
