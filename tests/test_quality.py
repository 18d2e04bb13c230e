"""Quality rules, each alone: what it must find, and what it must leave in peace."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from ridelog.channels import CHANNELS
from ridelog.intervals import Interval
from ridelog.quality import dropout, find_marks, jumps, position, ranges, sentinel, stuck
from ridelog.quality.trace import MOST_MARKS, Finding, Trace, to_marks
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import ChannelInfo, QualityMark

COOLANT, RPM, SPEED = CHANNELS["coolant_c"], CHANNELS["engine_rpm"], CHANNELS["gps_speed_mps"]


def trace(
    y: object, step_s: float = 0.1, name: str = "coolant_c", resolution: float = 1.0, hold_s: float = 0.0
) -> Trace:
    values: FloatArray = np.asarray(y, dtype=np.float64)
    return Trace(name, np.arange(values.size) * step_s, values, resolution, hold_s)


def clean(size: int) -> BoolArray:
    return np.zeros(size, dtype=np.bool_)


def bad_rows(findings: list[Finding]) -> list[int]:
    return sorted({int(row) for finding in findings for row in np.flatnonzero(finding.bad)})


def warm(size: int = 400) -> FloatArray:
    return np.round(85.0 + 5.0 * np.sin(np.arange(size) / 60.0))


# -- sentinels --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [-40.0, 0.0, 127.0, 140.0, 215.0, 255.0, 327.67, -1.0])
def test_a_sentinel_between_warm_values(value: float) -> None:
    y = warm()
    y[100:130] = value
    y[300] = value
    assert bad_rows(sentinel.find(trace(y), COOLANT, clean(y.size))) == [*range(100, 130), 300]


def test_a_temperature_that_passes_through_a_sentinel_is_real() -> None:
    climb = np.arange(80.0, 150.0, 0.5)
    assert sentinel.find(trace(climb), COOLANT, clean(climb.size)) == []
    winter = np.concatenate((np.zeros(50), np.arange(0.0, 80.0, 0.5)))
    assert sentinel.find(trace(winter), COOLANT, clean(winter.size)) == []


def test_a_sensor_that_is_not_there() -> None:
    y = np.full(50, -40.0)
    assert bad_rows(sentinel.find(trace(y), COOLANT, clean(50))) == list(range(50))


def test_sentinels_at_both_ends_of_a_log() -> None:
    y = warm()
    y[:20] = -40.0
    y[-5:] = 127.0
    assert bad_rows(sentinel.find(trace(y), COOLANT, clean(y.size))) == [*range(20), *range(395, 400)]


# -- ranges -----------------------------------------------------------------------------------------------------------


def test_out_of_range() -> None:
    y = warm()
    y[50:60] = 300.0
    y[70] = -60.0
    findings = ranges.find(trace(y), COOLANT, clean(y.size))
    assert bad_rows(findings) == [*range(50, 60), 70]
    assert "-39 to 160" in findings[0].detail


def test_in_range_costs_nothing_and_finds_nothing() -> None:
    assert ranges.find(trace(warm()), COOLANT, clean(400)) == []


# -- spikes and impossible rates --------------------------------------------------------------------------------------


@pytest.mark.parametrize("length", [1, 2, 3])
@pytest.mark.parametrize("height", [20.0, -30.0])
def test_a_spike(length: int, height: float) -> None:
    y = warm()
    y[200 : 200 + length] += height
    findings = jumps.find(trace(y), COOLANT, clean(y.size))
    assert [finding.kind for finding in findings] == ["spike"]
    assert bad_rows(findings) == list(range(200, 200 + length))


def test_a_spike_on_a_perfectly_flat_trace() -> None:
    # The median deviation of a flat trace is 0: without a floor any step would be a spike, or none.
    y = np.full(200, 88.0)
    y[100] = 100.0
    assert bad_rows(jumps.find(trace(y), COOLANT, clean(200))) == [100]
    y[100] = 89.0
    assert jumps.find(trace(y), COOLANT, clean(200)) == []


def test_a_step_that_stays_is_no_spike() -> None:
    y = np.concatenate((np.full(100, 60.0), np.full(100, 90.0)))
    findings = jumps.find(trace(y), COOLANT, clean(200))
    assert [finding.kind for finding in findings] == ["impossible_rate"]
    assert bad_rows(findings) == [100]


def test_a_held_sensor_may_step() -> None:
    updates = 20.0 + 10.0 * np.arange(8)
    held = np.repeat(updates, 20)
    assert jumps.find(trace(held, 0.05, hold_s=1.0), COOLANT, clean(held.size)) == []
    assert jumps.find(trace(held, 0.05), COOLANT, clean(held.size)) != []


def test_a_held_spike_lasts_until_the_next_update() -> None:
    held = np.repeat([80.0, 80.0, 81.0, 120.0, 81.0, 82.0, 82.0, 83.0], 20)
    assert bad_rows(jumps.find(trace(held, 0.05, hold_s=1.0), COOLANT, clean(held.size))) == list(range(60, 80))


def test_rpm_spikes_from_ignition_noise() -> None:
    rpm = np.round(5000 + 1500 * np.sin(np.arange(2000) / 30.0))
    hit = [100, 500, 501, 900]
    rpm[hit] += 9000
    assert bad_rows(jumps.find(trace(rpm, 0.05, "engine_rpm", 10.0), RPM, clean(2000))) == hit


def test_a_clutch_dropped_and_wheels_that_spin_are_real() -> None:
    rpm = np.concatenate(
        (np.full(100, 2000.0), np.linspace(2000, 9000, 6), np.full(100, 9000.0), np.linspace(9000, 3000, 5))
    )
    assert jumps.find(trace(rpm, 0.05, "engine_rpm", 10.0), RPM, clean(rpm.size)) == []


def test_a_fall_from_speed_is_real() -> None:
    speed = np.concatenate((np.full(50, 15.0), np.linspace(15, 0, 11), np.zeros(50)))
    assert jumps.find(trace(speed, 0.1, "gps_speed_mps", 0.01), SPEED, clean(speed.size)) == []


def test_a_channel_of_nothing_but_noise() -> None:
    noise = np.where(np.arange(4000) % 3 == 0, 12_000.0, 1_000.0)
    findings = jumps.find(trace(noise, 0.05, "engine_rpm", 10.0), RPM, clean(4000))
    assert [finding.kind for finding in findings] == ["noise"]
    assert findings[0].bad.all()


def test_over_a_hole_anything_may_have_happened() -> None:
    t_s = np.concatenate((np.arange(50) * 0.1, 600.0 + np.arange(50) * 0.1))
    y = np.concatenate((np.full(50, 95.0), np.full(50, 40.0)))
    assert jumps.find(Trace("coolant_c", t_s, y, 1.0), COOLANT, clean(100)) == []


def test_a_value_another_rule_named_is_no_neighbour() -> None:
    y = warm()
    y[100:130] = -40.0
    bad = clean(y.size)
    bad[100:130] = True
    assert jumps.find(trace(y), COOLANT, bad) == []


# -- stuck ------------------------------------------------------------------------------------------------------------


def moving(seconds: float, varied: bool = True) -> stuck.Movement:
    t_s = np.arange(0, seconds, 0.5)
    rpm = 5000 + (2500 if varied else 50) * np.sin(t_s / 9)
    return stuck.Movement(pl.DataFrame({"t_s": t_s, "engine_rpm": rpm}))


def test_a_coolant_that_stands_still_while_the_engine_works() -> None:
    y = np.concatenate((np.arange(30.0, 90.0, 0.5), np.full(1600, 90.0)))
    found = stuck.find(trace(y, 0.5), moving(900))
    assert [finding.kind for finding in found] == ["stuck"]
    assert bad_rows(found)[0] >= 118
    assert bad_rows(found)[-1] == y.size - 1


def test_minutes_at_the_thermostat_are_real() -> None:
    y = np.concatenate((np.arange(30.0, 88.0, 0.5), np.full(1000, 88.0), np.full(20, 89.0), np.full(1000, 88.0)))
    assert stuck.find(trace(y, 0.5), moving(1200)) == []


def test_a_finer_sensor_is_stuck_sooner() -> None:
    y = np.concatenate((np.arange(30.0, 90.0, 0.1), np.full(700, 90.0)))
    assert stuck.find(trace(y, 0.5, resolution=0.1), moving(900)) != []
    assert stuck.find(trace(y, 0.5, resolution=1.0), moving(900)) == []


def test_an_engine_at_one_load_may_hold_its_temperature() -> None:
    assert stuck.find(trace(np.full(3000, 90.0), 0.5), moving(1500, varied=False)) == []
    nothing = stuck.Movement(pl.DataFrame({"t_s": [0.0, 1500.0]}))
    assert stuck.find(trace(np.full(3000, 90.0), 0.5), nothing) == []


def test_a_hole_proves_nothing() -> None:
    t_s = np.concatenate((np.arange(200) * 0.5, 5000.0 + np.arange(200) * 0.5))
    assert stuck.find(Trace("coolant_c", t_s, np.full(400, 90.0), 1.0), moving(5200)) == []


# -- dropout, null island ---------------------------------------------------------------------------------------------


def test_dropouts_leave_the_gaps_of_the_log_aside() -> None:
    t_s = np.concatenate((np.arange(100) * 0.5, 100.0 + np.arange(100) * 0.5))
    own = np.concatenate((t_s[10:40], t_s[80:190]))
    one = Trace("coolant_c", own, np.full(own.size, 90.0), 1.0)
    marks = dropout.find("coolant_c", one, t_s, [Interval(49.5, 100.0)], 2.0)
    assert [(mark.start_s, mark.end_s) for mark in marks] == [(0.0, 5.0 + 0.0), (19.5, 40.0)][1:]
    late = Trace("coolant_c", t_s[30:], np.full(t_s.size - 30, 90.0), 1.0)
    assert next((m.start_s, m.end_s) for m in dropout.find("coolant_c", late, t_s, [], 2.0)) == (0.0, 15.0)
    assert all(mark.action == "kept" for mark in marks)


def test_null_island() -> None:
    frame = pl.DataFrame(
        {"t_s": [0.0, 1.0, 2.0, 3.0], "lat_deg": [0.0, 0.0, 43.2, 43.2], "lon_deg": [0.0, 0.0, -31.6, -31.6]}
    )
    marks = position.find(frame)
    assert [(mark.channel, mark.start_s, mark.end_s) for mark in marks] == [
        ("lat_deg", 0.0, 2.0),
        ("lon_deg", 0.0, 2.0),
    ]
    equator = frame.with_columns(lat_deg=pl.Series([0.0, 0.001, 0.002, 0.0]), lon_deg=pl.Series([9.0, 9.1, 9.2, 9.3]))
    assert position.find(equator) == []


# -- together ---------------------------------------------------------------------------------------------------------


def info(name: str, rate: float | None = 10.0, resolution: float | None = 1.0, *, held: bool = False) -> ChannelInfo:
    return ChannelInfo(name, "C", rate, resolution, 1.0, held, "logged", "x")


def test_marks_cover_exactly_the_bad_samples() -> None:
    y = warm()
    y[200] += 40.0
    y[-1] = 300.0
    frame = pl.DataFrame({"t_s": np.arange(400) * 0.1, "coolant_c": y})
    marks = find_marks(frame, {"coolant_c": info("coolant_c")}, ())
    for mark in marks:
        inside = frame.filter((pl.col("t_s") >= mark.start_s) & (pl.col("t_s") < mark.end_s))
        assert inside.height == 1
    assert {mark.kind for mark in marks} == {"spike", "out_of_range"}


def test_thousands_of_marks_are_joined() -> None:
    y = np.full(20_000, 50.0)
    y[::4] = 500.0
    finding = Finding("out_of_range", y > 400, "{value}")
    marks = to_marks(trace(y), finding)
    assert len(marks) <= MOST_MARKS
    assert marks[0].start_s == 0.0


def test_a_healthy_log_has_no_marks() -> None:
    draw = np.random.default_rng(4)
    t_s = np.arange(20_000) * 0.05
    frame = pl.DataFrame(
        {
            "t_s": t_s,
            "coolant_c": np.round(np.minimum(20 + t_s / 8, 92) + draw.normal(0, 0.3, t_s.size)),
            "engine_rpm": np.round(5000 + 3000 * np.sin(t_s / 3) + draw.normal(0, 120, t_s.size)),
            "gps_speed_mps": np.abs(15 * np.sin(t_s / 15) + draw.normal(0, 0.1, t_s.size)),
            "throttle_pct": np.clip(50 + 60 * np.sin(t_s), 0, 100),
            # The way that this speed covers, straight north.
            "lat_deg": 43.2 + np.cumsum(np.abs(15 * np.sin(t_s / 15))) * 0.05 / 111_100.0,
            "lon_deg": np.full(t_s.size, -31.6),
        }
    )
    assert find_marks(frame, {name: info(name) for name in frame.columns[1:]}, ()) == ()


def test_many_rows_give_the_same_marks_in_the_same_order(monkeypatch: pytest.MonkeyPatch) -> None:
    from ridelog import quality

    y = warm(5000)
    y[[100, 2000, 4000]] += 50.0
    frame = pl.DataFrame({"t_s": np.arange(5000) * 0.1, "coolant_c": y, "coolant_c.2": y[::-1], "ambient_c": y - 60})
    infos = {name: info(name) for name in frame.columns[1:]}
    one: tuple[QualityMark, ...] = find_marks(frame, infos, ())
    monkeypatch.setattr(quality, "_WORTH_THREADS", 10)
    assert find_marks(frame, infos, ()) == one
    assert len(one) >= 6
