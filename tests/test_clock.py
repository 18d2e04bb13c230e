"""The clock: units, midnight, wraps, resets, zones, repeated stamps, gaps."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.clock import Clock, parse_zone, rebuild
from ridelog.clock.zones import is_zone
from ridelog.errors import AmbiguousColumn, InputRefused, UsageError
from ridelog.normalize.channel_units import unit_for
from ridelog.ride import RawColumn


def column(values: object, unit: str | None = None, name: str = "Time") -> RawColumn:
    series = pl.Series(name, values)  # type: ignore[arg-type]
    return RawColumn(name, unit, series if series.dtype == pl.String else series.cast(pl.Float64))


def clock_of(values: object, unit: str | None = None, **options: object) -> Clock:
    return rebuild(column(values, unit), None, **options)  # type: ignore[arg-type]


def kinds(clock: Clock) -> set[str]:
    return {note.kind for note in (clock.notes + sum((one.notes for one in clock.timelines), ()))}


def times(clock: Clock) -> list[list[float]]:
    return [timeline.recording.t_s.tolist() for timeline in clock.timelines]


def clock_texts(start_s: float, count: int, step_s: float = 1.0) -> list[str]:
    moments = (datetime(2026, 1, 1, tzinfo=UTC) + timedelta(seconds=start_s + n * step_s) for n in range(count))
    return [moment.strftime("%H:%M:%S.%f")[:-3] for moment in moments]


# -- units of a counter -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "count", "unit", "factor"),
    [
        (0.05, 12_000, None, 1.0),
        (0.5, 600, None, 1.0),
        (1.0, 3600, None, 1.0),
        (50.0, 12_000, None, 1e-3),
        (1.0, 150_000, None, 1e-3),
        (20.0, 20_000, None, 1e-3),
        (50_000.0, 12_000, None, 1e-6),
        (1000.0, 200_000, None, 1e-6),
        (10.0, 100, "ms", 1e-3),
        (1.0, 5, "s", 1.0),
        (0.01, 400, "min", 60.0),
        (1000.0, 50, "µs", 1e-6),
        (0.001, 5000, "h", 3600.0),
    ],
)
def test_unit_of_a_counter(step: float, count: int, unit: str | None, factor: float) -> None:
    clock = clock_of(np.arange(count) * step, unit)
    assert times(clock)[0][1] == pytest.approx(step * factor)
    assert ("time_unit" in kinds(clock)) == (unit is None)


@pytest.mark.parametrize(("step", "count"), [(10.0, 500), (1e-7, 100), (1e9, 50)])
def test_a_counter_that_fits_two_units_or_none_asks(step: float, count: int) -> None:
    with pytest.raises(AmbiguousColumn) as caught:
        clock_of(np.arange(count) * step)
    assert all(option.startswith("Time=time:") for option in caught.value.options)
    assert len(caught.value.options) >= 2


@pytest.mark.parametrize(("factor", "unit"), [(1, "s"), (1000, "ms"), (1_000_000, "us")])
def test_unix_time(factor: int, unit: str) -> None:
    start = datetime(2026, 5, 3, 8, 15, tzinfo=UTC)
    values = (start.timestamp() + np.arange(200) * 0.5) * factor
    clock = clock_of(values)
    assert clock.timelines[0].start_utc == start
    assert clock.timelines[0].has_absolute
    np.testing.assert_allclose(times(clock)[0], np.arange(200) * 0.5, atol=1e-6)
    assert unit in next(note.text for note in clock.notes if note.kind == "time_unit")


def test_a_microsecond_counter_that_looks_like_unix_time_is_none() -> None:
    clock = clock_of(1.6e9 + np.arange(10_000) * 50_000.0)
    assert not clock.timelines[0].has_absolute
    assert times(clock)[0][-1] == pytest.approx(9_999 * 0.05)


# -- texts ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "expected"),
    [
        (["10:00:00", "10:00:01", "10:00:02"], [0, 1, 2]),
        (["10:00:00.5", "10:00:01.123456", "10:00:02"], [0, 0.623456, 1.5]),
        (["9:59:59,5", "10:00:00,5"], [0, 1]),
        (["10:00:00:250", "10:00:00:500"], [0, 0.25]),
        (["11:59:59 AM", "12:00:01 PM", "01:00:00 PM"], [0, 2, 3601]),
        (["23:59:59", "00:00:01", "00:00:02"], [0, 2, 3]),
        (["23:59:59", "24:00:00", "00:00:01"], [0, 1, 2]),
        (["23:59:58", "24:00:05", "24:00:59.5", "00:01:00"], [0, 7, 61.5, 62]),
        (["2026-12-31 23:59:58", "2026-12-31 24:00:05", "2027-01-01 00:00:06"], [0, 7, 8]),
        (["23:59:59", "23:59:60", "00:00:01"], [0, 1, 2]),
        (["00:10.5", "00:11.0", "01:00.0"], [0, 0.5, 49.5]),
        (["2026-05-03T10:00:00Z", "2026-05-03T10:00:01.5Z"], [0, 1.5]),
        (["2026-05-03 10:00:00+02:00", "2026-05-03 10:00:02+0200"], [0, 2]),
        (["2026/05/03 10:00:00", "2026/05/03 10:00:01"], [0, 1]),
        (["03.05.2026 10:00:00", "03.05.2026 10:00:01,5"], [0, 1.5]),
        (["3.5.26 10:00:00", "3.5.26 10:00:01"], [0, 1]),
        (["25/05/2026 10:00:00", "25/05/2026 10:00:01"], [0, 1]),
        (["05/25/2026 10:00:00", "05/25/2026 10:00:01"], [0, 1]),
        (["2026-12-31T23:59:59.9Z", "2027-01-01T00:00:00.1Z"], [0, 0.2]),
        (["2026-05-03T12:00:00+02:00", "2026-05-03T10:00:01Z"], [0, 1]),
    ],
)
def test_texts(texts: list[str], expected: list[float]) -> None:
    np.testing.assert_allclose(times(clock_of(texts))[0], expected, atol=1e-9)


@pytest.mark.parametrize("text", ["24:01:00", "24:59:59", "25:00:00"])
def test_no_clock_writes_more_than_a_minute_of_hour_24(text: str) -> None:
    clock = clock_of(["23:59:58", text, "00:00:01"])
    assert [note.rows for note in clock.notes if note.kind == "left_out_no_time"] == [1]


def test_midnight_is_told_and_only_midnight_adds_a_day() -> None:
    clock = clock_of(clock_texts(86_390, 60))
    assert "midnight" in kinds(clock)
    assert times(clock) == [list(range(60))]
    back = clock_of([*clock_texts(36_000, 30), *clock_texts(33_000, 30)])
    assert "midnight" not in kinds(back)
    assert [len(t) for t in times(back)] == [30, 30]


def test_times_without_seconds_are_refused() -> None:
    with pytest.raises(InputRefused, match="no seconds"):
        clock_of(["10:15", "10:16", "10:17"])


def test_day_and_month_that_can_be_either_ask() -> None:
    texts = ["03/05/2026 10:00:00", "03/05/2026 10:00:01"]
    with pytest.raises(AmbiguousColumn) as caught:
        clock_of(texts)
    assert caught.value.options == ("Time=time:dmy", "Time=time:mdy")
    assert clock_of(texts, "dmy").timelines[0].start_local == datetime(2026, 5, 3, 10)  # noqa: DTZ001
    assert clock_of(texts, "mdy").timelines[0].start_local == datetime(2026, 3, 5, 10)  # noqa: DTZ001


@pytest.mark.parametrize("date", [["2026-05-03"] * 3, ["03.05.2026"] * 3, [20260503.0] * 3])
def test_date_and_time_in_two_columns(date: list[object]) -> None:
    clock = rebuild(column(["10:00:00", "10:00:01", "10:00:02"]), column(date, name="Date"), zone="UTC")
    assert clock.timelines[0].start_utc == datetime(2026, 5, 3, 10, tzinfo=UTC)


# -- places in time ---------------------------------------------------------------------------------------------------


def test_a_time_without_a_zone_is_not_taken_for_utc() -> None:
    clock = clock_of(["2026-05-03T10:00:00", "2026-05-03T10:00:01"])
    timeline = clock.timelines[0]
    assert timeline.start_utc is None
    assert not timeline.has_absolute
    assert timeline.start_local == datetime(2026, 5, 3, 10)  # noqa: DTZ001
    assert "zone_unknown" in kinds(clock)


@pytest.mark.parametrize(("zone", "hour"), [("UTC", 10), ("+02:00", 8), ("-03:30", 13.5), ("Europe/Berlin", 8)])
def test_the_zone_the_user_names(zone: str, hour: float) -> None:
    clock = clock_of(["2026-05-03T10:00:00", "2026-05-03T10:00:01"], zone=zone)
    assert clock.timelines[0].start_utc == datetime(2026, 5, 3, tzinfo=UTC) + timedelta(hours=hour)
    assert clock.timelines[0].timezone == zone


def test_a_column_that_says_utc() -> None:
    clock = clock_of(["2026-05-03T10:00:00", "2026-05-03T10:00:01"], "UTC")
    assert clock.timelines[0].start_utc == datetime(2026, 5, 3, 10, tzinfo=UTC)


@pytest.mark.parametrize("zone", ["Mars/North", "25:00", "", " ", "../x", "+99:00"])
def test_an_unknown_zone_is_a_usage_error(zone: str) -> None:
    with pytest.raises(UsageError, match="--timezone"):
        clock_of(["2026-05-03T10:00:00", "2026-05-03T10:00:01"], zone=zone)


def test_the_start_the_user_gives() -> None:
    start = datetime.fromisoformat("2026-05-03T10:00:00+02:00")
    clock = clock_of(np.arange(100) * 0.1, "s", start=start)
    assert clock.timelines[0].start_utc == datetime(2026, 5, 3, 8, tzinfo=UTC)
    assert clock.timelines[0].timezone == "+02:00"
    assert not clock.timelines[0].has_absolute
    moved = clock_of(["2001-01-01T00:00:00Z", "2001-01-01T00:00:01Z"], start=start)
    assert moved.timelines[0].start_utc == datetime(2026, 5, 3, 8, tzinfo=UTC)
    assert "clock_set" in kinds(moved)


# Central Europe leaves summer time on 25 October 2026 at 03:00 local, and enters it on 29 March 2026 at 02:00
# (directive 2000/84/EC: last Sundays of October and March).
def test_autumn_hour_with_the_step_back_logged() -> None:
    texts = [f"2026-10-25T02:59:{n}" for n in range(50, 60)] + [f"2026-10-25T02:00:{n:02d}" for n in range(10)]
    clock = clock_of(texts, zone="Europe/Berlin")
    assert times(clock) == [list(range(20))]
    assert clock.timelines[0].start_utc == datetime(2026, 10, 25, 0, 59, 50, tzinfo=UTC)


def test_autumn_hour_entered_from_summer_time() -> None:
    texts = [f"2026-10-25T01:59:{n}" for n in range(50, 60)] + [f"2026-10-25T02:00:{n:02d}" for n in range(10)]
    clock = clock_of(texts, zone="Europe/Berlin")
    assert times(clock) == [list(range(20))]
    assert clock.timelines[0].start_utc == datetime(2026, 10, 24, 23, 59, 50, tzinfo=UTC)


def test_autumn_hour_alone_is_not_guessed() -> None:
    with pytest.raises(InputRefused, match="occurs twice"):
        clock_of([f"2026-10-25T02:30:{n:02d}" for n in range(30)], zone="Europe/Berlin")


def test_spring_hour_does_not_exist() -> None:
    with pytest.raises(InputRefused, match="does not exist"):
        clock_of([f"2026-03-29T02:30:{n:02d}" for n in range(30)], zone="Europe/Berlin")
    jump = ["2026-03-29T01:59:58", "2026-03-29T01:59:59", "2026-03-29T03:00:00", "2026-03-29T03:00:01"]
    assert times(clock_of(jump, zone="Europe/Berlin")) == [[0, 1, 2, 3]]


# -- order, resets, wraps ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bits", "unit", "step"), [(16, "ms", 50), (32, "us", 50_000), (32, "ms", 50)])
def test_a_counter_that_wraps_is_counted_on(bits: int, unit: str, step: int) -> None:
    counts = (2**bits - 20 * step + np.arange(60, dtype=np.float64) * step) % 2**bits
    clock = clock_of(counts, unit)
    assert "counter_wrap" in kinds(clock)
    np.testing.assert_allclose(times(clock)[0], np.arange(60) * 0.05, atol=1e-9)


def test_many_wraps_of_a_16_bit_counter() -> None:
    counts = (np.arange(10_000, dtype=np.float64) * 50) % 65_536
    clock = clock_of(counts, "ms")
    assert len(clock.timelines) == 1
    np.testing.assert_allclose(times(clock)[0], np.arange(10_000) * 0.05, atol=1e-9)


def test_a_reset_begins_another_ride() -> None:
    clock = clock_of([*np.arange(50) * 0.1, *np.arange(40) * 0.1], "s")
    assert [len(t) for t in times(clock)] == [50, 40]
    assert all(t[0] == 0.0 for t in times(clock))
    assert "clock_back" in kinds(clock)


def test_a_clock_that_steps_back_all_the_time_is_refused() -> None:
    with pytest.raises(InputRefused, match="time runs backwards"):
        clock_of(np.tile(np.arange(20) * 5.0, 500), "s")


def test_resets_at_known_breaks_are_not_told_twice() -> None:
    clock = clock_of(np.tile(np.arange(20) * 0.1, 3), "s", breaks=[20, 40])
    assert [len(t) for t in times(clock)] == [20, 20, 20]
    assert "clock_back" not in kinds(clock)


def test_rows_out_of_order_are_sorted_and_counted() -> None:
    values = np.arange(100) * 0.1
    values[[40, 41]] = values[[41, 40]]
    clock = clock_of(values, "s")
    np.testing.assert_allclose(times(clock)[0], np.arange(100) * 0.1)
    rows = clock.timelines[0].recording.rows
    assert rows is not None
    assert rows[[40, 41]].tolist() == [41, 40]
    assert next(note.rows for note in clock.notes if note.kind == "out_of_order") == 1


def test_a_reversed_file_is_turned_round() -> None:
    clock = clock_of((np.arange(100) * 0.1)[::-1], "s")
    np.testing.assert_allclose(times(clock)[0], np.arange(100) * 0.1)
    assert "reversed" in kinds(clock)


def test_recordings_with_dates_are_put_in_order_and_joined_within_hours() -> None:
    def run(hour: int, day: int = 3) -> list[str]:
        return [f"2026-05-{day:02d}T{hour:02d}:00:{n:02d}Z" for n in range(10)]

    clock = clock_of([*run(12), *run(10), *run(9, day=4)], breaks=[10, 20])
    assert [timeline.start_utc for timeline in clock.timelines] == [
        datetime(2026, 5, 3, 10, tzinfo=UTC),
        datetime(2026, 5, 4, 9, tzinfo=UTC),
    ]
    first = clock.timelines[0].recording
    assert first.breaks == (10,)
    assert len(first.gaps) == 1
    assert first.gaps[0].length_s == 2 * 3600 - 9


def test_a_break_is_a_gap_however_short() -> None:
    clock = clock_of(np.arange(20) * 0.1, "s", breaks=[10])
    gaps = clock.timelines[0].recording.gaps
    assert [(round(gap.start_s, 6), round(gap.end_s, 6)) for gap in gaps] == [(0.9, 1.0)]


def test_gaps_are_steps_over_a_second_and_five_medians() -> None:
    values = np.concatenate((np.arange(100) * 0.1, 10.85 + np.arange(100) * 0.1, 22.0 + np.arange(100) * 0.1))
    assert len(clock_of(values, "s").timelines[0].recording.gaps) == 1
    slow = np.concatenate((np.arange(100) * 1.0, 103.9 + np.arange(100), 210.0 + np.arange(100)))
    assert len(clock_of(slow, "s").timelines[0].recording.gaps) == 1


# -- repeated stamps --------------------------------------------------------------------------------------------------


def test_coarse_stamps_are_spread_evenly() -> None:
    texts = [text for second in range(30) for text in [f"10:00:{second:02d}"] * 10]
    clock = clock_of(texts)
    np.testing.assert_allclose(times(clock)[0], np.arange(300) * 0.1, atol=1e-9)
    assert "stamps_spread" in kinds(clock)
    assert clock.timelines[0].recording.gaps == ()


def test_a_first_second_that_is_not_whole_keeps_the_rhythm() -> None:
    texts = [f"10:00:{(7 + n) // 10:02d}" for n in range(200)]
    np.testing.assert_allclose(np.diff(times(clock_of(texts))[0]), 0.1, atol=1e-9)


def test_coarse_stamps_are_not_spread_over_a_gap() -> None:
    texts = [f"10:00:{s:02d}" for s in (*range(10), *range(40, 50)) for _ in range(5)]
    clock = clock_of(texts)
    gaps = clock.timelines[0].recording.gaps
    assert len(gaps) == 1
    assert 29.0 < gaps[0].length_s < 31.3


def test_single_repeats_are_merged() -> None:
    clock = clock_of([0.0, 0.1, 0.2, 0.2, 0.3, 0.4], "s")
    recording = clock.timelines[0].recording
    assert recording.t_s.tolist() == [0.0, 0.1, 0.2, 0.3, 0.4]
    assert recording.run is not None
    assert recording.run.tolist() == [1, 1, 2, 1, 1]
    assert clock.left_out == 1


# -- no usable time ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "values", [["a", "b", "c"], [None, None, 1.0], [5.0, 5.0, 5.0], [1.0], ["10:00:00", None, None, None], [None, None]]
)
def test_no_usable_time(values: list[object]) -> None:
    with pytest.raises(InputRefused):
        clock_of(
            pl.Series("Time", values, dtype=pl.String if isinstance(values[0], str) else pl.Float64, strict=False), "s"
        )


def test_a_few_unreadable_times_are_left_out() -> None:
    clock = clock_of([0.0, 0.1, None, 0.3, 0.4], "s")
    assert times(clock) == [[0.0, 0.1, 0.3, 0.4]]
    assert clock.left_out == 1
    assert "left_out_no_time" in kinds(clock)


# -- whatever comes ---------------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(
    st.lists(st.none() | st.floats(0, 1e5, width=32), min_size=1, max_size=60),
    st.sampled_from(["s", "ms", "us", "min"]),
    st.lists(st.integers(1, 59), max_size=3),
)
def test_any_counter_gives_rising_times_and_accounts_for_every_row(
    values: list[float | None], unit: str, breaks: list[int]
) -> None:
    try:
        clock = rebuild(
            RawColumn("Time", unit, pl.Series("Time", values, dtype=pl.Float64)),
            None,
            breaks=[b for b in sorted(set(breaks)) if b < len(values)],
        )
    except InputRefused:
        return
    kept = 0
    for timeline in clock.timelines:
        recording = timeline.recording
        assert recording.t_s[0] == 0.0
        assert (np.diff(recording.t_s) > 0).all()
        kept += recording.t_s.size
        if recording.run is not None and recording.rows is not None:
            assert int(recording.run.sum()) == recording.rows.size
        for gap in recording.gaps:
            assert 0 <= gap.start_s < gap.end_s <= recording.t_s[-1]
    assert kept + clock.left_out == len(values)


@pytest.mark.parametrize("fine", [5e-324, 2.2e-309, 1e-17, 3e-10])
@pytest.mark.parametrize("first", [-7.75, 0.0, 12.5])
def test_times_too_close_to_tell_apart_are_one_time(fine: float, first: float) -> None:
    # Found by fuzzing: rising in the file, but the same once the first stamp is taken off.
    clock = clock_of([first - 1.0, first, first + fine, *(first + 0.1 * n for n in range(1, 30))], "s")
    assert all((np.diff(t_s) > 0).all() for t_s in times(clock))
    if first + fine != first:
        assert "left_out_same_time" in kinds(clock)


@settings(max_examples=200)
@given(
    st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=2, max_size=40), st.sampled_from(["s", "ms"])
)
def test_any_numbers_rise_strictly_or_are_refused(values: list[float], unit: str) -> None:
    try:
        clock = clock_of(values, unit)
    except InputRefused:
        return
    for t_s in times(clock):
        assert t_s[0] == 0.0
        assert np.isfinite(t_s).all()
        assert (np.diff(t_s) > 0).all()


@pytest.mark.parametrize("unit", [None, "s", "ms"])
def test_steps_below_the_range_of_the_arithmetic_are_refused_in_words(unit: str | None) -> None:
    # Found by fuzzing: a step so small that its rate is infinite.
    with pytest.raises((InputRefused, AmbiguousColumn)):
        clock_of([5e-324 * n for n in range(40)], unit)


@pytest.mark.parametrize("unit", ["-", "[-]", "[]"])
def test_a_dash_for_a_unit_says_that_there_is_none(unit: str) -> None:
    assert unit_for("time", unit) == (True, None)
    assert unit_for("date", unit) == (True, None)
    assert not unit_for("time", "rpm")[0]


@pytest.mark.parametrize(
    "name", ["localtime", "posixrules", "Factory", "right/Etc/GMT-2", "posix/Etc/GMT-2", "", "x" * 5000]
)
def test_what_stands_beside_the_zones_is_none(name: str) -> None:
    """The zone database's own files (its manual, tzfile(5) and zic(8)): the machine's setting, rules for another
    notation, a clock nobody set, the zones again with leap seconds."""
    with pytest.raises(UsageError, match="is no time zone") as caught:
        parse_zone(name)
    assert len(str(caught.value)) < 250
    assert not is_zone(name)
    assert is_zone("Etc/GMT-2")
