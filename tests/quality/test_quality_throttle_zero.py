"""A closed stop that moves: shifts and drifts put into real rides, and hands that only rest on the grip."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import kinds, marks_of, ride_of, times, values, with_channel

from ridelog.quality import Scene, Trace
from ridelog.quality.throttle_zero import floors
from ridelog.results import FloatArray
from ridelog.ride import Ride

LONG = [
    "01-standard-in-sand",
    "03-spaet-geschaltet",
    "04-clean-radiators",
    "06-more-mud",
    "07-half-blocked",
    "08-long-ride",
]


def scene(**channels: FloatArray) -> Scene:
    t_s = channels.pop("t_s")
    traces = {name: Trace(name, t_s, y) for name, y in channels.items()}
    return Scene(traces, {}, ())


@pytest.mark.parametrize("shift", [-6.0, 6.0, 12.0, 25.0])
@pytest.mark.parametrize("name", LONG)
def test_a_stop_that_jumps(sample_rides: dict[str, Ride], name: str, shift: float) -> None:
    ride = sample_rides[name]
    t_s, throttle = times(ride), values(ride, "throttle_pct")
    middle = t_s[-1] / 2.0
    room = 10.0 if shift < 0.0 else 0.0  # a reading must not fall under 0 and be cut off there
    moved = with_channel(ride, "throttle_pct", throttle + room + np.where(t_s > middle, shift, 0.0))
    (mark,) = marks_of(moved, kind="throttle_zero")
    assert mark.action == "kept"
    assert abs(mark.start_s - middle) <= 240.0
    assert mark.end_s == pytest.approx(t_s[-1], abs=1.0)
    assert f"off by {abs(shift):.0f} points" in mark.detail


@pytest.mark.parametrize("name", LONG)
def test_a_shift_too_small_to_matter(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    t_s, throttle = times(ride), values(ride, "throttle_pct")
    moved = with_channel(ride, "throttle_pct", throttle + np.where(t_s > t_s[-1] / 2.0, 2.0, 0.0))
    assert marks_of(moved, kind="throttle_zero") == []


@pytest.mark.parametrize("name", ["03-spaet-geschaltet", "08-long-ride"])
def test_a_stop_that_drifts(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    t_s, throttle = times(ride), values(ride, "throttle_pct")
    drifting = with_channel(ride, "throttle_pct", np.minimum(throttle + 12.0 * t_s / t_s[-1], 104.0))
    assert kinds(marks_of(drifting)) == {"throttle_zero"}


def test_the_stretches_and_their_stops() -> None:
    t_s = np.arange(0.0, 1800.0)
    closed = np.where(t_s < 900.0, 3.0, 11.0)
    throttle = closed + 60.0 * np.clip(np.sin(t_s / 7.0), 0.0, 1.0)
    rpm = np.where(throttle > closed + 1.0, 6000.0, 1800.0)
    first, second = floors(scene(t_s=t_s, throttle_pct=throttle, engine_rpm=rpm))
    assert (first.start_s, second.end_s) == (0.0, 1799.0)
    assert first.end_s == second.start_s == pytest.approx(900.0, abs=120.0)
    assert (first.closed_pct, second.closed_pct) == pytest.approx((3.0, 11.0), abs=0.5)


def test_a_hand_that_never_lets_go_is_no_stop() -> None:
    """Twenty minutes of cruising at a constant opening between two stretches of ordinary riding."""
    t_s = np.arange(0.0, 3000.0)
    cruise = (t_s > 900.0) & (t_s < 2100.0)
    opening = np.where(cruise, 15.0 + 0.2 * np.sin(t_s), 60.0 * np.clip(np.sin(t_s / 7.0), 0.0, 1.0))
    speed = np.where(cruise, 22.0 + 0.2 * np.sin(t_s / 5.0), 8.0 + 6.0 * np.sin(t_s / 7.0 - 1.0))
    rpm = np.where(opening > 1.0, 5500.0, 1800.0)
    ride = ride_of(t_s=t_s, throttle_pct=3.0 + opening, gps_speed_mps=np.abs(speed), engine_rpm=rpm)
    assert marks_of(ride, kind="throttle_zero") == []


def test_nothing_tells_when_the_grip_is_let_go() -> None:
    t_s = np.arange(0.0, 1800.0)
    throttle = np.where(t_s < 900.0, 3.0, 11.0) + 60.0 * np.clip(np.sin(t_s / 7.0), 0.0, 1.0)
    assert marks_of(ride_of(t_s=t_s, throttle_pct=throttle)) == []
    short = t_s < 600.0
    assert floors(scene(t_s=t_s[short], throttle_pct=throttle[short])) == ()
