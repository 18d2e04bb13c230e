"""An engine log without a date and a dated satellite log of one ride: the import finds how their clocks lie."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import sample_logs
from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride

START = datetime(2026, 5, 9, 10, 15, tzinfo=UTC)


@pytest.fixture(scope="module")
def ride() -> Ride:
    """A sample ride whose channels all share one clock: the truth."""
    path = sample_logs.folder() / "rides" / "01-standard-in-sand.csv.gz"
    return read_rides([path], ImportOptions())[0]


def write_engine(path: Path, ride: Ride, *, late_s: float, drift_ppm: float, rpm: np.ndarray | None = None) -> None:
    """Engine channels on a clock of their own: seconds from its start, `late_s` after the ride's, running fast."""
    kept = ride.samples.filter((pl.col("t_s") >= late_s) & pl.col("engine_rpm").is_not_null())
    own = (kept["t_s"] - late_s) * (1.0 + drift_ppm * 1e-6)
    table = pl.DataFrame(
        {
            "Time [s]": own.round(4),
            "Engine speed [rpm]": kept["engine_rpm"] if rpm is None else pl.Series(rpm[: own.len()]),
            "Coolant temp [C]": kept["coolant_c"],
        }
    )
    table.write_csv(path)


def write_track(path: Path, ride: Ride, *, speed: bool) -> None:
    """Positions, and the receiver's speed where asked, with date and time."""
    kept = ride.samples.filter(pl.col("lat_deg").is_not_null() & pl.col("gps_speed_mps").is_not_null()).gather_every(4)
    stamps = [(START + timedelta(seconds=t)).isoformat().replace("+00:00", "Z") for t in kept["t_s"]]
    columns = {"Time": stamps, "Latitude": kept["lat_deg"], "Longitude": kept["lon_deg"]}
    if speed:
        columns["GPS speed [m/s]"] = kept["gps_speed_mps"]
    pl.DataFrame(columns).write_csv(path)


@pytest.mark.parametrize(
    ("late_s", "drift_ppm", "speed"), [(37.4, 0.0, True), (121.25, 150.0, True), (10.0, -80.0, False)]
)
def test_a_clock_without_a_date_is_placed(
    ride: Ride, tmp_path: Path, late_s: float, drift_ppm: float, *, speed: bool
) -> None:
    engine, track = tmp_path / "engine.csv", tmp_path / "track.csv"
    write_engine(engine, ride, late_s=late_s, drift_ppm=drift_ppm)
    write_track(track, ride, speed=speed)
    joined = read_rides([engine, track], ImportOptions(), together=True)[0]
    assert any(note.kind == "clock_placed" and "engine.csv" in note.text for note in joined.notes)
    assert joined.start_utc is not None
    shift_s = (joined.start_utc - START).total_seconds()
    found = joined.samples.filter(pl.col("coolant_c").is_not_null())["t_s"].to_numpy() + shift_s
    true = ride.samples.filter(pl.col("t_s") >= late_s)["t_s"].to_numpy()
    assert found.size == true.size
    assert np.abs(found - true).max() < 0.15


def test_an_engine_that_tells_nothing_is_refused_with_the_reason(ride: Ride, tmp_path: Path) -> None:
    engine, track = tmp_path / "engine.csv", tmp_path / "track.csv"
    write_engine(engine, ride, late_s=30.0, drift_ppm=0.0, rpm=np.full(ride.samples.height, 4000.0))
    write_track(track, ride, speed=True)
    with pytest.raises(InputRefused, match="its place in the ride can't be found"):
        read_rides([engine, track], ImportOptions(), together=True)
