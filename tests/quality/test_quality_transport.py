"""A bike in a van: what is left out, and what only looks like it."""

from __future__ import annotations

import gzip
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import covered, kinds, marks_of, ride_of, times, values, with_channel

from ridelog.ingest import ImportOptions, read_rides
from ridelog.results import FloatArray
from ridelog.ride import Ride

MOTION = {"gps_speed_mps", "lat_deg", "lon_deg"}


@pytest.mark.parametrize("name", ["01-standard-in-sand", "03-spaet-geschaltet", "07-half-blocked", "08-long-ride"])
def test_a_ride_that_ends_in_a_van(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    t_s = times(ride)
    van = t_s > t_s[-1] - 600.0
    faulty = ride
    for channel, there in (("engine_rpm", 0.0), ("throttle_pct", 3.0)):
        y = values(ride, channel)
        y[van & np.isfinite(y)] = there
        faulty = with_channel(faulty, channel, y)
    coolant = values(ride, "coolant_c")
    cooling = 90.0 - (t_s - t_s[-1] + 600.0) / 30.0
    coolant[van & np.isfinite(coolant)] = np.round(cooling[van & np.isfinite(coolant)])
    faulty = with_channel(faulty, "coolant_c", coolant)
    marks = marks_of(faulty, kind="transport")
    assert {mark.channel for mark in marks} == MOTION
    found = covered(faulty, marks)
    assert (found & van).sum() > 0.93 * van.sum()
    assert not (found & ~van)[: -(3 * 20)].any() or (found & ~van).sum() < 60
    assert all(mark.action == "excluded" for mark in marks)
    assert "does not count as riding" in marks[0].detail


def test_the_way_in_the_van_is_not_ridden_where_only_positions_tell(tmp_path: Path) -> None:
    """A track without speed beside an engine log: the distance must not jump from where the van was loaded to where it
    was unloaded."""
    folder = Path(__file__).resolve().parents[2] / "sample_logs" / "rides"
    with gzip.open(folder / "12-two-devices.csv.gz", "rt", encoding="utf-8") as file:
        header, *lines = file.read().splitlines()
    cut = slice(5000, 9500)  # 450 s at 10 Hz
    carried = [line.split(",") for line in lines[cut]]
    lines[cut] = [f"{row[0]},0,0.9,{max(60.0, 90.0 - index / 200.0):.1f},0" for index, row in enumerate(carried)]
    log = tmp_path / "engine.csv"
    log.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    track = folder / "12-two-devices.gpx"
    (whole,) = read_rides([track, folder / "12-two-devices.csv.gz"], ImportOptions(), together=True)
    (ride,) = read_rides([track, log], ImportOptions(), together=True)
    (van,) = [mark for mark in ride.quality if mark.kind == "transport" and mark.channel == "lat_deg"]
    t_s, speed = times(whole), values(whole, "gps_speed_mps")
    inside = np.isfinite(speed) & (t_s >= van.start_s) & (t_s < van.end_s)
    way_m = float(np.trapezoid(speed[inside], t_s[inside]))
    assert whole.distance_m is not None
    assert ride.distance_m is not None
    assert way_m > 3000.0
    assert whole.distance_m - ride.distance_m == pytest.approx(way_m, rel=0.02)


def road(seconds: int = 900) -> dict[str, FloatArray]:
    t_s = np.arange(0.0, seconds)
    return {"t_s": t_s, "gps_speed_mps": 16.0 + 4.0 * np.sin(t_s / 30.0)}


def test_stops_on_the_way_do_not_end_it() -> None:
    base = road()
    t_s = base["t_s"]
    base["gps_speed_mps"] = np.where((t_s > 300.0) & (t_s < 400.0), 0.0, base["gps_speed_mps"])
    rpm = np.where(t_s < 200.0, 4000.0 + 500.0 * np.sin(t_s), 0.0)
    (mark,) = marks_of(ride_of(**base, engine_rpm=rpm), kind="transport")
    assert (mark.start_s, mark.end_s) == (200.0, pytest.approx(899.0, abs=1.0))


def test_a_wheel_that_stands_on_the_trailer() -> None:
    base = road()
    rpm = np.where(base["t_s"] < 200.0, 4000.0, 0.0)
    wheel = np.where(base["t_s"] < 200.0, base["gps_speed_mps"], 0.0)
    marks = marks_of(ride_of(**base, engine_rpm=rpm, wheel_speed_mps=wheel), kind="transport")
    assert {mark.channel for mark in marks} == {"gps_speed_mps", "wheel_speed_mps"}


def test_coasting_with_a_stalled_engine_is_riding() -> None:
    base = road()
    t_s = base["t_s"]
    stalled = (t_s > 300.0) & (t_s < 390.0)
    assert marks_of(ride_of(**base, engine_rpm=np.where(stalled, 0.0, 4000.0))) == []


def test_rolling_down_a_mountain_can_t_be_told() -> None:
    base = road()
    t_s = base["t_s"]
    off = t_s > 300.0
    height = np.where(off, 1500.0 - 0.06 * 16.0 * (t_s - 300.0), 1500.0)
    (mark,) = marks_of(ride_of(**base, engine_rpm=np.where(off, 0.0, 4000.0), elevation_m=height))
    assert (mark.kind, mark.action) == ("transport_or_coasting", "kept")
    assert "can't be told" in mark.detail


def test_without_height_a_short_way_can_t_be_told() -> None:
    base = road()
    off = (base["t_s"] > 300.0) & (base["t_s"] < 500.0)
    rpm = np.where(off, 0.0, 4000.0)
    (mark,) = marks_of(ride_of(**base, engine_rpm=rpm))
    assert (mark.kind, mark.action) == ("transport_or_coasting", "kept")
    assert "height not logged" in mark.detail
    level = marks_of(ride_of(**base, engine_rpm=rpm, elevation_m=np.full(rpm.size, 300.0)))
    assert [mark.kind for mark in level] == ["transport"]


def test_an_engine_side_that_falls_silent_can_t_be_told() -> None:
    base = road()
    silent = base["t_s"] > 500.0
    rpm = np.where(silent, np.nan, 4000.0 + np.sin(base["t_s"]))
    (mark,) = marks_of(ride_of(**base, engine_rpm=rpm), kind="transport_or_rpm_lost")
    assert (mark.channel, mark.action, mark.start_s) == ("gps_speed_mps", "kept", pytest.approx(502.0, abs=3.0))
    # Another channel of the engine goes on: then only the engine speed's lead is lost, which its dropout says.
    alive = ride_of(**base, engine_rpm=rpm, throttle_pct=30.0 + 20.0 * np.sin(base["t_s"]))
    assert kinds(marks_of(alive)) == {"dropout"}


def test_an_engine_that_plainly_runs() -> None:
    base = road()
    t_s = base["t_s"]
    off = t_s > 300.0
    rpm = np.where(off, 0.0, 4000.0)
    grip = 40.0 + 30.0 * np.sin(t_s / 5.0)
    (mark,) = marks_of(ride_of(**base, engine_rpm=rpm, throttle_pct=grip))
    assert (mark.channel, mark.kind, mark.action) == ("engine_rpm", "rpm_lost", "excluded")
    warming = np.round(np.minimum(20.0 + t_s / 12.0, 90.0))
    marks = marks_of(ride_of(**base, engine_rpm=rpm, coolant_c=warming))
    assert kinds(marks) == {"rpm_lost"}


def test_an_engine_speed_that_never_was() -> None:
    base = road()
    (mark,) = marks_of(ride_of(**base, engine_rpm=np.zeros(base["t_s"].size)))
    assert (mark.channel, mark.kind, mark.action) == ("engine_rpm", "transport_or_rpm_lost", "kept")


def test_a_track_without_an_engine_is_no_transport() -> None:
    assert marks_of(ride_of(**road())) == []
