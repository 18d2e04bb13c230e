"""Substitute values: found whatever their shape and cap, and never seen in what an engine really does."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))

from faults import covered, held, kinds, marks_of, ride_of, times, with_channel

from ridelog.quality.substitute import round_cap
from ridelog.results import FloatArray
from ridelog.ride import Ride


def invented(t_s: FloatArray, start_c: float, cap_c: float, reach_s: float, bend: float) -> FloatArray:
    """From start to cap in `reach_s`, straight (bend 0) or slowing down towards its end, then the cap."""
    share = np.clip(t_s / reach_s, 0.0, 1.0)
    shape = share if bend < 1e-6 else (1.0 - np.exp(-bend * share)) / (1.0 - np.exp(-bend))
    return start_c + (cap_c - start_c) * shape


RIDES = ["01-standard-in-sand", "03-spaet-geschaltet", "07-half-blocked", "08-long-ride", "11-dropouts"]


@pytest.mark.parametrize("name", RIDES)
@pytest.mark.parametrize("bend", [0.0, 1.5, 4.0])
@pytest.mark.parametrize(("cap_c", "step"), [(80.0, 1.0), (90.0, 0.1), ((200.0 - 32.0) / 1.8, 0.5 / 0.9)])
def test_an_invented_curve_over_a_real_ride(
    sample_rides: dict[str, Ride], name: str, bend: float, cap_c: float, step: float
) -> None:
    ride = sample_rides[name]
    curve = invented(times(ride), 19.0, cap_c, 400.0, bend)
    y = np.where(curve >= cap_c, cap_c, held(curve, times(ride), 0.5, step))
    faulty = with_channel(ride, "coolant_c", np.minimum(y, cap_c))
    marks = marks_of(faulty, channel="coolant_c")
    assert kinds(marks) == {"substitute"}
    assert covered(faulty, marks).all()
    assert marks[0].action == "excluded"
    assert f"exactly {cap_c:g} C" in marks[0].detail
    assert "looks like" in marks[0].detail


@settings(max_examples=40)
@given(
    start=st.floats(-10.0, 40.0),
    cap=st.sampled_from([75.0, 80.0, 85.0, 90.0, 95.0, 100.0]),
    reach=st.floats(120.0, 900.0),
    bend=st.floats(0.0, 6.0),
    step=st.sampled_from([0.1, 0.5, 1.0]),
    period=st.sampled_from([0.5, 1.0, 2.0]),
)
def test_any_start_cap_and_shape(  # noqa: PLR0917
    start: float, cap: float, reach: float, bend: float, step: float, period: float
) -> None:
    t_s = np.arange(0.0, reach + 700.0, 0.5)
    curve = invented(t_s, start, cap, reach, bend)
    y = np.minimum(np.where(curve >= cap, cap, held(curve, t_s, period, step)), cap)
    ride = ride_of(t_s=t_s, coolant_c=y, engine_rpm=5000.0 + 2500.0 * np.sin(t_s / 9.0))
    assert "substitute" in kinds(marks_of(ride))


def test_not_where_the_curve_is_an_engine_s() -> None:
    t_s = np.arange(0.0, 1500.0, 0.5)
    rpm = 5000.0 + 2500.0 * np.sin(t_s / 9.0)
    draw = np.random.default_rng(3)
    curve = invented(t_s, 18.0, 90.0, 500.0, 2.0)
    # A thermostat dithers by a step; a warm-up wavers with the load by a few degrees.
    dither = np.where((t_s > 500.0) & (draw.random(t_s.size) < 0.01), curve + 1.0, curve)
    waver = np.minimum(curve + np.where(t_s < 500.0, 2.5 * np.sin(t_s / 45.0), 0.0), 90.0)
    cases = {
        "dither": np.round(dither),
        "waver": np.round(np.maximum.accumulate(waver)),
        "odd cap": np.minimum(np.round(invented(t_s, 18.0, 87.0, 500.0, 2.0)), 87.0),
        "falls at the end": np.where(t_s > 1450.0, 84.0, np.round(curve)),
        "still warming up": np.round(invented(t_s, 18.0, 90.0, 1300.0, 2.0)),
    }
    for what, y in cases.items():
        assert "substitute" not in kinds(marks_of(ride_of(t_s=t_s, coolant_c=y, engine_rpm=rpm))), what


def test_not_without_evidence_that_the_load_varied() -> None:
    t_s = np.arange(0.0, 1050.0, 0.5)
    curve = np.round(invented(t_s, 18.0, 90.0, 500.0, 2.0))
    assert kinds(marks_of(ride_of(t_s=t_s, coolant_c=curve))) == set()
    steady = ride_of(t_s=t_s, coolant_c=curve, engine_rpm=4000.0 + 50.0 * np.sin(t_s))
    assert kinds(marks_of(steady)) == set()


def test_not_on_a_short_ride() -> None:
    t_s = np.arange(0.0, 500.0, 0.5)
    curve = np.round(invented(t_s, 18.0, 90.0, 300.0, 2.0))
    assert kinds(marks_of(ride_of(t_s=t_s, coolant_c=curve, engine_rpm=5000 + 2500 * np.sin(t_s / 9)))) == set()


@pytest.mark.parametrize("name", ["01-standard-in-sand", "04-clean-radiators", "08-long-ride"])
def test_a_real_trace_cut_off_at_a_round_number_is_no_smooth_curve(sample_rides: dict[str, Ride], name: str) -> None:
    ride = sample_rides[name]
    y = ride.samples["coolant_c"].to_numpy().copy()
    faulty = with_channel(ride, "coolant_c", np.minimum(np.maximum.accumulate(y), 90.0))
    assert "substitute" not in kinds(marks_of(faulty))


def test_round_numbers() -> None:
    assert all(round_cap(value) for value in (80.0, 85.0, 90.0, (180.0 - 32.0) / 1.8, (190.0 - 32.0) / 1.8))
    assert not any(round_cap(value) for value in (87.0, 91.5, 40.0, 150.0, (195.0 - 32.0) / 1.8))
