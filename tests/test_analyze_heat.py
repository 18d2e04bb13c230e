"""The heat balance through the whole analysis: when it answers, and when it says why it doesn't.

Rides come from the independent simulator in tests/plant, or are built by hand where nothing may change on them.
"""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from plant import Simulated, bike_of, simulate
from plant.referee import without

from ridelog.advice import default_advice
from ridelog.analysis.thermal_prior import RideFit
from ridelog.analyze import analyze, heat_fit
from ridelog.analyze_heat import prior_hash
from ridelog.bike import Bike
from ridelog.channels import TIME
from ridelog.quality import find_marks
from ridelog.results import Analysis, Band, Heat, Traces, to_json
from ridelog.ride import Ride

_SPEC = importlib.util.spec_from_file_location(
    "ridelog_tests_make_ride", Path(__file__).resolve().parent / "analysis" / "make_ride.py"
)
assert _SPEC is not None
assert _SPEC.loader is not None
made = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(made)

BIKE = bike_of("heron-300")
AIR_C = 24.0
ESTIMATES = ("estimated_s", "estimated_low_s", "estimated_high_s")
SETTLES = (
    "settle_c", "settle_low_c", "settle_high_c", "limit_after_s", "limit_after_low_s", "limit_after_high_s",
)  # fmt: skip
LEDGER = {"heat_in_kps", "heat_out_kps", "settle_c", "settle_low_c", "settle_high_c", "coolant_estimated_c"}


@cache
def simulated(seed: int, start_c: float | None = None) -> Simulated:
    return simulate(
        seed, "heron-300", machine_seed=3, ambient_c=AIR_C, duration_s=1800.0, map_plan="alternate", start_c=start_c
    )


def warm() -> Ride:
    return simulated(31, 75.0).ride


def cold() -> Ride:
    return simulated(33, AIR_C).ride


@cache
def history() -> tuple[RideFit, ...]:
    found = [heat_fit(simulated(seed, 60.0).ride, BIKE) for seed in (41, 42)]
    assert all(one is not None for one in found)
    return tuple(one for one in found if one is not None)


def run(
    ride: Ride, bike: Bike | None = BIKE, baseline: tuple[RideFit, ...] = (), ambient_c: float | None = None
) -> tuple[Analysis, Traces]:
    result, traces = analyze(ride, bike, default_advice(), baseline=baseline, ambient_c=ambient_c)
    json.dumps(to_json(result), allow_nan=False)
    return result, traces


def heat_of(result: Analysis) -> Heat:
    assert result.heat is not None
    return result.heat


def put(ride: Ride, name: str, change: Callable[[np.ndarray], np.ndarray], resolution: float | None = None) -> Ride:
    """The ride with a channel changed, nulls kept."""
    values = ride.samples[name].to_numpy()
    series = pl.Series(name, change(values)).fill_nan(None)
    info = ride.channels[name]
    if resolution is not None:
        info = replace(info, resolution=resolution)
    return replace(ride, samples=ride.samples.with_columns(series), channels={**ride.channels, name: info})


def cut(ride: Ride, seconds: float) -> Ride:
    return replace(ride, samples=ride.samples.filter(pl.col(TIME) <= seconds))


def stuck() -> Ride:
    """Coolant that reads 88 C throughout while the bike works, looked at by the quality rules as an import does."""
    ride = put(warm(), "coolant_c", lambda values: np.where(np.isfinite(values), 88.0, np.nan))
    return replace(ride, quality=find_marks(ride.samples, ride.channels, ride.gaps))


def unchanging() -> Ride:
    """Twenty minutes at one speed and one throttle, the coolant wandering a little."""
    t_s = np.arange(0.0, 1200.0, 0.1)
    channels = {
        "engine_rpm": np.full(t_s.size, 12.0 * BIKE.rpm_per_mps[2]),
        "throttle_pct": np.full(t_s.size, 30.0),
        "gps_speed_mps": np.full(t_s.size, 12.0),
        "coolant_c": 85.0 + 2.0 * np.sin(t_s / 200.0),
    }
    return made.ride(t_s, channels, resolution={"coolant_c": 0.1}, ambient_c=AIR_C)


def no_air() -> Ride:
    return replace(warm(), ambient_c=None)


# Each ride that can't be fitted, and words its reason alone has.
REFUSALS: dict[str, tuple[Callable[[], Ride], Bike | None, str]] = {
    "90 s": (lambda: cut(warm(), 90.0), BIKE, "windows of a minute; 15 are needed, about 6 min"),
    "nothing changes": (unchanging, BIKE, "speed and load hardly change"),
    "air not known, warm start": (
        no_air,
        BIKE,
        "air's temperature is not known: it was not logged, and no cold start tells it",
    ),
    "stuck sensor": (stuck, BIKE, "no usable coolant temperature (marked as stuck)"),
    "no coolant": (lambda: without(warm(), "coolant_c"), BIKE, "no usable coolant temperature"),
    # The same reading all along, where no quality rule looked at it.
    "a reading that follows nothing": (
        lambda: put(warm(), "coolant_c", lambda values: np.where(np.isfinite(values), 88.0, np.nan)),
        BIKE,
        "does not follow what the engine does",
    ),
    "steps of 5 C": (
        lambda: put(warm(), "coolant_c", lambda values: np.round(values / 5.0) * 5.0, 5.0),
        BIKE,
        "steps of 5 C, too coarse",
    ),
    "no bike file": (warm, None, "no bike file"),
    "no engine speed": (lambda: without(warm(), "engine_rpm"), BIKE, "no usable engine speed"),
    "no speed": (
        lambda: without(warm(), *({"gps_speed_mps", "wheel_speed_mps", "lat_deg", "lon_deg"} & set(warm().channels))),
        BIKE,
        "no usable speed or position",
    ),
}


@pytest.mark.parametrize("name", REFUSALS)
def test_what_cannot_be_fitted_says_why_and_nothing_else(name: str) -> None:
    ride, bike, reason = REFUSALS[name]
    result, traces = run(ride(), bike)
    heat = heat_of(result)
    assert not heat.fitted
    assert heat.reason is not None
    assert reason in heat.reason
    # No other refusal could be meant.
    others = {words for words in (row[2] for row in REFUSALS.values()) if words not in reason and reason not in words}
    assert not any(words in heat.reason for words in others)
    assert [item.reason for item in result.cannot_tell if item.question == "heat"] == [heat.reason]
    # No figure of a fit that was not made.
    assert replace(heat, load_source=None) == Heat(False, heat.reason)
    assert result.what_if is None
    assert all(getattr(record, field) is None for record in result.exposure for field in ESTIMATES)
    assert all(getattr(segment, field) is None for segment in result.segments for field in SETTLES)
    assert not any(segment.kind == "heat_only" for segment in result.segments)
    assert not LEDGER & set(traces.series)
    assert heat_fit(ride(), bike) is None if bike is not None else True


def test_the_same_ride_with_what_was_missing_is_fitted() -> None:
    # So that each refusal above is for its own reason, not for the ride.
    assert heat_of(run(warm())[0]).fitted
    assert heat_of(run(no_air(), ambient_c=AIR_C)[0]).fitted
    fine = put(warm(), "coolant_c", lambda values: np.round(values / 2.0) * 2.0, 2.0)
    assert heat_of(run(fine)[0]).fitted
    assert heat_of(run(cut(warm(), 900.0))[0]).fitted


def test_a_steady_speed_under_changing_load_is_not_refused_for_that() -> None:
    t_s = unchanging().samples[TIME].to_numpy()
    load = np.where((t_s / 60.0).astype(int) % 2 == 0, 15.0, 60.0)
    ride = put(unchanging(), "throttle_pct", lambda values: np.where(np.isfinite(values), load, np.nan))
    reason = heat_of(run(ride)[0]).reason
    assert reason is None or "hardly change" not in reason


@pytest.mark.parametrize("name", ["90 s", "nothing changes", "stuck sensor", "no coolant", "steps of 5 C"])
def test_with_other_rides_to_go_by_it_is_still_not_fitted_but_estimated(name: str) -> None:
    ride, bike, reason = REFUSALS[name]
    result, traces = run(ride(), bike, history())
    heat = heat_of(result)
    assert not heat.fitted
    assert heat.reason is not None
    assert reason in heat.reason
    assert heat.baseline_rides == 2
    assert heat.heat_input is None
    assert {"heat_in_kps", "heat_out_kps", "settle_c"} <= set(traces.series)
    blind = name in {"stuck sensor", "no coolant"}
    for record in result.exposure:
        assert (record.estimated_s is not None) == blind
        if blind:
            assert 0.0 <= record.estimated_low_s <= record.estimated_s <= record.estimated_high_s  # type: ignore[operator]
            assert record.observed_s == 0.0
            assert record.estimated_high_s <= ride().duration_s + 4.0  # type: ignore[operator]
    # What would have happened on the other map is said of a coolant that was read, never of an estimate.
    assert (result.what_if is None) == blind


@pytest.mark.parametrize("name", ["no bike file", "no engine speed", "no speed", "air not known, warm start"])
def test_other_rides_do_not_stand_in_for_what_the_balance_runs_on(name: str) -> None:
    ride, bike, reason = REFUSALS[name]
    result, traces = run(ride(), bike, history())
    assert reason in (heat_of(result).reason or "")
    assert all(record.estimated_s is None for record in result.exposure)
    assert result.what_if is None
    assert not LEDGER & set(traces.series)


def test_a_cold_start_tells_the_air() -> None:
    result, _ = run(replace(cold(), ambient_c=None))
    heat = heat_of(result)
    assert heat.fitted, heat.reason
    assert heat.ambient_source == "cold start"
    assert heat.ambient_c is not None
    assert heat.ambient_c.low <= AIR_C <= heat.ambient_c.high
    told = heat_of(run(cold())[0])
    assert told.ambient_source == "given by hand"
    assert told.ambient_c is not None
    assert told.ambient_c.high - told.ambient_c.low < heat.ambient_c.high - heat.ambient_c.low


def test_a_coolant_that_stays_cold_is_no_cold_start() -> None:
    # It reads as air at first, and never warms up: a sensor in the wrong place, or an engine that was not run.
    ride = put(replace(cold(), ambient_c=None), "coolant_c", lambda values: AIR_C + 0.1 * (values - AIR_C))
    assert "no cold start tells it" in (heat_of(run(ride)[0]).reason or "")


def bands(heat: Heat) -> dict[str, Band]:
    assert heat.heat_input is not None
    assert heat.fan_step_per_s is not None
    assert heat.time_constant_s is not None
    assert heat.map_ratio is not None
    every = {
        "heat": heat.heat_input, "fan": heat.fan_step_per_s, "time": heat.time_constant_s, "ratio": heat.map_ratio,
    }  # fmt: skip
    return every | {f"cooling {one.speed_mps}": one.per_s for one in heat.cooling} | heat.parameters


def test_a_fit_gives_every_figure_with_its_band() -> None:
    result, traces = run(warm())
    heat = heat_of(result)
    assert heat.fitted
    assert heat.reason is None
    assert not any(item.question == "heat" for item in result.cannot_tell)
    for name, band in bands(heat).items():
        assert band.low <= band.value <= band.high, name
        assert np.isfinite([band.low, band.value, band.high]).all(), name
    assert [one.speed_mps for one in heat.cooling] == [0.0, 2.0, 5.0, 10.0, 20.0]
    assert all(one.per_s.low > 0.0 for one in heat.cooling)
    assert all(0.0 < share <= 1.0 for share in heat.from_prior.values())
    assert set(heat.from_prior) == set(heat.parameters)
    assert heat.rmse_c is not None
    assert heat.holdout_rmse_c is not None
    assert heat.persistence_rmse_c is not None
    assert heat.holdout_rmse_c < 0.6 * heat.persistence_rmse_c
    assert {"heat_in_kps", "heat_out_kps", "settle_c", "settle_low_c", "settle_high_c"} <= set(traces.series)
    known = np.isfinite(traces.series["settle_c"])
    assert known.mean() > 0.8
    low, middle, high = (traces.series[name][known] for name in ("settle_low_c", "settle_c", "settle_high_c"))
    assert ((low <= middle) & (middle <= high)).all()


def test_stretches_have_settle_temperatures_in_order() -> None:
    result, _ = run(warm())
    told = [segment for segment in result.segments if segment.settle_c is not None]
    assert told
    for segment in told:
        assert segment.settle_low_c <= segment.settle_c <= segment.settle_high_c  # type: ignore[operator]
        if segment.limit_after_s is not None:
            assert segment.limit_after_low_s <= segment.limit_after_s  # type: ignore[operator]
            # A stretch that gets there is one that settles above it (or has begun there).
            assert segment.settle_c > BIKE.limit_c or segment.limit_after_s == 0.0  # type: ignore[operator]


def test_the_other_map_never_adds_time() -> None:
    result, _ = run(warm())
    assert result.what_if is not None
    assert result.what_if.basis == "default"
    for record, other in zip(result.exposure, result.what_if.exposure, strict=True):
        assert record.threshold_c == other.threshold_c
        assert 0.0 <= other.low_s <= other.mid_s <= other.high_s <= record.observed_s + 1e-9
    told, _ = run(warm(), replace(BIKE, heat_ratio=0.85))
    assert told.what_if is not None
    assert told.what_if.basis == "bike"


def test_the_same_call_gives_the_same_digits() -> None:
    one, other = (to_json(run(warm(), BIKE, history())[0]) for _ in range(2))
    assert json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def test_estimates_by_other_rides_are_held_against_the_readings_there_are() -> None:
    """A reading that has nothing to do with the engine: said by how much the two differ, which is right can't be."""
    unlike = put(
        warm(), "coolant_c", lambda values: np.where(np.isfinite(values), 40.0 + (np.arange(values.size) % 2), values)
    )
    fits = heat_of(run(unlike, BIKE, history())[0])
    ride, bike, _ = REFUSALS["no coolant"]
    no_reading = heat_of(run(ride(), bike, history())[0])
    assert not fits.fitted
    assert fits.estimates_miss_c is not None
    assert fits.persistence_rmse_c is not None
    assert fits.estimates_miss_c > 5.0 > fits.persistence_rmse_c
    assert no_reading.estimates_miss_c is None


def test_other_rides_narrow_what_one_ride_leaves_open() -> None:
    short = cut(warm(), 700.0)
    alone, helped = heat_of(run(short)[0]), heat_of(run(short, BIKE, history())[0])
    assert (alone.baseline_rides, helped.baseline_rides) == (0, 2)
    width = {
        name: [band.high - band.low for band in (bands(h)[name] for h in (alone, helped))] for name in bands(alone)
    }
    for name in ("heat", "cooling 2.0", "cooling 5.0", "cooling 10.0", "cooling 20.0"):
        assert width[name][1] < width[name][0], name


def test_a_prior_is_named_by_its_rides_and_what_they_told() -> None:
    one, two = history()
    assert prior_hash(()) is None
    hashes = {prior_hash(rides) for rides in ((one,), (two,), (one, two), (two, one))}
    assert len(hashes) == 4
    assert prior_hash((replace(one, theta=one.theta + 1e-9),)) != prior_hash((one,))
    assert prior_hash((replace(one, air_c=31.0),)) != prior_hash((one,))
    result, _ = run(warm(), BIKE, (one, two))
    assert result.basis.prior is not None
    assert result.basis.prior.hash == prior_hash((one, two))
    assert result.basis.prior.rides == (one.ride, two.ride)


def test_a_hole_in_the_coolant_alone_is_estimated_and_told_apart() -> None:
    ride = warm()
    t_s = ride.samples[TIME].to_numpy()
    inside = (t_s > 800.0) & (t_s < 1000.0)
    holed = put(ride, "coolant_c", lambda values: np.where(inside, np.nan, values))
    result, traces = run(holed)
    assert heat_of(result).fitted
    estimated = np.isfinite(traces.series["coolant_estimated_c"])
    where = traces.t_s[estimated]
    assert 796.0 <= where.min() <= 806.0
    assert 994.0 <= where.max() <= 1004.0
    truth = simulated(31, 75.0).truth.trace
    off = traces.series["coolant_estimated_c"][estimated] - np.interp(where, truth.t_s, truth.coolant_c)
    assert np.sqrt((off**2).mean()) < 4.0
    for record in result.exposure:
        assert record.estimated_s is not None
        assert record.estimated_high_s <= 210.0  # type: ignore[operator]
        assert record.unknown_s == pytest.approx(0.0, abs=12.0)
