"""Clocks written in ways that read as something else: HHMMSS as a number, milliseconds without zeros, wrong labels."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.clock import Clock, rebuild
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.ride import RawColumn


def column(values: list[object], unit: str | None = None, name: str = "Time") -> RawColumn:
    series = pl.Series(name, values, strict=False)
    return RawColumn(name, unit, series if series.dtype == pl.String else series.cast(pl.Float64))


def kinds(clock: Clock) -> set[str]:
    return {note.kind for note in (clock.notes + sum((one.notes for one in clock.timelines), ()))}


def t_s(clock: Clock) -> np.ndarray:
    (timeline,) = clock.timelines
    return timeline.recording.t_s


def moments(start: datetime, count: int, step_s: float) -> list[datetime]:
    return [start + timedelta(seconds=n * step_s) for n in range(count)]


def hhmmss(moment: datetime) -> float:
    return float(f"{moment:%H%M%S}.{moment.microsecond:06d}")


START = datetime(2026, 5, 2, 9, 30)  # noqa: DTZ001 - a clock without a zone


# -- HHMMSS as a number -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "start", [START, START.replace(hour=0), START.replace(hour=23, minute=58), START.replace(hour=8, minute=59)]
)
@pytest.mark.parametrize("step_s", [0.05, 0.25, 1.0, 5.0])
def test_hhmmss_is_a_clock(start: datetime, step_s: float) -> None:
    count = round(300 / step_s)
    times = moments(start, count, step_s)
    clock = rebuild(
        column([hhmmss(one) for one in times]), column([float(f"{one:%Y%m%d}") for one in times], name="Date")
    )
    np.testing.assert_allclose(t_s(clock), np.arange(count) * step_s, atol=1e-5)
    assert clock.timelines[0].recording.gaps == ()
    assert clock.timelines[0].start_local == start
    assert "clock_numbers" in kinds(clock)


def test_hhmmss_without_a_date_runs_over_midnight() -> None:
    times = moments(START.replace(hour=23, minute=57), 400, 1.0)
    clock = rebuild(column([hhmmss(one) for one in times]), None)
    np.testing.assert_allclose(t_s(clock), np.arange(400.0))
    assert {"clock_numbers", "midnight"} <= kinds(clock)


@pytest.mark.parametrize("label", ["s", "ms"])
def test_hhmmss_under_a_wrong_unit_is_said_loudly(label: str) -> None:
    values = [hhmmss(one) for one in moments(START, 600, 1.0)]
    clock = rebuild(column(values, label), None)
    np.testing.assert_allclose(t_s(clock), np.arange(600.0))
    assert "unit_contradicted" in kinds(clock)
    certain = rebuild(column(values, "s"), None, unit_certain=True)
    assert "unit_contradicted" not in kinds(certain)
    assert t_s(certain)[-1] > 600


def test_hhmmss_with_milliseconds_behind_and_with_the_date_in_front() -> None:
    times = moments(START, 1200, 0.25)
    packed = rebuild(column([int(f"{one:%H%M%S}{one.microsecond // 1000:03d}") for one in times]), None)
    np.testing.assert_allclose(t_s(packed), np.arange(1200) * 0.25, atol=1e-6)
    whole = rebuild(column([int(f"{one:%Y%m%d%H%M%S}") for one in moments(START, 300, 1.0)]), None)
    np.testing.assert_allclose(t_s(whole), np.arange(300.0))
    assert whole.timelines[0].start_local == START


def test_blank_cells_of_a_numeric_clock_stay_blank() -> None:
    values: list[object] = [hhmmss(one) for one in moments(START, 300, 1.0)]
    values[7] = None
    clock = rebuild(column(values), None)
    assert t_s(clock).size == 299
    assert "left_out_no_time" in kinds(clock)


@given(st.integers(0, 80_000), st.sampled_from([0.1, 0.5, 1.0, 2.0]), st.integers(200, 900))
def test_a_counter_of_seconds_is_never_taken_for_a_clock(start: int, step_s: float, count: int) -> None:
    values = [start + n * step_s for n in range(count)]
    for date in (None, column([20260502.0] * count, name="Date")):
        try:
            clock = rebuild(column(values), date)
        except AmbiguousColumn:
            continue
        assert "clock_numbers" not in kinds(clock)
        assert ("date_unread" in kinds(clock)) == (date is not None)


# -- milliseconds without leading zeros -------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [".", ",", ":"])
@pytest.mark.parametrize("day", ["", "2026-05-02 "])
@pytest.mark.parametrize("step_ms", [5, 10, 20, 50, 40])
def test_milliseconds_that_lost_their_zeros(sign: str, day: str, step_ms: int) -> None:
    count = 4000 // step_ms * 5
    values: list[object] = [f"{day}10:00:{n * step_ms // 1000:02d}{sign}{n * step_ms % 1000}" for n in range(count)]
    clock = rebuild(column(values), None)
    np.testing.assert_allclose(t_s(clock), np.arange(count) * step_ms / 1000, atol=1e-9)
    note = next(note for note in clock.notes if note.kind == "unpadded_fraction")
    assert "milliseconds" in note.text
    assert note.rows


def test_microseconds_that_lost_their_zeros() -> None:
    values: list[object] = [f"10:00:{n * 20 // 1000:02d}.{n * 20_000 % 1_000_000}" for n in range(1000)]
    clock = rebuild(column(values), None)
    np.testing.assert_allclose(t_s(clock), np.arange(1000) * 0.02, atol=1e-9)
    assert "microseconds" in next(note.text for note in clock.notes if note.kind == "unpadded_fraction")


def test_a_slow_log_with_unpadded_milliseconds_does_not_limp() -> None:
    # One row a second: the time never runs back, it only steps unevenly.
    values: list[object] = [
        f"10:{n * 1013 // 60_000:02d}:{n * 1013 // 1000 % 60:02d}.{n * 1013 % 1000}" for n in range(500)
    ]
    clock = rebuild(column(values), None)
    np.testing.assert_allclose(t_s(clock), np.arange(500) * 1.013, atol=1e-9)


@pytest.mark.parametrize(
    "fractions",
    [["", ".25", ".5", ".75"], [".0", ".25", ".5", ".75"], ["", ".125", ".25", ".375", ".5", ".625", ".75", ".875"]],
)
def test_decimals_without_trailing_zeros_stay_decimals(fractions: list[str]) -> None:
    size = len(fractions)
    values: list[object] = [f"10:00:{n // size:02d}{fractions[n % size]}" for n in range(50 * size)]
    clock = rebuild(column(values), None)
    np.testing.assert_allclose(t_s(clock), np.arange(50 * size) / size, atol=1e-9)
    assert "unpadded_fraction" not in kinds(clock)


def test_fractions_that_no_unit_makes_rise_are_refused() -> None:
    shuffled = [90, 5, 700, 30, 400, 8, 650, 20, 910, 55]
    values: list[object] = [f"10:00:{n // 10:02d}.{shuffled[n % 10]}" for n in range(500)]
    with pytest.raises(InputRefused, match="time runs back") as caught:
        rebuild(column(values), None)
    assert "Time" in caught.value.where


# -- a label against the numbers --------------------------------------------------------------------------------------

UNIX = datetime(2026, 5, 2, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    ("label", "factor"), [("ms", 1), ("us", 1), ("us", 1000), ("s", 1000), ("min", 1), ("ms", 1_000_000)]
)
def test_unix_time_under_a_wrong_label(label: str, factor: int) -> None:
    values: list[object] = [(UNIX.timestamp() + n * 0.5) * factor for n in range(600)]
    clock = rebuild(column(values, label), None)
    np.testing.assert_allclose(t_s(clock), np.arange(600) * 0.5, atol=1e-5)
    assert clock.timelines[0].start_utc == UNIX
    note = next(note for note in clock.notes if note.kind == "unit_contradicted")
    assert label in note.text
    assert f"time:{label}" in note.text


def test_the_users_own_unit_stands_over_everything() -> None:
    values: list[object] = [UNIX.timestamp() + n * 0.5 for n in range(600)]
    clock = rebuild(column(values, "ms"), None, unit_certain=True)
    assert t_s(clock)[-1] == pytest.approx(0.2995)
    assert "unit_contradicted" not in kinds(clock)


@pytest.mark.parametrize(
    ("label", "start", "step"), [("ms", 1.7e9, 20.0), ("ms", 0.0, 1.0), ("s", 0.0, 0.1), ("us", 1.7e9, 20_000.0)]
)
def test_a_label_that_can_be_true_is_believed(label: str, start: float, step: float) -> None:
    # 1.7e9 ms is a logger that has run for 20 days: its ride has a ride's length, so nothing contradicts the label.
    values: list[object] = [start + n * step for n in range(12_000)]
    assert "unit_contradicted" not in kinds(rebuild(column(values, label), None))
