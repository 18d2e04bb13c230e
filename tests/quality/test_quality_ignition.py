"""Ignition noise: doubled, halved and lost readings put into real rides, and what an engine can really do."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import covered, kinds, marks_of, ride_of, times, values, with_channel

from ridelog.results import FloatArray
from ridelog.ride import Ride

FACTORS = {"doubled": 2.0, "halved": 0.5, "lost": 0.0}


def places(rpm: FloatArray, draw: np.random.Generator, length: int, number: int = 40) -> list[int]:
    """Rows at which the engine speed around is steady and high enough for a false reading to be told."""
    rows = draw.permutation(np.arange(20, rpm.size - 20))
    picked: list[int] = []
    for row in rows.tolist():
        around = rpm[row - 2 : row + length + 2]
        steady = np.isfinite(around).all() and around.min() > 3300.0 and np.ptp(around) < 0.06 * around.min()
        if steady and all(abs(row - other) > 40 for other in picked):
            picked.append(row)
        if len(picked) == number:
            break
    return picked


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("kind", list(FACTORS))
@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize("name", ["01-standard-in-sand", "03-spaet-geschaltet", "06-more-mud", "07-half-blocked"])
def test_false_readings_are_found_and_nothing_else(
    sample_rides: dict[str, Ride], name: str, length: int, kind: str, seed: int
) -> None:
    ride = sample_rides[name]
    rpm = values(ride, "engine_rpm")
    rows = places(rpm, np.random.default_rng(seed), length)
    assert len(rows) >= 20
    hit = np.zeros(rpm.size, dtype=np.bool_)
    for row in rows:
        hit[row : row + length] = True
    rpm[hit] *= FACTORS[kind]
    faulty = with_channel(ride, "engine_rpm", rpm)
    marks = marks_of(faulty, channel="engine_rpm")
    found = covered(faulty, [mark for mark in marks if mark.action == "excluded"])
    assert kinds(marks) <= {"ignition_noise", "out_of_range"}
    # At 10 Hz three false readings last 0.4 s; every one is there to be found at these rates.
    assert (found & hit).sum() >= 0.95 * hit.sum()
    assert not (found & ~hit).any()


def test_what_an_engine_does_is_left_in_peace() -> None:
    t_s = np.arange(0.0, 60.0, 0.1)
    base = np.full(t_s.size, 3000.0)
    blip = base.copy()  # a blip of the grip: up in 0.3 s, down in 0.8 s
    blip[100:104] = np.linspace(3000.0, 6000.0, 4)
    blip[104:113] = np.linspace(6000.0, 3000.0, 9)
    shift = np.concatenate((np.full(300, 8000.0), np.full(300, 5600.0)))
    stall = np.where(t_s > 30.0, 0.0, base)
    restart = np.where((t_s > 20.0) & (t_s < 25.0), 0.0, base)
    for rpm in (blip, shift, stall, restart):
        assert "ignition_noise" not in kinds(marks_of(ride_of(t_s=t_s, engine_rpm=rpm)))


def test_a_slow_log_can_t_tell() -> None:
    """At 1 Hz an engine may well have doubled its speed and come back between two readings."""
    t_s = np.arange(0.0, 300.0)
    rpm = 4000.0 + 10.0 * np.sin(t_s)
    rpm[100] *= 2.0
    assert marks_of(ride_of(t_s=t_s, engine_rpm=rpm)) == []


def test_spikes_on_unrelated_channels_at_the_same_moments_are_electrical(sample_rides: dict[str, Ride]) -> None:
    ride = sample_rides["01-standard-in-sand"]
    rpm, coolant, throttle = (values(ride, name) for name in ("engine_rpm", "coolant_c", "throttle_pct"))
    rows = places(rpm, np.random.default_rng(5), 1, 12)
    rpm[rows] = 15_000.0
    fast = np.interp(times(ride), times(ride)[::40], coolant[::40])  # a coolant sensor as quick as the log
    fast[rows] += 40.0
    both = with_channel(with_channel(ride, "engine_rpm", rpm), "coolant_c", fast)
    (mark,) = marks_of(both, kind="electrical_noise")
    assert mark.action == "kept"
    assert "coolant_c" in mark.detail
    assert mark.detail.startswith("12 spikes")
    # The same spikes of the engine speed alone, or at other moments than the coolant's, say nothing of the kind.
    assert marks_of(with_channel(ride, "engine_rpm", rpm), kind="electrical_noise") == []
    apart = np.interp(times(ride), times(ride)[::40], coolant[::40])
    apart[np.array(rows) + 15] += 40.0
    assert marks_of(with_channel(with_channel(ride, "engine_rpm", rpm), "coolant_c", apart), "electrical_noise") == []
    assert throttle.size == rpm.size
