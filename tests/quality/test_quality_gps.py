"""False satellite speed and positions, put into real rides and told apart by what else the log has."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import covered, kinds, marks_of, ride_of, times, values, with_channel

from ridelog.results import BoolArray, FloatArray
from ridelog.ride import Ride

SPEED, LAT, LON = "gps_speed_mps", "lat_deg", "lon_deg"
NAMES = ["01-standard-in-sand", "02-switched-in-time", "04-clean-radiators", "07-half-blocked", "08-long-ride"]


def stretch(ride: Ride, seconds: float, seed: int, fastest: float, slowest: float = 0.0) -> BoolArray:
    """Rows of a stretch of this length whose speed stays within slowest..fastest all along."""
    t_s, speed = times(ride), values(ride, SPEED)
    known = np.isfinite(speed)
    for start in np.random.default_rng(seed).uniform(30.0, t_s[-1] - seconds - 30.0, 4000):
        rows = (t_s >= start) & (t_s < start + seconds)
        here = speed[rows & known]
        if here.size and slowest <= here.min() and here.max() <= fastest:
            return rows
    pytest.skip(f"no stretch of {seconds:g} s between {slowest} and {fastest} m/s in this ride")


def overlap(found: BoolArray, true: BoolArray) -> float:
    return float((found & true).sum() / true.sum())


def near(ride: Ride, rows: BoolArray) -> BoolArray:
    """The rows and 3 s on both sides: what the look over 4 s may take along."""
    t_s = times(ride)
    return (t_s >= t_s[rows][0] - 3.0) & (t_s <= t_s[rows][-1] + 3.0)


def test_one_fault_gets_one_mark(sample_rides: dict[str, Ride]) -> None:
    """The step out of a false stretch leads to the right value, and is no fault of its own."""
    ride = sample_rides["02-switched-in-time"]
    rows = stretch(ride, 20.0, 1, fastest=60.0, slowest=9.0)
    speed = values(ride, SPEED)
    speed[rows] = 0.0
    (mark,) = marks_of(with_channel(ride, SPEED, speed))
    assert (mark.kind, mark.start_s) == ("false_speed", times(ride)[rows][0])
    assert mark.end_s == times(ride)[int(np.flatnonzero(rows)[-1]) + 1]


def still_rows(rows: BoolArray, y: FloatArray) -> FloatArray:
    """The channel with its first value in these rows repeated over all of them."""
    result = y.copy()
    first = y[rows][np.isfinite(y[rows])][0]
    result[rows & np.isfinite(y)] = first
    return result


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seconds", [2.0, 8.0])
def test_reflected_signals(sample_rides: dict[str, Ride], name: str, seconds: float, seed: int) -> None:
    """90 km/h at walking pace, up and down from one reading to the next."""
    ride = sample_rides[name]
    rows = stretch(ride, seconds, seed, fastest=9.0)
    speed = values(ride, SPEED)
    speed[rows & np.isfinite(speed)] = 25.0 + 0.1 * np.sin(times(ride)[rows & np.isfinite(speed)])
    faulty = with_channel(ride, SPEED, speed)
    marks = marks_of(faulty, channel=SPEED)
    found = covered(faulty, [mark for mark in marks if mark.action == "excluded"])
    assert "false_speed" in kinds(marks)
    assert overlap(found, rows & np.isfinite(speed)) >= 0.9
    assert not (found & ~near(ride, rows)).any()


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", ["01-standard-in-sand", "02-switched-in-time", "04-clean-radiators"])
def test_zero_until_the_first_fix(sample_rides: dict[str, Ride], name: str, seed: int) -> None:
    ride = sample_rides[name]
    fast = stretch(ride, 6.0, seed, fastest=60.0, slowest=8.0)
    first = int(np.argmax(fast))
    t_s, speed, lat, lon = (times(ride), *(values(ride, one) for one in (SPEED, LAT, LON)))
    early = t_s < t_s[first]
    speed[early & np.isfinite(speed)] = 0.0
    lat[early] = lon[early] = np.nan
    faulty = with_channel(with_channel(with_channel(ride, SPEED, speed), LAT, lat), LON, lon)
    marks = marks_of(faulty, kind="false_speed")
    assert overlap(covered(faulty, marks), early & np.isfinite(speed)) > 0.99
    assert "from one reading to the next" in marks[0].detail


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", NAMES)
def test_no_speed_under_trees_while_the_positions_move(sample_rides: dict[str, Ride], name: str, seed: int) -> None:
    ride = sample_rides[name]
    rows = stretch(ride, 20.0, seed, fastest=60.0, slowest=4.5)
    speed = values(ride, SPEED)
    speed[rows & np.isfinite(speed)] = 0.0
    faulty = with_channel(ride, SPEED, speed)
    marks = marks_of(faulty, channel=SPEED)
    found = covered(faulty, [mark for mark in marks if mark.action == "excluded"])
    assert overlap(found, rows) >= 0.75
    assert not (found & ~near(ride, rows)).any()
    if name == "01-standard-in-sand":
        # A wheel that stands turns the verdict: then the positions wander and the speed is right.
        still = with_channel(faulty, "wheel_speed_mps", np.zeros(rows.size))
        assert {(mark.channel, mark.kind) for mark in marks_of(still) if mark.start_s > 5.0} & {
            (LAT, "position_wanders"),
            (LON, "position_wanders"),
        }
    rolling = with_channel(faulty, "wheel_speed_mps", values(ride, SPEED))
    assert "false_speed" in kinds(marks_of(rolling, channel=SPEED))


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("name", NAMES)
def test_a_receiver_that_stopped(sample_rides: dict[str, Ride], name: str, seed: int) -> None:
    """Last speed and last position repeated for half a minute."""
    ride = sample_rides[name]
    rows = stretch(ride, 30.0, seed, fastest=60.0, slowest=5.0)
    faulty = ride
    for channel in (SPEED, LAT, LON):
        faulty = with_channel(faulty, channel, still_rows(rows, values(ride, channel)))
    marks = marks_of(faulty, kind="gps_frozen")
    assert {mark.channel for mark in marks} == {SPEED, LAT, LON}
    assert overlap(covered(faulty, marks), rows) >= 0.8
    assert all(mark.action == "excluded" for mark in marks)


@pytest.mark.parametrize("name", NAMES)
def test_positions_that_are_not_renewed_while_the_speed_is(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    rows = stretch(ride, 30.0, 4, fastest=60.0, slowest=5.0)
    faulty = ride
    for channel in (LAT, LON):
        faulty = with_channel(faulty, channel, still_rows(rows, values(ride, channel)))
    marks = [mark for mark in marks_of(faulty) if mark.kind != "dropout"]
    assert {(mark.channel, mark.kind) for mark in marks} == {(LAT, "gps_frozen"), (LON, "gps_frozen")}


def parked(seconds: int, seed: int = 1) -> dict[str, FloatArray]:
    """A bike that stands: positions within a metre or two."""
    t_s = np.arange(0.0, seconds)
    draw = np.random.default_rng(seed)
    wander = np.cumsum(draw.normal(0.0, 0.15, (2, t_s.size)), axis=1)
    return {"t_s": t_s, LAT: 43.2 + wander[0] / 111_000.0, LON: -31.6 + wander[1] / 81_000.0}


def test_speed_in_the_pits() -> None:
    base = parked(300)
    t_s = base["t_s"]
    speed = np.where((t_s > 100.0) & (t_s < 140.0), 25.0 * np.sin((t_s - 100.0) / 40.0 * np.pi), 0.1)
    (mark,) = marks_of(ride_of(**base, gps_speed_mps=speed))
    assert (mark.channel, mark.kind, mark.action) == (SPEED, "false_speed", "excluded")
    assert 100.0 <= mark.start_s <= 108.0
    off = marks_of(ride_of(**base, gps_speed_mps=speed, engine_rpm=np.zeros(t_s.size)))
    assert "the engine is off" in next(m.detail for m in off if m.kind == "false_speed")


def test_what_can_t_be_told_is_kept_and_said() -> None:
    base = parked(300)
    t_s = base["t_s"]
    moved = np.clip(t_s - 100.0, 0.0, 12.0)
    base[LAT] = base[LAT] + 4.0 * moved / 111_000.0  # 48 m within 12 s
    marks = marks_of(ride_of(**base, gps_speed_mps=np.full(t_s.size, 0.1)))
    assert [(mark.kind, mark.action) for mark in marks] == [("gps_disagrees", "kept")]
    assert "can't be told" in marks[0].detail


def test_a_parked_bike_and_a_receiver_at_rest_are_healthy() -> None:
    for seed in range(5):
        base = parked(900, seed)
        speed = np.abs(np.random.default_rng(seed).normal(0.0, 0.15, base["t_s"].size))
        assert marks_of(ride_of(**base, gps_speed_mps=speed)) == []


def test_hard_riding_is_within_grip() -> None:
    """Launches and stops at 1 g, at 1, 5 and 10 Hz, with a receiver's noise."""
    for rate in (1.0, 5.0, 10.0):
        t_s = np.arange(0.0, 300.0, 1.0 / rate)
        speed = np.abs((9.81 * t_s + 20.0) % 40.0 - 20.0) + np.random.default_rng(2).normal(0.1, 0.1, t_s.size)
        assert marks_of(ride_of(t_s=t_s, gps_speed_mps=np.abs(speed))) == []


def test_a_track_of_few_points_is_no_leaping() -> None:
    """Points 1 to 20 s apart: between two of them a bike may well have gained 60 km/h, again and again."""
    draw = np.random.default_rng(8)
    t_s = np.cumsum(draw.choice([1.0, 3.0, 12.0, 20.0], 1500))
    speed = np.where(np.diff(t_s, prepend=0.0) > 2.0, draw.uniform(0.0, 18.0, t_s.size), np.nan)
    speed = np.where(np.isnan(speed), np.roll(speed, 1), speed)
    speed[~np.isfinite(speed)] = 3.0
    slow = np.diff(t_s, prepend=0.0) < 2.0
    speed[1:][slow[1:]] = speed[:-1][slow[1:]]
    assert marks_of(ride_of(t_s=t_s - t_s[0], gps_speed_mps=speed)) == []


def test_small_circles_are_no_standing() -> None:
    t_s = np.arange(0.0, 240.0)
    turn = 5.0 * t_s / 6.0  # 5 m/s around a circle of 6 m
    ride = ride_of(
        t_s=t_s,
        lat_deg=43.2 + 6.0 * np.sin(turn) / 111_000.0,
        lon_deg=-31.6 + 6.0 * np.cos(turn) / 81_000.0,
        gps_speed_mps=np.full(t_s.size, 5.0) + 0.1 * np.sin(t_s),
    )
    assert marks_of(ride) == []


def test_the_receiver_s_own_word() -> None:
    t_s = np.arange(0.0, 120.0)
    lost = (t_s >= 20.0) & (t_s < 50.0)
    way = np.cumsum(np.full(t_s.size, 10.0)) / 111_000.0
    base = {"t_s": t_s, LAT: 43.2 + way, LON: np.full(t_s.size, -31.6), SPEED: 10.0 + 0.1 * np.sin(t_s)}
    void = marks_of(ride_of(**base, gps_fix=np.where(lost, 0.0, 1.0)), kind="no_fix")
    assert {mark.channel for mark in void} == {SPEED, LAT, LON}
    assert {(mark.start_s, mark.end_s) for mark in void} == {(20.0, 50.0)}
    poor = marks_of(ride_of(**base, gps_hdop=np.where(lost, 45.0, 1.2)), kind="poor_fix")
    assert {(mark.start_s, mark.end_s) for mark in poor} == {(20.0, 50.0)}
    assert marks_of(ride_of(**base, gps_hdop=np.where(lost, 6.0, 1.2), gps_fix=np.ones(t_s.size))) == []


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("length", [1, 3, 40])
@pytest.mark.parametrize("name", NAMES)
def test_positions_that_leap_away_and_back(sample_rides: dict[str, Ride], name: str, length: int, seed: int) -> None:
    ride = sample_rides[name]
    lat, lon = values(ride, LAT), values(ride, LON)
    draw = np.random.default_rng(seed)
    known = np.flatnonzero(np.isfinite(lat))
    at = int(draw.integers(200, known.size - 400))
    rows = known[at : at + length * 2]
    lat[rows] += draw.choice([-1.0, 1.0]) * 250.0 / 111_000.0
    lon[rows] += 120.0 / 81_000.0
    faulty = with_channel(with_channel(ride, LAT, lat), LON, lon)
    marks = marks_of(faulty, kind="position_jump")
    assert {mark.channel for mark in marks} == {LAT, LON}
    found = covered(faulty, marks)
    # Where a position is repeated until the next one, a leap begins at the first repeat that shows it.
    assert found[rows].all()
    assert found[np.isfinite(lat)].sum() <= rows.size + 4


def test_a_position_that_moves_on_once_is_no_leap_and_back() -> None:
    """A receiver that was lost and is back, and a ride over the 180th meridian."""
    t_s = np.arange(0.0, 200.0)
    lat = 43.2 + t_s * 10.0 / 111_000.0 + np.where(t_s > 100.0, 0.01, 0.0)
    assert marks_of(ride_of(t_s=t_s, lat_deg=lat, lon_deg=np.full(t_s.size, -31.6)), kind="position_jump") == []
    east = 179.9995 + np.cumsum(10.0 + 2.0 * np.sin(t_s)) / 111_000.0
    over = np.where(east > 180.0, east - 360.0, east)
    assert marks_of(ride_of(t_s=t_s, lat_deg=0.01 + 0.0 * t_s, lon_deg=over)) == []


def test_a_receiver_that_gives_nothing_but_noise_gets_one_mark_a_channel() -> None:
    draw = np.random.default_rng(6)
    t_s = np.arange(0.0, 3000.0)
    place = {LAT: 43.0 + draw.uniform(0.0, 1.0, t_s.size), LON: -31.0 + draw.uniform(0.0, 1.0, t_s.size)}
    marks = marks_of(ride_of(t_s=t_s, **place))
    assert [(mark.channel, mark.kind, mark.start_s) for mark in marks] == [(LAT, "noise", 0.0), (LON, "noise", 0.0)]
    blinking = np.where((t_s // 6) % 2 == 0.0, 0.0, 18.0 + 0.2 * np.sin(t_s))
    assert [mark.kind for mark in marks_of(ride_of(t_s=t_s, gps_speed_mps=blinking))] == ["noise"]
    # Speed says nothing while the positions go on, hundreds of times, with no leap in either.
    way = np.cumsum(np.where((t_s // 7) % 2 == 0.0, 12.0, 1.0))
    fading = {"t_s": t_s, LAT: 43.0 + way / 111_000.0, LON: np.full(t_s.size, -31.0)}
    told = marks_of(ride_of(**fading, gps_speed_mps=np.full(t_s.size, 0.1)))
    assert [(mark.kind, mark.action) for mark in told] == [("gps_disagrees", "kept")]
    assert "times" in told[0].detail
