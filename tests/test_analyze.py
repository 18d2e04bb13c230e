"""The analysis as a whole, on rides built by hand: what it says, and what it refuses to say."""

from __future__ import annotations

import importlib.util
import json
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ridelog.advice import default_advice, parse_advice
from ridelog.analyze import analyze
from ridelog.bike import Bike, parse_bike
from ridelog.channels import CHANNELS
from ridelog.results import Analysis, to_json
from ridelog.ride import Note, QualityMark, Ride

_SPEC = importlib.util.spec_from_file_location(
    "ridelog_tests_make_ride", Path(__file__).resolve().parent / "analysis" / "make_ride.py"
)
assert _SPEC is not None
assert _SPEC.loader is not None
made = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(made)

BIKE = parse_bike(
    """
schema = 1
id = "dune-07"
[engine]
power_curve_rpm = [3000, 5000, 6500, 8200, 9500]
power_curve_kw = [3.0, 6.0, 9.0, 12.0, 10.0]  # so little that wide open in fourth holds 24 m/s on hard ground
[maps]
conservative_slot = 2
slot_values = { "1" = 1, "2" = 2 }
""",
    "x",
)
T_S = np.arange(0.0, 600.0, 0.1)


def within(start_s: float, end_s: float) -> np.ndarray:
    return (start_s <= T_S) & (end_s > T_S)


def flat_out(**more: np.ndarray) -> Ride:
    """Ten minutes in fourth gear with one wide-open stretch, 200 s to 240 s, and coolant that reaches 112 C in it."""
    opening = within(200.0, 240.0)
    speed = np.where(opening, 24.0, 15.0)
    coolant = np.interp(T_S, [0, 200, 240, 300, 600], [80.0, 90.0, 112.0, 92.0, 90.0])
    channels = {
        "engine_rpm": speed * BIKE.rpm_per_mps[3],
        "throttle_pct": np.where(opening, 97.0, np.where(within(0.0, 20.0), 1.0, 20.0)),
        "gps_speed_mps": speed,
        "elevation_m": np.full(T_S.size, 300.0),
        "coolant_c": coolant,
        **more,
    }
    return made.ride(T_S, channels, resolution={"coolant_c": 0.1})


def run(ride: Ride, bike: Bike | None = BIKE, **more: float) -> Analysis:
    result, traces = analyze(ride, bike, default_advice(), **more)
    json.dumps(to_json(result), allow_nan=False)
    for name, values in traces.series.items():
        assert values.shape == traces.t_s.shape, name
    return result


def asked(result: Analysis) -> set[str]:
    return {item.question for item in result.cannot_tell}


def test_a_wide_open_stretch_on_the_standard_map() -> None:
    result = run(flat_out(map_slot=np.ones(T_S.size)))
    (stretch,) = result.segments
    assert (stretch.kind, stretch.verdict, stretch.certainty) == ("wide_open", "missed", "sure")
    assert (stretch.start_s, stretch.end_s) == pytest.approx((200.0, 240.0), abs=0.25)
    assert stretch.coolant_start_c == pytest.approx(90.0, abs=0.2)
    assert stretch.coolant_peak_c == pytest.approx(112.0, abs=0.2)
    assert stretch.mean_power_w is not None
    assert result.adherence.counts["missed"] == 1
    assert result.adherence.share == 0.0
    assert result.adherence.advised_s == pytest.approx(30.0, abs=0.3)
    assert "105 C (hot)" in result.summary[0]
    assert "with the throttle wide open on the standard map" in result.summary[1]
    assert any("the log shows the standard map for all that time" in sentence for sentence in result.summary)


def test_the_same_on_the_conservative_map() -> None:
    slot = np.where(within(204.0, 243.5), 2.0, 1.0)
    result = run(flat_out(map_slot=slot))
    (stretch,) = result.segments
    assert (stretch.verdict, stretch.conservative_share) == ("followed", 1.0)
    assert stretch.switched_after_s == pytest.approx(4.0, abs=0.15)
    assert stretch.held_after_s == pytest.approx(3.5, abs=0.15)
    assert result.adherence.share == 1.0


def test_without_a_map_channel_nobody_is_accused() -> None:
    result = run(flat_out())
    assert [one.verdict for one in result.segments] == ["unknown"]
    assert result.adherence.share is None
    assert result.adherence.conservative_s is None
    assert result.adherence.unknown_s == pytest.approx(result.adherence.advised_s)
    assert "map_in_use" in asked(result)
    assert not any("standard map" in sentence for sentence in result.summary)


def test_half_a_map_channel_is_not_held_against_the_rider() -> None:
    # Conservative as far as it is known; for 40 % of the stretch it is not known.
    slot = np.where(within(204.0, 243.5), 2.0, 1.0)
    slot[within(224.0, 241.0)] = np.nan
    result = run(flat_out(map_slot=slot))
    assert [one.verdict for one in result.segments] == ["unknown"]
    assert result.adherence.share == pytest.approx(1.0, abs=0.02)
    assert result.adherence.unknown_s == pytest.approx(16.0, abs=0.5)
    assert not any("standard map" in sentence for sentence in result.summary)


def test_a_slot_the_bike_file_does_not_list_is_unknown() -> None:
    result = run(flat_out(map_slot=np.full(T_S.size, 5.0)))
    assert [one.verdict for one in result.segments] == ["unknown"]
    assert any("reads '5'" in item.reason and "slot_values = {" in item.reason for item in result.cannot_tell)


def test_values_kept_as_the_log_wrote_them_go_through_the_bike_files_list() -> None:
    # Imported before the bike was known: the log's 1 is slot 2 here, and must not pass for slot 1.
    bike = replace(BIKE, slot_values=(("0", 1), ("1", 2)))
    ride = flat_out(map_slot=np.where(within(204.0, 243.5), 1.0, 0.0))
    late = replace(ride, notes=(Note("map_slots", "kept as slot numbers"),))
    assert [one.verdict for one in run(late, bike).segments] == ["followed"]
    assert [one.verdict for one in run(flat_out(map_slot=np.ones(T_S.size)), bike).segments] == ["missed"]


def test_map_words_nobody_could_read_at_import_are_not_a_missing_switch() -> None:
    result = run(replace(flat_out(), notes=(Note("map_unread", "kept as it is"),)))
    assert any("Import it again" in item.reason for item in result.cannot_tell if item.question == "map_in_use")


def test_without_a_bike_file_drag_and_boiling_are_not_made_up() -> None:
    result = run(flat_out(map_slot=np.ones(T_S.size)), None)
    assert {"heavy_drag", "boiling", "map_in_use"} <= asked(result)
    assert result.boiling is None
    assert [one.verdict for one in result.segments] == ["unknown"]
    assert result.segments[0].mean_power_w is None
    assert "thresholds" in result.basis.defaults_used
    assert [(e.name, e.threshold_c) for e in result.exposure] == [("warm", 95.0), ("hot", 105.0), ("limit", 115.0)]


def test_every_open_question_has_a_reason() -> None:
    result = run(made.ride(T_S, {"coolant_c": np.full(T_S.size, 90.0)}), None)
    assert {"heavy_drag", "wide_open", "high_speed", "slow_climb", "standstill", "map_in_use"} <= asked(result)
    assert all(len(item.reason) > 10 for item in result.cannot_tell)
    assert result.ride.distance_m is None
    assert result.ride.moving_s is None
    assert result.segments == ()
    assert "can't be told" in result.summary[1]


def test_no_coolant_is_said_first() -> None:
    ride = flat_out()
    without = replace(ride, samples=ride.samples.drop("coolant_c"))
    result = run(without)
    assert "no usable coolant" in result.summary[0]
    assert "exposure" in asked(result)
    assert all(e.unknown_s == pytest.approx(without.duration_s) for e in result.exposure)
    assert result.boiling is not None
    assert result.boiling.margin_sealed_c is None


def test_excluded_coolant_is_unknown_not_cool() -> None:
    ride = flat_out()
    marked = replace(ride, quality=(QualityMark("coolant_c", "stuck", 190.0, 270.0, "excluded", "by hand"),))
    result = run(marked)
    assert result.exposure[1].observed_s == 0.0
    assert result.exposure[1].unknown_s == pytest.approx(80.0, abs=0.3)
    assert result.segments[0].coolant_peak_c is None
    assert any("not known" in sentence for sentence in result.summary)
    assert result.quality[0].kind == "stuck"


def test_heat_after_switching_off_is_not_blamed_on_riding() -> None:
    coolant = np.interp(T_S, [0, 400, 450, 600], [85.0, 90.0, 108.0, 97.0])
    rpm = np.where(within(400.0, 600.0), 0.0, 5000.0)
    result = run(made.ride(T_S, {"coolant_c": coolant, "engine_rpm": rpm}))
    hot = result.exposure[1]
    assert hot.observed_s > 0.0
    assert hot.engine_off_s == pytest.approx(hot.observed_s, abs=0.2)
    assert "after the engine was switched off" in result.summary[1]


def test_ambient_by_hand_wins_over_import_and_log() -> None:
    logged = flat_out(ambient_c=np.full(T_S.size, 20.0))
    assert run(logged).ride.ambient_c == pytest.approx(20.0)
    assert run(replace(logged, ambient_c=25.0)).ride.ambient_c == 25.0
    assert run(replace(logged, ambient_c=25.0), ambient_c=31.0).ride.ambient_c == 31.0
    plain = run(flat_out())
    assert plain.ride.ambient_c is None
    assert "ambient_c" in plain.basis.defaults_used


def test_missing_elevation_is_sea_level_and_says_so() -> None:
    ride = flat_out()
    flat = run(replace(ride, samples=ride.samples.drop("elevation_m")))
    assert "elevation_m" in flat.basis.defaults_used
    assert "climb_or_soft_ground" in asked(flat)
    assert flat.boiling is not None
    assert flat.boiling.ambient_kpa == pytest.approx(101.325)
    high = run(flat_out(elevation_m=np.full(T_S.size, 1500.0)))
    assert "elevation_m" not in high.basis.defaults_used
    assert high.boiling is not None
    # ICAO at 1500 m, cap of 1.1 bar, half glycol: reference tables.
    assert high.boiling.sealed_c == pytest.approx(128.05, abs=0.05)
    assert high.boiling.vented_c == pytest.approx(102.59, abs=0.05)
    baro = run(flat_out(baro_kpa=np.full(T_S.size, 84.56)))
    assert baro.boiling is not None
    assert baro.boiling.ambient_kpa == pytest.approx(84.56)


def test_the_margin_is_to_the_peak() -> None:
    result = run(flat_out())
    assert result.boiling is not None
    assert result.boiling.margin_sealed_c == pytest.approx(result.boiling.sealed_c - 112.0, abs=0.2)


def test_equal_settings_have_equal_hashes_and_others_not() -> None:
    ride, sheet = flat_out(), default_advice()
    other_sheet = parse_advice('schema = 1\nversion = "b"\n[[rule]]\nkind = "wide_open"\ngrace_s = 3\n', "x")
    hashes = [
        analyze(ride, BIKE, sheet)[0].basis.settings_hash,
        analyze(ride, BIKE, default_advice())[0].basis.settings_hash,
        analyze(ride, replace(BIKE, total_kg=200.0), sheet)[0].basis.settings_hash,
        analyze(ride, None, sheet)[0].basis.settings_hash,
        analyze(ride, BIKE, other_sheet)[0].basis.settings_hash,
    ]
    assert hashes[0] == hashes[1]
    assert len(set(hashes)) == 4


def test_the_same_call_gives_the_same_digits() -> None:
    ride = flat_out(map_slot=np.ones(T_S.size))
    assert to_json(run(ride)) == to_json(run(ride))


def test_a_wrong_sprocket_in_the_bike_file_is_said() -> None:
    # All gears ridden in turn, each 14 % off what the bike file gives.
    gear = (T_S // 20.0).astype(int) % 6
    speed = 5500.0 / np.array(BIKE.rpm_per_mps)[gear] * (1.0 + 0.1 * np.sin(T_S / 3.0))
    rpm = 1.14 * np.array(BIKE.rpm_per_mps)[gear] * speed
    result = run(flat_out(engine_rpm=rpm, gps_speed_mps=speed))
    assert "gearing" in asked(result)
    assert result.facts is not None
    assert result.facts["gearing"]["log_over_bike_file"] == pytest.approx(1.14, abs=0.015)


def test_a_throttle_that_reads_open_at_idle_is_not_used() -> None:
    speed = np.where(within(0.0, 30.0), 0.0, 15.0)
    rpm = np.where(within(0.0, 30.0), 1700.0, 15.0 * BIKE.rpm_per_mps[3])
    result = run(flat_out(throttle_pct=np.full(T_S.size, 88.0), gps_speed_mps=speed, engine_rpm=rpm))
    assert {"wide_open", "heavy_drag"} <= asked(result)
    assert [one for one in result.segments if one.kind in ("wide_open", "heavy_drag")] == []
    assert any("88 %" in item.reason for item in result.cannot_tell)


@pytest.mark.parametrize("shift", [-6.0, 6.0, 12.0])
def test_a_closed_stop_that_moves_shifts_no_opening(shift: float) -> None:
    t_s = np.arange(0.0, 1800.0, 0.2)
    turn = t_s % 300.0
    opening = np.where(turn < 40.0, 0.0, np.where(turn < 80.0, 1.0, 0.3 + 0.2 * np.sin(t_s / 7.0)))
    speed = np.where(turn < 40.0, 0.0, 15.0)
    rpm = np.where(turn < 40.0, 1700.0, 15.0 * BIKE.rpm_per_mps[3])
    floor = 8.0 + np.where(t_s >= 900.0, shift, 0.0)
    before, after = f"closed, it reads {8.0 + shift:.1f} %", (900.0, 1799.8)
    marks = (QualityMark("throttle_pct", "throttle_zero", *after, "kept", before),)
    steady = {"engine_rpm": rpm, "gps_speed_mps": speed}
    still = made.ride(t_s, {**steady, "throttle_pct": 8.0 + 80.0 * opening})
    moved = made.ride(t_s, {**steady, "throttle_pct": floor + 80.0 * opening}, quality=marks)
    (_, plain), (result, mended) = (analyze(one, BIKE, default_advice()) for one in (still, moved))
    for name in ("throttle_open", "power_w"):
        np.testing.assert_allclose(mended.series[name], plain.series[name], atol=1e-6, rtol=1e-6)
    assert result.facts is not None
    found = result.facts["throttle"]["stretches"]
    assert [one["closed_pct"] for one in found] == pytest.approx([8.0, 8.0 + shift])
    assert [one["open_pct"] for one in found] == pytest.approx([88.0, 88.0 + shift])
    wide = [one for one in result.segments if "wide_open" in (one.kind, *one.also)]
    assert len(wide) == 6


def test_distance_and_movement_from_positions_alone() -> None:
    # Due north at 10 m/s for 500 s at 45.5 N (111141.55 m a degree, Karney), then standing with a metre of wander.
    draw = np.random.default_rng(8)
    north_m = np.minimum(10.0 * T_S, 5000.0)
    wander = np.repeat(np.cumsum(draw.normal(0.0, 0.1, 60)), 100)[: T_S.size] * (T_S > 500.0)
    lat = 45.5 + (north_m + 0.3 * wander) / 111_141.55
    result = run(made.ride(T_S, {"lat_deg": lat, "lon_deg": np.full(T_S.size, 7.5)}), None)
    assert result.ride.distance_m == pytest.approx(5000.0, rel=0.005)
    assert result.ride.moving_s == pytest.approx(500.0, abs=5.0)
    assert result.facts is not None
    assert result.facts["speed_source"] == "lat_deg, lon_deg"


def test_speed_the_import_worked_out_from_positions_is_not_a_receivers_own() -> None:
    ride = flat_out()
    info = dict(ride.channels)
    info["gps_speed_mps"] = replace(info["gps_speed_mps"], origin="derived", source="positions")
    result = run(replace(ride, channels=info))
    assert result.facts is not None
    assert result.facts["speed_source"] == "positions"
    both = replace(
        flat_out(wheel_speed_mps=np.full(T_S.size, 15.0)), channels={**info, "wheel_speed_mps": info["coolant_c"]}
    )
    result = run(both)
    assert result.facts is not None
    assert result.facts["speed_source"] == "wheel_speed_mps"


def test_the_distance_the_import_counted_is_the_one_told() -> None:
    assert run(replace(flat_out(), distance_m=1234.5)).ride.distance_m == 1234.5


def test_holes_are_not_ridden() -> None:
    keep = ~within(100.0, 400.0)
    ride = made.ride(
        T_S[keep],
        {"gps_speed_mps": np.full(keep.sum(), 20.0), "coolant_c": np.full(keep.sum(), 110.0)},
        gaps=[(99.9, 400.0)],
    )
    result = run(ride, None)
    assert result.ride.distance_m == pytest.approx(20.0 * (600.0 - 300.1), rel=0.003)
    assert result.exposure[1].observed_s == pytest.approx(299.8, abs=0.2)
    assert result.exposure[1].unknown_s == pytest.approx(300.1, abs=0.1)
    assert result.exposure[1].excursions == 2


def test_the_receivers_own_speed_comes_before_a_wheel() -> None:
    result = run(flat_out(wheel_speed_mps=np.full(T_S.size, 30.0)))
    assert result.facts is not None
    assert result.facts["speed_source"] == "gps_speed_mps"
    poor = np.where(within(0.0, 200.0), 15.0, np.nan)
    result = run(flat_out(gps_speed_mps=poor, wheel_speed_mps=np.full(T_S.size, 15.0)))
    assert result.facts is not None
    assert result.facts["speed_source"] == "wheel_speed_mps"
    assert "wheelspin" in asked(result)


@pytest.mark.parametrize("seed", range(60))
def test_whatever_a_log_holds_there_is_an_answer(seed: int) -> None:
    draw = np.random.default_rng(seed)
    n = int(draw.choice([1, 2, 3, 5, 20, 200, 2000]))
    steps = draw.choice([0.05, 0.1, 1.0], n) * draw.uniform(0.9, 1.1, n)
    steps[draw.random(n) < 0.02] += draw.uniform(1.0, 60.0)
    t_s = np.cumsum(steps) - steps[0]
    t_s[0] = 0.0
    channels, marks = {}, []
    for name, channel in CHANNELS.items():
        if channel.kind == "time" or draw.random() < 0.5:
            continue
        low, high = channel.low, channel.high
        shapes = (
            np.full(n, draw.uniform(low, high)),
            draw.uniform(low, high, n),
            np.clip(draw.uniform(low, high) + np.cumsum(draw.normal(0.0, (high - low) / 300.0, n)), low, high),
        )
        values = shapes[int(draw.integers(3))]
        values = np.round(values) if channel.kind == "state" else values
        channels[name] = np.where(draw.random(n) < draw.choice([0.0, 0.1, 1.0]), np.nan, values)
        if draw.random() < 0.2:
            start = float(draw.uniform(0.0, t_s[-1] + 0.1))
            marks.append(QualityMark(name, "spike", start, start + float(draw.uniform(0.0, 20.0)), "excluded", ""))
    ride = made.ride(t_s, channels, quality=marks, held_hz=dict.fromkeys(list(channels)[::4], 1.0))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        result = run(ride, BIKE if draw.random() < 0.7 else None)
    assert 1 <= len(result.summary) <= 4
    assert all(e.observed_s + e.unknown_s <= ride.duration_s + 1e-6 for e in result.exposure)
