"""Air sensors that follow the engine or stand in the sun, and air that only is as it is."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import covered, kinds, marks_of, ride_of, times, values, with_channel

from ridelog.ride import Ride

WITH_AIR = ["02-switched-in-time", "03-spaet-geschaltet", "05-first-mud"]


def lagged(y: np.ndarray, t_s: np.ndarray, lag_s: float) -> np.ndarray:
    return np.interp(t_s - lag_s, t_s, y)


@pytest.mark.parametrize("lag_s", [5.0, 40.0, 150.0])
@pytest.mark.parametrize("share", [0.2, 0.4])
@pytest.mark.parametrize("name", ["01-standard-in-sand", "04-clean-radiators", "08-long-ride", *WITH_AIR])
def test_radiator_air(sample_rides: dict[str, Ride], name: str, share: float, lag_s: float) -> None:
    ride = sample_rides[name]
    t_s, coolant = times(ride), values(ride, "coolant_c")
    if np.ptp(coolant) < 60.0:
        # These rides begin warm: give them the cold start that makes the difference plain.
        coolant = np.where(t_s < 300.0, 22.0 + (coolant - 22.0) * t_s / 300.0, coolant)
        ride = with_channel(ride, "coolant_c", np.round(coolant))
    noise = np.repeat(np.random.default_rng(2).normal(0.0, 0.3, t_s.size // 20 + 1), 20)[: t_s.size]
    air = coolant[0] + share * (lagged(coolant, t_s, lag_s) - coolant[0]) + noise
    heated = with_channel(ride, "ambient_c", np.round(air, 1))
    marks = marks_of(heated, channel="ambient_c", kind="follows_engine")
    assert len(marks) == 1
    # Where the sensor reads more than air can have, other marks say so.
    left_out = covered(heated, marks_of(heated, channel="ambient_c"))
    # The cold start stays: it stands for the ride, and it is the air.
    assert 40.0 <= t_s[~left_out].max() <= 62.0
    assert abs(np.nanmedian(air[~left_out]) - coolant[0]) < 4.0
    assert "cold start" in marks[0].detail


def test_a_warm_start_leaves_no_start_value() -> None:
    t_s = np.arange(0.0, 1800.0)
    coolant = 85.0 + 12.0 * np.sin(t_s / 120.0)
    ride = ride_of(t_s=t_s, coolant_c=np.round(coolant), ambient_c=30.0 + 0.5 * (coolant - 85.0))
    (mark,) = marks_of(ride)
    assert mark.kind == "follows_engine"
    assert covered(ride, [mark]).all()
    assert "--ambient" in mark.detail


@pytest.mark.parametrize("name", WITH_AIR)
def test_sun_and_engine_heat_at_a_stop(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    t_s, air = times(ride), values(ride, "ambient_c")
    speed = np.where((t_s > 400.0) & (t_s < 580.0), 0.0, np.maximum(values(ride, "gps_speed_mps"), 2.0))
    heat = np.interp(t_s, [0.0, 420.0, 580.0, 700.0, 1e6], [0.0, 0.0, 8.0, 0.0, 0.0])
    heated = with_channel(with_channel(ride, "gps_speed_mps", speed), "ambient_c", np.round(air + heat, 1))
    marks = marks_of(heated, channel="ambient_c")
    assert kinds(marks) == {"heated_at_stop"}
    assert len(marks) == 1
    assert 420.0 < marks[0].start_s < 470.0
    assert 640.0 < marks[0].end_s < 720.0
    assert "by up to 8 C" in marks[0].detail or "by up to 7 C" in marks[0].detail


def test_air_that_only_is_as_it_is() -> None:
    t_s = np.arange(0.0, 3600.0)
    coolant = np.round(np.minimum(18.0 + t_s / 6.0, 88.0 + 6.0 * np.sin(t_s / 90.0)))
    rpm = 5000.0 + 2500.0 * np.sin(t_s / 9.0)
    height = 400.0 + 600.0 * np.sin(t_s / 600.0)
    cases = {
        "a warm day coming": 18.0 + 5.0 * t_s / 3600.0,
        "a pass ridden over": 20.0 - 0.0065 * height,
        "gusts": 20.0 + 1.5 * np.sin(t_s / 40.0),
        "a cold front": np.where(t_s < 2000.0, 22.0, 16.0 + 6.0 * np.exp(-(t_s - 2000.0) / 200.0)),
        "constant": np.full(t_s.size, 20.0),
    }
    for what, air in cases.items():
        ride = ride_of(t_s=t_s, coolant_c=coolant, ambient_c=np.round(air, 1), elevation_m=height, engine_rpm=rpm)
        assert marks_of(ride, channel="ambient_c") == [], what
