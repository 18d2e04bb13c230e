"""Offset and drift between two devices' clocks.

The sample rides hold engine and receiver on one clock, so whatever is done to one of the clocks is known exactly. Times
come from the simulator in `sample_logs`, which shares no code with the estimate.
"""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import gaussian_filter1d

from ridelog.bike import read_bike
from ridelog.ingest import ImportOptions, read_rides
from ridelog.offset import QUICK_SPAN_S, Offset, estimate
from ridelog.offset.receiver import speed_lag_s, track_speed
from ridelog.offset.signals import newly_spoken, on_grid
from ridelog.results import FloatArray

HERE = Path(__file__).resolve().parent.parent / "sample_logs"
ENTRIES: dict[str, dict[str, Any]] = {
    one["name"]: one for one in tomllib.loads((HERE / "manifest.toml").read_text(encoding="utf-8"))["ride"]
}
GOAL_S = 0.1
PER_MPS = (162.0, 124.0, 98.0, 79.0, 66.0, 57.0)

Source = Literal["speed", "slow speed", "positions"]


@dataclass(frozen=True)
class Devices:
    """One ride as two devices have it, on the same clock."""

    engine_t_s: FloatArray
    rpm: FloatArray
    speed_t_s: FloatArray
    speed_mps: FloatArray
    position_t_s: FloatArray
    lat_deg: FloatArray
    lon_deg: FloatArray
    ratios: tuple[float, ...]

    def reference(self, source: Source) -> tuple[FloatArray, FloatArray]:
        if source == "positions":
            return track_speed(self.position_t_s, self.lat_deg, self.lon_deg)
        if source == "speed":
            return self.speed_t_s, self.speed_mps
        every = round(1.0 / float(np.median(np.diff(self.speed_t_s))))
        return self.speed_t_s[::every], self.speed_mps[::every]


@cache
def devices(name: str) -> Devices:
    entry = ENTRIES[name]
    bike = read_bike(HERE / "bikes" / f"{entry['bike']}.bike.toml")
    options = ImportOptions(bike=bike, timezone=entry["timezone"])
    paths = [HERE / file for file in entry["files"]]
    (ride,) = read_rides(paths, options, together=len(paths) > 1)
    t_s = ride.samples["t_s"].to_numpy()

    def own(channel: str) -> tuple[FloatArray, FloatArray]:
        column = ride.samples[channel]
        return t_s[column.is_not_null().to_numpy()], column.drop_nulls().to_numpy().astype(np.float64)

    return Devices(*own("engine_rpm"), *own("gps_speed_mps"), *own("lat_deg"), own("lon_deg")[1], bike.rpm_per_mps)


@cache
def lag_s(name: str) -> float:
    ride = devices(name)
    found = speed_lag_s(ride.speed_t_s, ride.speed_mps, ride.position_t_s, ride.lat_deg, ride.lon_deg)
    assert found is not None
    return found


def moved(t_s: FloatArray, offset_s: float, ppm: float) -> FloatArray:
    """What a clock shows that has to be moved by `offset_s` and drifts by `ppm`."""
    return (t_s - offset_s) / (1.0 + ppm * 1e-6)


def aligned(name: str, source: Source, offset_s: float, ppm: float) -> tuple[Offset, float]:
    """The estimate, and the largest error of any moment of the ride, s."""
    ride = devices(name)
    from_positions = source == "positions" or name == "12-two-devices"
    found = estimate(
        *ride.reference(source),
        moved(ride.engine_t_s, offset_s, ppm),
        ride.rpm,
        kind="rpm",
        ratios=ride.ratios,
        reference_from_positions=from_positions,
        reference_lag_s=0.0 if from_positions else lag_s(name),
    )
    assert found.status == "aligned", (name, source, found)
    off = found.to_reference(moved(ride.engine_t_s, offset_s, ppm)) - ride.engine_t_s
    error_s = float(np.abs(off).max())
    assert found.error_s is not None
    assert error_s <= found.error_s
    return found, error_s


SMALL = [
    ("01-standard-in-sand", "speed", -3600.0, 200.0),
    ("06-more-mud", "positions", -37.13, 80.0),
    ("07-half-blocked", "speed", 2220.0, 0.0),
    ("08-long-ride", "speed", 3600.0, 200.0),
    ("08-long-ride", "positions", -611.1, 120.0),
    ("09-no-map-channel", "slow speed", 611.1, 50.0),
    ("11-dropouts", "speed", -1234.567, -60.0),
    ("11-dropouts", "slow speed", 0.05, 200.0),
    ("12-two-devices", "positions", 3600.0, 150.0),
]


@pytest.mark.parametrize(("name", "source", "offset_s", "ppm"), SMALL)
def test_sample_rides_are_put_on_one_clock(name: str, source: Source, offset_s: float, ppm: float) -> None:
    found, error_s = aligned(name, source, offset_s, ppm)
    assert error_s <= GOAL_S
    assert found.confidence >= 0.6
    assert "gear of the bike" in found.reason
    assert "by chance" not in found.reason


@pytest.mark.slow
@pytest.mark.parametrize("source", ["speed", "slow speed", "positions"])
def test_every_sample_ride_over_the_whole_range_of_offsets_and_drifts(source: Source) -> None:
    errors = [
        aligned(name, source, offset_s, ppm)[1]
        for name, offset_s, ppm in itertools.product(
            ENTRIES, (-3600.0, -1800.3, -611.11, -37.13, 0.05, 5.5, 1234.567, 3600.0), (-200.0, 0.0, 20.0, 100.0, 200.0)
        )
    ]
    print(f"{source}: {len(errors)} cases, largest {max(errors):.3f} s, 95 % within {np.quantile(errors, 0.95):.3f} s")
    assert max(errors) <= GOAL_S


@cache
def logged_once(name: str, channel: str) -> tuple[FloatArray, FloatArray]:
    (ride,) = read_rides([HERE / ENTRIES[name]["files"][0]], ImportOptions(timezone="UTC"))
    column = ride.samples[channel]
    here = column.is_not_null().to_numpy()
    return ride.samples["t_s"].to_numpy()[here], column.drop_nulls().to_numpy().astype(np.float64)


def shared_error_s(name: str, channel: str, offset_s: float, ppm: float) -> float:
    """Largest error, s, of a channel that two loggers have, each at rates and rows of its own."""
    t_s, values = logged_once(name, channel)
    shown_s = moved(t_s, offset_s, ppm)
    found = estimate(t_s[::2], values[::2], shown_s[1::3], values[1::3], kind="shared", span_s=QUICK_SPAN_S)
    assert found.status == "aligned", (name, channel, found)
    error_s = float(np.abs(found.to_reference(shown_s) - t_s).max())
    assert found.error_s is not None
    assert error_s <= found.error_s
    return error_s


@pytest.mark.parametrize(
    ("name", "channel", "offset_s", "ppm"),
    [("02-switched-in-time", "engine_rpm", -3600.0, 200.0), ("09-no-map-channel", "throttle_pct", 2220.0, 20.0)],
)
def test_a_channel_both_loggers_have(name: str, channel: str, offset_s: float, ppm: float) -> None:
    assert shared_error_s(name, channel, offset_s, ppm) <= GOAL_S


@pytest.mark.slow
@pytest.mark.parametrize("channel", ["engine_rpm", "throttle_pct"])
def test_a_channel_both_loggers_have_over_the_whole_range(channel: str) -> None:
    errors = [
        shared_error_s(name, channel, offset_s, ppm)
        for name, offset_s, ppm in itertools.product(
            [name for name in ENTRIES if name != "12-two-devices"],
            (-3600.0, -611.11, 0.05, 1234.567, 3600.0),
            (-200.0, 0.0, 100.0, 200.0),
        )
    ]
    print(f"{channel}: {len(errors)} cases, largest {max(errors):.3f} s")
    assert max(errors) <= GOAL_S


@pytest.mark.parametrize("channel", ["engine_rpm", "throttle_pct", "gps_speed_mps", "coolant_c"])
def test_other_rides_over_the_same_ground_do_not_pass_for_one(channel: str) -> None:
    """The same bike on the same loop, and another bike there: alike to the eye."""
    names = ("01-standard-in-sand", "02-switched-in-time", "05-first-mud", "09-no-map-channel")
    for one, two in itertools.combinations(names, 2):
        span_s = None if channel == "coolant_c" else QUICK_SPAN_S
        found = estimate(
            *logged_once(one, channel), *logged_once(two, channel), kind="shared", span_s=span_s, max_offset_s=5000.0
        )
        assert found.status != "aligned", (one, two, found)


def test_one_coolant_by_two_sensors_of_which_one_is_slower_and_shows_whole_degrees() -> None:
    t_s, values = logged_once("01-standard-in-sand", "coolant_c")
    grid = np.arange(t_s[0], t_s[-1], 0.1)
    slow = np.interp(grid, t_s, values)
    for i in range(1, slow.size):  # first order, 3 s
        slow[i] = slow[i - 1] + 0.1 / 3.0 * (slow[i] - slow[i - 1])
    found = estimate(t_s, values, grid[::10] - 37.0, np.round(slow[::10]), kind="shared")
    assert found.status == "aligned"
    assert found.offset_s == pytest.approx(37.0, abs=3.5)


@settings(max_examples=15)
@given(st.floats(-3600.0, 3600.0), st.floats(-200.0, 200.0))
def test_any_offset_and_drift(offset_s: float, ppm: float) -> None:
    assert aligned("05-first-mud", "speed", offset_s, ppm)[1] <= GOAL_S


@pytest.mark.parametrize(
    ("speed_of", "rpm_of"),
    [
        ("01-standard-in-sand", "02-switched-in-time"),  # the same bike on the same loop, another day
        ("04-clean-radiators", "05-first-mud"),
        ("10-no-coolant", "11-dropouts"),
        ("08-long-ride", "03-spaet-geschaltet"),
    ],
)
def test_different_rides_are_refused(speed_of: str, rpm_of: str) -> None:
    left, right = devices(speed_of), devices(rpm_of)
    found = estimate(left.speed_t_s, left.speed_mps, right.engine_t_s, right.rpm, kind="rpm", ratios=left.ratios)
    assert found.status == "weak"
    assert found.offset_s is None
    assert found.drift_ppm is None
    assert found.confidence < 0.3
    assert "correlation" in found.reason
    with pytest.raises(ValueError, match="not aligned"):
        found.to_reference(right.engine_t_s)


@pytest.mark.parametrize(("first_s", "last_s"), [(300.0, 900.0), (1000.0, 9000.0), (0.0, 500.0)])
def test_a_device_that_ran_for_a_part_of_the_ride(first_s: float, last_s: float) -> None:
    ride = devices("03-spaet-geschaltet")
    part = (ride.engine_t_s >= first_s) & (ride.engine_t_s < last_s)
    true_s = ride.engine_t_s[part]
    shown_s = true_s - first_s
    lag = lag_s("03-spaet-geschaltet")
    found = estimate(ride.speed_t_s, ride.speed_mps, shown_s, ride.rpm[part], kind="rpm", reference_lag_s=lag)
    assert found.status == "aligned"
    assert np.abs(found.to_reference(shown_s) - true_s).max() <= GOAL_S


def test_without_the_receivers_lag_the_answer_is_off_by_just_that() -> None:
    ride = devices("02-switched-in-time")
    plain, corrected = (
        estimate(ride.speed_t_s, ride.speed_mps, ride.engine_t_s, ride.rpm, kind="rpm", reference_lag_s=lag)
        for lag in (0.0, 0.2)
    )
    assert plain.offset_s is not None
    assert corrected.offset_s == pytest.approx(plain.offset_s - 0.2, abs=1e-12)
    assert corrected.drift_ppm == plain.drift_ppm


@pytest.mark.parametrize("name", [name for name in ENTRIES if name != "12-two-devices"])
def test_the_lag_of_the_receivers_speed_is_found_from_its_positions(name: str) -> None:
    # The simulator's receivers smooth speed with a time constant of 0.22 s, positions not at all.
    assert lag_s(name) == pytest.approx(0.22, abs=0.05)


def test_no_lag_where_the_positions_stand_still() -> None:
    ride = devices("01-standard-in-sand")
    still = np.full(ride.position_t_s.size, 10.0)
    assert speed_lag_s(ride.speed_t_s, ride.speed_mps, ride.position_t_s, still, still) is None
    assert speed_lag_s(ride.speed_t_s, ride.speed_mps, ride.position_t_s[:2], still[:2], still[:2]) is None


def test_a_bike_file_with_other_gears_is_told_but_does_not_stop_the_answer() -> None:
    ride = devices("01-standard-in-sand")
    good, bad = (
        estimate(ride.speed_t_s, ride.speed_mps, ride.engine_t_s, ride.rpm, kind="rpm", ratios=ratios)
        for ratios in (ride.ratios, tuple(1.11 * ratio for ratio in ride.ratios))
    )
    assert bad.status == "aligned"
    assert bad.offset_s == good.offset_s
    assert bad.confidence < good.confidence
    assert "check the bike's gearing" in bad.reason


# -- made-up signals --------------------------------------------------------------------------------------------------


def speed_like(seconds: float, rate_hz: float, seed: int) -> tuple[FloatArray, FloatArray]:
    """A rider's speed: accelerations of a few seconds, 4 to 25 m/s."""
    draw = np.random.default_rng(seed)
    size = int(seconds * rate_hz)
    raw = gaussian_filter1d(draw.normal(size=size), 2.5 * rate_hz)
    return np.arange(size) / rate_hz, 14.0 + 5.0 * np.clip(raw / raw.std(), -2.0, 2.2)


def in_gears(speed_mps: FloatArray) -> FloatArray:
    gear = np.searchsorted([6.0, 9.0, 12.0, 16.0, 20.0], speed_mps)
    return np.array(PER_MPS)[gear] * speed_mps


def test_constant_speed_is_refused() -> None:
    t_s = np.arange(0.0, 1800.0, 0.1)
    noise = np.random.default_rng(3).normal(0.0, 0.05, t_s.size)
    _, varied = speed_like(1800.0, 10.0, 1)
    for speed, rpm, which in (
        (np.full(t_s.size, 15.0), in_gears(varied), "ground speed"),
        (15.0 + noise, in_gears(varied), "ground speed"),
        (varied, np.full(t_s.size, 6000.0), "engine speed"),
        (np.zeros(t_s.size), in_gears(varied), "ground speed"),
    ):
        found = estimate(t_s, speed, t_s, rpm, kind="rpm")
        assert found.status == "constant"
        assert found.offset_s is None
        assert which in found.reason


def test_constant_speed_with_a_receivers_noise_is_never_aligned() -> None:
    t_s = np.arange(0.0, 1800.0, 0.1)
    draw = np.random.default_rng(4)
    speed, turning = (15.0 + draw.normal(0.0, 0.6, t_s.size) for _ in range(2))
    assert estimate(t_s, speed, t_s, 60.0 * turning, kind="rpm").status in ("constant", "weak")


def test_laps_that_are_alike_are_ambiguous() -> None:
    _, lap = speed_like(400.0, 10.0, 5)
    day = np.tile(lap, 4)
    t_s = np.arange(day.size) / 10.0
    found = estimate(t_s, day, t_s[: lap.size], in_gears(lap), kind="rpm")
    assert found.status == "ambiguous"
    assert found.offset_s is None
    assert found.confidence < 0.2
    assert len(found.candidates_s) >= 3
    assert all(min(value % 400.0, 400.0 - value % 400.0) < 0.3 for value in found.candidates_s)
    assert "laps" in found.reason


def test_laps_that_differ_are_not() -> None:
    _, lap = speed_like(400.0, 10.0, 5)
    own = np.concatenate([lap + speed_like(400.0, 10.0, 20 + number)[1] - 14.0 for number in range(4)])
    day = np.clip(own, 3.0, None)
    t_s = np.arange(day.size) / 10.0
    found = estimate(t_s, day, t_s[:8000] + 77.0, in_gears(day[4000:12000]), kind="rpm")
    assert found.status == "aligned"
    assert found.offset_s is not None
    assert found.offset_s + (found.drift_ppm or 0.0) * 1e-6 * 477.0 == pytest.approx(400.0 - 77.0, abs=GOAL_S)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.7])
def test_a_clock_that_jumped_in_mid_ride_is_not_averaged(share: float) -> None:
    t_s, speed = speed_like(1800.0, 10.0, 6)
    shown_s = np.where(t_s < share * 1800.0, t_s, t_s + 30.0)
    found = estimate(t_s, speed, shown_s, in_gears(speed), kind="rpm")
    assert found.status == "ambiguous"
    assert sorted(found.candidates_s) == pytest.approx([-30.0, 0.0], abs=0.5)
    assert "jumped" in found.reason


def test_a_jump_near_the_end_lowers_the_confidence_and_is_told() -> None:
    t_s, speed = speed_like(1800.0, 10.0, 6)
    whole = estimate(t_s, speed, t_s, in_gears(speed), kind="rpm")
    jumped = estimate(t_s, speed, np.where(t_s < 1500.0, t_s, t_s + 30.0), in_gears(speed), kind="rpm")
    assert whole.status == "aligned"
    assert "stretches" not in whole.reason
    assert jumped.status == "aligned"
    assert "stretches" in jumped.reason
    assert jumped.confidence < whole.confidence


def test_wheel_speed_of_a_wheel_of_unknown_size() -> None:
    t_s, speed = speed_like(1200.0, 5.0, 7)
    shown_s = moved(t_s, 2220.0, 150.0)
    found = estimate(t_s, speed, shown_s, 0.93 * speed, kind="speed")
    assert found.status == "aligned"
    assert np.abs(found.to_reference(shown_s) - t_s).max() < 0.05


@pytest.mark.parametrize("channel", ["engine_rpm", "throttle_pct", "elevation_m"])
def test_a_channel_both_devices_have_in_different_units(channel: str) -> None:
    (ride,) = read_rides([HERE / ENTRIES["07-half-blocked"]["files"][0]], ImportOptions(timezone="UTC"))
    column = ride.samples[channel]
    t_s = ride.samples["t_s"].to_numpy()[column.is_not_null().to_numpy()]
    values = column.drop_nulls().to_numpy().astype(np.float64)
    shown_s = moved(t_s, -500.0, 90.0)
    found = estimate(t_s[::4], values[::4], shown_s[1::3], 3.3 * values[1::3] - 40.0, kind="shared")
    assert found.status == "aligned"
    assert np.abs(found.to_reference(shown_s) - t_s).max() <= GOAL_S


def test_a_shared_channel_that_does_not_change_is_refused() -> None:
    t_s = np.arange(0.0, 900.0, 0.5)
    values = np.where(t_s < 800.0, 80.0, 81.0)
    found = estimate(t_s, values, t_s, values, kind="shared")
    assert found.status == "constant"
    assert "hardly changes" in found.reason


def test_eight_hours_of_drift() -> None:
    t_s, speed = speed_like(8 * 3600.0, 5.0, 8)
    shown_s = moved(t_s, -1000.0, 250.0)
    found = estimate(t_s[::5], speed[::5], shown_s, in_gears(speed), kind="rpm")
    assert found.status == "aligned"
    assert found.drift_ppm == pytest.approx(250.0, abs=5.0)
    assert np.abs(found.to_reference(shown_s) - t_s).max() <= GOAL_S


def test_holes_are_left_out_on_both_sides() -> None:
    t_s, speed = speed_like(1500.0, 10.0, 9)
    one = (t_s % 200.0) < 140.0
    two = ((t_s + 60.0) % 170.0) < 120.0
    shown_s = moved(t_s[two], 42.0, 100.0)
    found = estimate(t_s[one], speed[one], shown_s, in_gears(speed)[two], kind="rpm")
    assert found.status == "aligned"
    assert np.abs(found.to_reference(shown_s) - t_s[two]).max() < 0.05
    assert found.overlap_s < (one & two).sum() * 0.1


def test_no_value_is_made_up_in_a_hole() -> None:
    t_s = np.array([0.0, 0.5, 1.0, 5.0, 5.5, 6.0])
    grid = on_grid(t_s, np.arange(6.0))
    inside = (grid.times() > 1.0 + 1e-6) & (grid.times() < 5.0 - 1e-6)
    assert np.isnan(grid.values[inside]).all()
    assert np.isfinite(grid.values[~inside]).all()


@pytest.mark.parametrize("rows", [1, 2, 4, 20])
def test_repeats_of_a_held_value_are_told_from_news(rows: int) -> None:
    news = np.round(np.random.default_rng(10).normal(10.0, 2.0, 400), 1)
    kept = newly_spoken(np.repeat(news, rows))
    assert kept.sum() == news.size
    assert kept[::rows].all()


def test_a_held_reference_is_not_late() -> None:
    t_s, speed = speed_like(1200.0, 20.0, 11)
    held = np.repeat(speed[::20], 20)
    found = estimate(t_s, held, t_s, in_gears(speed), kind="rpm")
    assert found.status == "aligned"
    assert np.abs(found.to_reference(t_s) - t_s).max() < 0.05


def test_no_overlap_within_the_allowed_offset() -> None:
    t_s, speed = speed_like(900.0, 10.0, 12)
    found = estimate(t_s, speed, t_s + 5000.0, in_gears(speed), kind="rpm", max_offset_s=3700.0)
    assert found.status == "weak"
    assert "3700 s" in found.reason
    assert estimate(t_s, speed, t_s + 5000.0, in_gears(speed), kind="rpm", max_offset_s=5100.0).status == "aligned"


def test_which_device_is_the_reference_only_turns_the_sign() -> None:
    t_s, speed = speed_like(1500.0, 10.0, 13)
    shown_s = moved(t_s, 300.0, 120.0)
    there = estimate(t_s, speed, shown_s, 1.02 * speed, kind="shared")
    back = estimate(shown_s, 1.02 * speed, t_s, speed, kind="shared")
    assert np.abs(back.to_reference(there.to_reference(shown_s)) - shown_s).max() < 0.02


def test_samples_that_are_no_numbers_are_left_out() -> None:
    t_s, speed = speed_like(900.0, 10.0, 14)
    broken = speed.copy()
    broken[::7] = np.nan
    broken[5000] = np.inf
    found = estimate(t_s, broken, t_s - 10.0, in_gears(speed), kind="rpm")
    assert found.status == "aligned"
    assert found.offset_s == pytest.approx(10.0, abs=0.05)


def test_little_or_nothing_is_refused_in_words() -> None:
    t_s, speed = speed_like(900.0, 10.0, 15)
    nothing = np.zeros(0)
    for other_t, other in ((nothing, nothing), (t_s[:1], speed[:1]), (t_s[:200], in_gears(speed)[:200])):
        for kind in ("rpm", "speed", "shared"):
            found = estimate(t_s, speed, other_t, other, kind=kind)  # type: ignore[arg-type]
            assert found.status in ("constant", "weak")
            assert found.reason


def test_arrays_that_do_not_fit_are_an_error() -> None:
    t_s, speed = speed_like(100.0, 10.0, 16)
    with pytest.raises(ValueError, match="one length"):
        estimate(t_s[:-1], speed, t_s, speed, kind="speed")
    with pytest.raises(ValueError, match="rise"):
        estimate(t_s[::-1], speed, t_s, speed, kind="speed")
    with pytest.raises(ValueError, match="max_offset_s"):
        estimate(t_s, speed, t_s, speed, kind="speed", max_offset_s=0.0)


@settings(max_examples=25)
@given(
    st.integers(0, 10_000),
    st.sampled_from([1.0, 5.0, 10.0, 20.0]),
    st.sampled_from([1.0, 5.0, 10.0, 20.0]),
    st.floats(-3600.0, 3600.0),
    st.floats(-200.0, 200.0),
)
def test_any_pair_of_rates(seed: int, reference_hz: float, other_hz: float, offset_s: float, ppm: float) -> None:
    t_s, speed = speed_like(900.0, 20.0, seed)
    one, two = slice(None, None, round(20.0 / reference_hz)), slice(3, None, round(20.0 / other_hz))
    shown_s = moved(t_s[two], offset_s, ppm)
    found = estimate(t_s[one], speed[one], shown_s, in_gears(speed)[two], kind="rpm")
    assert found.status == "aligned"
    assert np.abs(found.to_reference(shown_s) - t_s[two]).max() <= GOAL_S


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_unrelated_signals_are_never_aligned(seed: int) -> None:
    t_s, speed = speed_like(1200.0, 5.0, seed)
    _, other = speed_like(1200.0, 5.0, seed + 20_000)
    assert estimate(t_s, speed, t_s, in_gears(other), kind="rpm").status == "weak"


def test_the_speed_of_a_track_is_stamped_at_its_middle() -> None:
    t_s = np.arange(0.0, 60.0, 0.2)
    north_m = 0.5 * 0.3 * t_s**2
    found_t, found_v = track_speed(t_s, np.degrees(north_m / 6_371_009.0), np.full(t_s.size, 179.99))
    np.testing.assert_allclose(found_v, 0.3 * found_t, rtol=1e-6)


def test_a_track_over_the_180th_meridian_has_no_jump() -> None:
    t_s = np.arange(0.0, 60.0, 1.0)
    lon = (179.999 + 1e-4 * t_s + 180.0) % 360.0 - 180.0
    _, speed = track_speed(t_s, np.zeros(60), lon)
    np.testing.assert_allclose(speed, np.radians(1e-4) * 6_371_009.0, rtol=1e-6)
