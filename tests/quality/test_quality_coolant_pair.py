"""Two coolant sensors: told apart where physics tells, kept and said where it does not."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import covered, marks_of, ride_of, times, values, with_channel

from ridelog.ride import Ride

NAMES = ["01-standard-in-sand", "03-spaet-geschaltet", "06-more-mud", "08-long-ride"]
TWO = "coolant_c.2"


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("offset", [-2.0, 0.0, 2.0])
def test_two_sensors_within_their_tolerance(sample_rides: dict[str, Ride], name: str, offset: float) -> None:
    ride = sample_rides[name]
    assert marks_of(with_channel(ride, TWO, values(ride, "coolant_c") + offset)) == []


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("offset", [-7.0, 5.0])
def test_an_offset_alone_can_t_be_told(sample_rides: dict[str, Ride], name: str, offset: float) -> None:
    ride = sample_rides[name]
    marks = marks_of(with_channel(ride, TWO, values(ride, "coolant_c") + offset), kind="sensors_disagree")
    assert [(mark.channel, mark.action) for mark in marks] == [(TWO, "kept")]
    assert f"{offset:+.1f} C" in marks[0].detail
    assert "can't be told" in marks[0].detail


@pytest.mark.parametrize("name", NAMES)
def test_a_drift(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    t_s = times(ride)
    marks = marks_of(with_channel(ride, TWO, np.round(values(ride, "coolant_c") + 9.0 * t_s / t_s[-1])))
    assert [mark.kind for mark in marks] == ["sensors_disagree"]
    assert "drifting by +" in marks[0].detail


@pytest.mark.parametrize("bad", ["coolant_c", TWO])
@pytest.mark.parametrize("name", NAMES)
def test_the_one_that_is_stuck(sample_rides: dict[str, Ride], name: str, bad: str) -> None:
    ride = sample_rides[name]
    t_s, y = times(ride), values(ride, "coolant_c")
    draw = np.round(np.interp(t_s, t_s[::200], y[::200] + np.random.default_rng(1).normal(0, 0.4, y[::200].size)))
    rows = (t_s > 300.0) & (t_s < 800.0)
    frozen = draw.copy()
    frozen[rows] = draw[rows][0]
    pair = {bad: frozen, ({"coolant_c", TWO} - {bad}).pop(): y}
    faulty = with_channel(with_channel(ride, "coolant_c", pair["coolant_c"]), TWO, pair[TWO])
    marks = [mark for mark in marks_of(faulty) if mark.kind == "stuck"]
    assert {mark.channel for mark in marks} == ({bad} if np.ptp(y[rows]) >= 10.0 else set())
    if marks:
        assert covered(faulty, marks)[rows].mean() > 0.95
        assert all(mark.action == "excluded" for mark in marks)


@pytest.mark.parametrize("bad", ["coolant_c", TWO])
def test_the_one_that_jumps(sample_rides: dict[str, Ride], bad: str) -> None:
    ride = sample_rides["01-standard-in-sand"]
    y = values(ride, "coolant_c")
    jumpy = y + 6.0
    at = np.arange(2000, y.size - 2000, 2500)
    for row in at:
        jumpy[row : row + 10] += 35.0
    pair = {bad: jumpy, ({"coolant_c", TWO} - {bad}).pop(): y}
    faulty = with_channel(with_channel(ride, "coolant_c", pair["coolant_c"]), TWO, pair[TWO])
    (mark,) = marks_of(faulty, kind="sensors_disagree")
    assert (mark.channel, mark.action) == (bad, "excluded")
    assert "jumps" in mark.detail


@pytest.mark.parametrize("bad", ["coolant_c", TWO])
@pytest.mark.parametrize("offset", [-14.0, 12.0])
def test_the_one_that_is_far_from_the_air_after_a_night(bad: str, offset: float) -> None:
    t_s = np.arange(0.0, 1500.0)
    coolant = np.round(np.minimum(17.0 + np.maximum(t_s - 30.0, 0.0) / 6.0, 86.0 + 5.0 * np.sin(t_s / 80.0)))
    pair = {bad: coolant + offset, ({"coolant_c", TWO} - {bad}).pop(): coolant}
    cold = {"t_s": t_s, "ambient_c": np.full(t_s.size, 16.0), "engine_rpm": 5000 + 2500 * np.sin(t_s / 9)}
    (mark,) = marks_of(ride_of(**cold, **pair), kind="sensors_disagree")
    assert (mark.channel, mark.action) == (bad, "excluded")
    assert "cold start" in mark.detail
    # Started warm, neither reads the air and neither can be blamed.
    warm = t_s > 400.0
    hot = {name: y[warm] for name, y in {**cold, **pair}.items()}
    hot["t_s"] = hot["t_s"] - hot["t_s"][0]
    (mark,) = marks_of(ride_of(**hot), kind="sensors_disagree")
    assert (mark.channel, mark.action) == (TWO, "kept")


def test_ahead_of_a_thermostat_four_minutes_are_real() -> None:
    t_s = np.arange(0.0, 2000.0)
    engine = np.where((t_s > 500.0) & (t_s < 740.0), 90.0, np.round(90.0 + 1.2 * np.sin(t_s / 25.0)))
    outlet = np.round(80.0 + 9.0 * np.sin(t_s / 60.0))
    marks = marks_of(ride_of(t_s=t_s, **{"coolant_c": engine, TWO: outlet}))
    assert [(mark.kind, mark.action) for mark in marks] == [("sensors_disagree", "kept")]
