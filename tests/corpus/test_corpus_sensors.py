"""How sensors go wrong on a whole ride: a sample ride is written out with a fault in it and read again as a file."""

# ruff: noqa: E501 - the tables have one case a line
from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import read

from ridelog.advice import default_advice
from ridelog.analysis.adherence import CONSERVATIVE, STANDARD, UNKNOWN
from ridelog.analyze import analyze
from ridelog.analyze_drive import Doubts
from ridelog.analyze_map import map_track
from ridelog.bike import Bike, read_bike
from ridelog.ingest import ImportOptions, read_rides
from ridelog.results import Analysis
from ridelog.ride import QualityMark, Ride

SAMPLES = Path(__file__).resolve().parents[2] / "sample_logs"
NAME = "01-standard-in-sand"
HEADS = {
    "t_s": "Time [s]", "coolant_c": "Coolant temp [C]", "engine_rpm": "Engine speed [rpm]", "throttle_pct": "Throttle [%]",
    "gps_speed_mps": "GPS speed [m/s]", "lat_deg": "Latitude", "lon_deg": "Longitude", "gear": "Gear", "ambient_c": "Ambient [C]",
    "coolant_2": "Coolant temp 2 [C]", "map_slot": "Map switch",
}  # fmt: skip

Columns = dict[str, np.ndarray]


@pytest.fixture(scope="module")
def entry() -> dict:
    rides = tomllib.loads((SAMPLES / "manifest.toml").read_text(encoding="utf-8"))["ride"]
    return next(one for one in rides if one["name"] == NAME)


@pytest.fixture(scope="module")
def bike(entry: dict) -> Bike:
    return read_bike(SAMPLES / "bikes" / f"{entry['bike']}.bike.toml")


@pytest.fixture(scope="module")
def healthy(entry: dict) -> Columns:
    """The channels of a sample ride, NaN where there is no sample."""
    (ride,) = read_rides([SAMPLES / name for name in entry["files"]], ImportOptions(timezone="UTC"))
    kept = [name for name in HEADS if name in ride.samples.columns]
    return {name: ride.samples[name].cast(pl.Float64).fill_null(np.nan).to_numpy().copy() for name in kept}


def written(columns: Columns, tmp_path: Path, bike: Bike | None = None) -> Ride:
    """The ride as the file of these channels gives it."""
    frame = pl.DataFrame({HEADS[name]: values for name, values in columns.items()}).fill_nan(None)
    frame.write_csv(tmp_path / "made.csv")
    return read(tmp_path, (tmp_path / "made.csv").read_bytes(), bike=bike)


def found(ride: Ride, kind: str) -> list[QualityMark]:
    return [mark for mark in ride.quality if mark.kind == kind]


def test_the_healthy_ride_has_no_marks(healthy: Columns, bike: Bike, tmp_path: Path) -> None:
    assert written(healthy, tmp_path, bike).quality == ()


def test_a_throttle_whose_shut_stop_moves(healthy: Columns, tmp_path: Path) -> None:
    half = healthy["t_s"] > healthy["t_s"][-1] / 2
    ride = written({**healthy, "throttle_pct": healthy["throttle_pct"] * 0.8 + np.where(half, 12.0, 0.0)}, tmp_path)
    (mark,) = found(ride, "throttle_zero")
    assert mark.action == "kept"
    assert mark.end_s == pytest.approx(ride.duration_s, abs=1.0)


@pytest.mark.parametrize(("factor", "word"), [(2.0, "twice"), (0.5, "half")])
def test_a_wrong_number_of_pulses_a_turn(
    factor: float, word: str, healthy: Columns, bike: Bike, tmp_path: Path
) -> None:
    ride = written({**healthy, "engine_rpm": np.minimum(healthy["engine_rpm"] * factor, 15_990.0)}, tmp_path, bike)
    (mark,) = found(ride, "pulse_count")
    assert f"is {word} what" in mark.detail


def test_spikes_of_engine_speed(healthy: Columns, tmp_path: Path) -> None:
    rpm = healthy["engine_rpm"].copy()
    steady = [n for n in range(200, rpm.size - 200, 97)
              if np.isfinite(rpm[n - 3 : n + 4]).all() and np.ptp(rpm[n - 3 : n + 4]) < 0.05 * rpm[n] and rpm[n] > 3300]  # fmt: skip
    assert len(steady) > 20
    rpm[steady] *= 2.0
    ride = written({**healthy, "engine_rpm": rpm}, tmp_path)
    marks = [mark for mark in ride.quality if mark.channel == "engine_rpm" and mark.action == "excluded"]
    hit = [any(mark.start_s <= healthy["t_s"][n] <= mark.end_s for mark in marks) for n in steady]
    assert np.mean(hit) > 0.95


def test_an_invented_coolant_curve(healthy: Columns, tmp_path: Path) -> None:
    curve = np.minimum(19.0 + 71.0 * healthy["t_s"] / 400.0, 90.0)
    ride = written({**healthy, "coolant_c": np.round(curve, 1)}, tmp_path)
    assert {mark.kind for mark in ride.quality if mark.channel == "coolant_c"} == {"substitute"}
    assert ride.peak_c is None


def test_speed_in_the_pits_and_under_trees(healthy: Columns, tmp_path: Path) -> None:
    t_s, speed = healthy["t_s"], healthy["gps_speed_mps"].copy()
    slow = np.convolve(np.nan_to_num(speed, nan=9.0) < 1.5, np.ones(60), "same") >= 60
    fast = np.convolve(np.nan_to_num(speed, nan=0.0) > 5.0, np.ones(200), "same") >= 200
    assert slow.any()
    assert fast.any()
    standing, riding = t_s[int(slow.argmax())], t_s[int(fast.argmax())]
    pits = (t_s >= standing) & (t_s < standing + 3.0) & np.isfinite(speed)
    trees = (t_s >= riding) & (t_s < riding + 15.0) & np.isfinite(speed)
    speed[pits], speed[trees] = 25.0, 0.0
    ride = written({**healthy, "gps_speed_mps": speed}, tmp_path)
    marks = [mark for mark in ride.quality if mark.channel == "gps_speed_mps" and mark.action == "excluded"]
    for rows in (pits, trees):
        inside = [any(mark.start_s <= t <= mark.end_s for mark in marks) for t in t_s[rows]]
        assert np.mean(inside) > 0.7


def test_a_position_that_leaps_away_and_back(healthy: Columns, tmp_path: Path) -> None:
    lat = healthy["lat_deg"].copy()
    rows = np.flatnonzero(np.isfinite(lat))[900:906]
    lat[rows] += 0.01
    ride = written({**healthy, "lat_deg": lat}, tmp_path)
    assert {mark.channel for mark in found(ride, "position_jump")} == {"lat_deg", "lon_deg"}


def test_minutes_without_speed_before_the_first_fix(healthy: Columns, tmp_path: Path) -> None:
    t_s, speed = healthy["t_s"], healthy["gps_speed_mps"].copy()
    first = int(np.argmax((np.nan_to_num(speed) > 8.0) & (t_s > 60.0)))
    early = t_s < t_s[first]
    speed[early & np.isfinite(speed)] = 0.0
    lat, lon = healthy["lat_deg"].copy(), healthy["lon_deg"].copy()
    lat[early] = lon[early] = np.nan
    ride = written({**healthy, "gps_speed_mps": speed, "lat_deg": lat, "lon_deg": lon}, tmp_path)
    marks = found(ride, "false_speed")
    assert marks
    assert marks[0].start_s < 1.0
    assert marks[0].end_s == pytest.approx(t_s[first], abs=2.0)


def test_an_air_sensor_in_the_radiators_air(healthy: Columns, tmp_path: Path) -> None:
    t_s, coolant = healthy["t_s"], healthy["coolant_c"]
    cold = np.where(t_s < 300.0, 22.0 + (np.nan_to_num(coolant, nan=22.0) - 22.0) * t_s / 300.0, coolant)
    air = np.interp(t_s - 20.0, t_s[np.isfinite(cold)], 22.0 + 0.3 * (cold[np.isfinite(cold)] - 22.0))
    ride = written({**healthy, "coolant_c": np.round(cold), "ambient_c": np.round(air, 1)}, tmp_path)
    (mark,) = found(ride, "follows_engine")
    assert mark.channel == "ambient_c"
    assert mark.action == "excluded"


def test_a_ride_that_ends_in_a_van(healthy: Columns, tmp_path: Path) -> None:
    t_s = healthy["t_s"]
    van = t_s > t_s[-1] - 600.0
    rpm = np.where(van & np.isfinite(healthy["engine_rpm"]), 0.0, healthy["engine_rpm"])
    throttle = np.where(van & np.isfinite(healthy["throttle_pct"]), 3.0, healthy["throttle_pct"])
    cooling = np.round(90.0 - (t_s - t_s[-1] + 600.0) / 30.0)
    coolant = np.where(van & np.isfinite(healthy["coolant_c"]), cooling, healthy["coolant_c"])
    ride = written({**healthy, "engine_rpm": rpm, "throttle_pct": throttle, "coolant_c": coolant}, tmp_path)
    assert {mark.channel for mark in found(ride, "transport")} == {"gps_speed_mps", "lat_deg", "lon_deg"}


def test_two_coolant_sensors_that_part(healthy: Columns, tmp_path: Path) -> None:
    t_s = healthy["t_s"]
    ride = written({**healthy, "coolant_2": np.round(healthy["coolant_c"] + 9.0 * t_s / t_s[-1])}, tmp_path)
    assert "coolant_c.2" in ride.samples.columns
    assert found(ride, "sensors_disagree")


# -- what the analysis makes of a switch, a gear, a bike file --------------------------------------------------------


def switched(healthy: Columns, of: Callable[[np.ndarray], np.ndarray]) -> Columns:
    return {**healthy, "map_slot": of(np.arange(healthy["t_s"].size))}


def judged(ride: Ride, bike: Bike) -> Analysis:
    return analyze(ride, bike, default_advice())[0]


def verdicts(ride: Ride, bike: Bike) -> dict[str, int]:
    return dict(judged(ride, bike).adherence.counts)


@pytest.fixture(scope="module")
def values(bike: Bike) -> tuple[float, float]:
    """What the log writes for the standard and the conservative map."""
    by_slot = {slot: float(text) for text, slot in bike.slot_values}
    other = next(slot for slot in by_slot if slot != bike.conservative_slot)
    return by_slot[other], by_slot[bike.conservative_slot]


def test_a_missing_switch_accuses_nobody(healthy: Columns, bike: Bike, tmp_path: Path) -> None:
    without = {name: column for name, column in healthy.items() if name != "map_slot"}
    found = verdicts(written(without, tmp_path, bike), bike)
    assert not {"missed", "late"} & {name for name, count in found.items() if count}
    assert found.get("unknown", 0) > 0


def test_a_switch_logged_on_change_holds_until_the_next(
    healthy: Columns, bike: Bike, values: tuple[float, float], tmp_path: Path
) -> None:
    full = written(switched(healthy, lambda n: np.where(n < n.size // 2, *values)), tmp_path, bike)
    sparse = written(
        switched(healthy, lambda n: np.where(n == 0, values[0], np.where(n == n.size // 2, values[1], np.nan))),
        tmp_path,
        bike,
    )
    late = written(switched(healthy, lambda n: np.where(n == n.size // 2, values[1], np.nan)), tmp_path, bike)
    assert verdicts(sparse, bike) == verdicts(full, bike)
    # Nothing is known before the first event.
    before = [
        one
        for one in judged(late, bike).segments
        if one.end_s < late.duration_s / 2 - 1 and one.advised_map == "conservative"
    ]
    assert {one.verdict for one in before} <= {"unknown", "not_advised"}


def test_a_switch_logged_on_change_is_unknown_from_a_hole_to_the_next_entry(
    healthy: Columns, bike: Bike, values: tuple[float, float], tmp_path: Path
) -> None:
    count = healthy["t_s"].size
    kept = np.ones(count, dtype=bool)
    kept[count // 2 : count // 2 + 300] = False  # a stop with the power off
    columns = switched(
        healthy, lambda n: np.where(n == 0, values[0], np.where(n == count * 9 // 10, values[1], np.nan))
    )
    ride = written({name: column[kept] for name, column in columns.items()}, tmp_path, bike)
    track = map_track(ride, bike, Doubts())
    (hole,) = ride.gaps
    assert track.at(hole.start_s - 1.0) == STANDARD
    assert track.at(hole.end_s + 1.0) == UNKNOWN
    assert track.at(float(healthy["t_s"][count * 9 // 10]) + 1.0) == CONSERVATIVE
    assert track.at(ride.duration_s - 0.1) == CONSERVATIVE


def test_a_contact_that_bounces_is_no_switch(
    healthy: Columns, bike: Bike, values: tuple[float, float], tmp_path: Path
) -> None:
    steady = written(switched(healthy, lambda n: np.full(n.size, values[0])), tmp_path, bike)
    bouncing = written(switched(healthy, lambda n: np.where(n % 200 < 2, values[1], values[0])), tmp_path, bike)
    assert verdicts(bouncing, bike) == verdicts(steady, bike)


def test_a_bike_file_with_other_sprockets(healthy: Columns, bike: Bike, tmp_path: Path) -> None:
    ride = written({name: column for name, column in healthy.items() if name != "gear"}, tmp_path, bike)
    right, wrong = (judged(ride, one) for one in (bike, replace(bike, final=bike.final * 1.14)))
    assert right.facts is not None
    assert wrong.facts is not None
    assert (
        right.facts["gearing"]["log_over_bike_file"] is None
        or abs(right.facts["gearing"]["log_over_bike_file"] - 1) < 0.05
    )
    assert wrong.facts["gearing"]["log_over_bike_file"] == pytest.approx(1 / 1.14, abs=0.03)
