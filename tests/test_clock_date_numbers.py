"""Dates written as numbers beside a time column: six digits in either order, and clock times as numbers with them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.clock import Clock, rebuild, tie_to_date
from ridelog.clock.date_numbers import date_numbers, said_order
from ridelog.clock.texts import Order
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.ingest import ImportOptions, parse_column_option, read_rides
from ridelog.ride import RawColumn

ROWS = 300
NIGHT = datetime(2026, 5, 30, 23, 57, 30, tzinfo=UTC)
"""An invented evening: the ride runs into the next day, 310526."""

WRITTEN: dict[Order, str] = {"dmy": "%d%m%y", "ymd": "%y%m%d", "mdy": "%m%d%y"}


def numbers(values: list[float], name: str = "Date", unit: str | None = None) -> RawColumn:
    return RawColumn(name, unit, pl.Series(name, values, dtype=pl.Float64))


def clock(start: datetime, order: Order, rows: int = ROWS, **label: str) -> Clock:
    times = [start + timedelta(seconds=n) for n in range(rows)]
    time = numbers([float(f"{one:%H%M%S}") for one in times], "Time")
    return rebuild(time, numbers([float(one.strftime(WRITTEN[order])) for one in times], **label), zone="UTC")


def kinds(found: Clock) -> set[str]:
    return {note.kind for note in (found.notes + sum((one.notes for one in found.timelines), ()))}


@pytest.mark.parametrize("order", ["dmy", "ymd", "mdy"])
def test_days_that_lie_together_tell_the_order(order: Order) -> None:
    # 31 May: as YYMMDD the two days would be 300526 and 310526, 2030 and 2031; as DDMMYY 260530 is a day of 2030.
    found = clock(NIGHT, order)
    (timeline,) = found.timelines
    assert timeline.start_utc == NIGHT
    np.testing.assert_allclose(timeline.recording.t_s, np.arange(float(ROWS)))
    assert {"date_numbers", "clock_numbers"} <= kinds(found)


@pytest.mark.parametrize(
    ("day", "order"),
    [
        # The dates of two sentences by which NMEA 0183 is commonly explained (RMC, field 9, ddmmyy): 23 March 1994 and
        # 13 September 1998.
        ("230394", "dmy"),
        ("130998", "dmy"),
        ("990526", "ymd"),
        ("051399", "mdy"),
    ],
)
def test_a_day_of_only_one_reading(day: str, order: Order) -> None:
    found = date_numbers(pl.Series([float(day)] * 3), name="Date", order=None, time_name="Time")
    assert found is not None
    expected = datetime.strptime(day, WRITTEN[order]).replace(tzinfo=UTC).date()
    assert found.texts.to_list() == [expected.isoformat()] * 3


def test_the_turn_of_the_year() -> None:
    """The dates of two RMC sentences a fifth of a second apart: 31 December 2026 and 1 January 2027."""
    found = date_numbers(pl.Series([311_226.0, 10_127.0]), name="Date", order=None, time_name="Time")
    assert found is not None
    assert found.texts.to_list() == ["2026-12-31", "2027-01-01"]


@pytest.mark.parametrize("day", [30526.0, 130526.0, 260503.0, 310526.0])
def test_a_day_of_several_readings_is_asked_for(day: float) -> None:
    with pytest.raises(AmbiguousColumn) as caught:
        rebuild(numbers([100_000.0 + 100 * (n // 60) + n % 60 for n in range(ROWS)], "Time"), numbers([day] * ROWS))
    assert "Time=time:dmy" in caught.value.options
    assert "Time=time:ymd" in caught.value.options
    assert "Date" in caught.value.where
    assert caught.value.to_do.count("say which") == 1


@pytest.mark.parametrize(("order", "start"), [("dmy", "2026-05-03"), ("ymd", "2003-05-26"), ("mdy", "2026-03-05")])
def test_each_option_settles_it(tmp_path: Path, order: str, start: str) -> None:
    path = tmp_path / "log.csv"
    rows = [f"030526,{100_000 + 100 * (n // 60) + n % 60},{60 + n % 9}.5" for n in range(ROWS)]
    path.write_text("\n".join(["Date,Time,Coolant [C]", *rows, ""]), encoding="utf-8")
    with pytest.raises(AmbiguousColumn) as caught:
        read_rides([path], ImportOptions(timezone="UTC"))
    (option,) = [one for one in caught.value.options if one.endswith(order)]
    (ride,) = read_rides([path], ImportOptions(timezone="UTC", columns=(parse_column_option(option),)))
    assert ride.start_utc is not None
    assert ride.start_utc.isoformat() == f"{start}T10:00:00+00:00"
    assert ride.samples.height == ROWS


@pytest.mark.parametrize(("order", "start"), [("dmy", "2026-05-03"), ("mdy", "2026-03-05")])
@pytest.mark.parametrize("day", ["030526", "03/05/2026", "3-5-26"])
@pytest.mark.parametrize("clock_form", ["10{:02d}{:02d}", "10:{:02d}:{:02d}"])
def test_the_order_said_of_the_date_column_settles_it_too(
    tmp_path: Path, order: str, start: str, day: str, clock_form: str
) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{day},{clock_form.format(n // 60, n % 60)},{60 + n % 9}.5" for n in range(ROWS)]
    path.write_text("\n".join(["Date,Time,Coolant [C]", *rows, ""]), encoding="utf-8")
    (ride,) = read_rides([path], ImportOptions(timezone="UTC", columns=(parse_column_option(f"Date=date:{order}"),)))
    assert ride.start_utc is not None
    assert ride.start_utc.isoformat() == f"{start}T10:00:00+00:00"
    assert ride.samples.height == ROWS


@pytest.mark.parametrize(
    ("header", "start"),
    [
        ("Date [DDMMYY]", "2026-05-03"),
        ("Datum (TTMMJJ)", "2026-05-03"),
        ("Date (JJMMAA)", "2026-05-03"),
        ("Data [ggmmaa]", "2026-05-03"),
        ("Date [yymmdd]", "2003-05-26"),
        ("Datum [JJMMTT]", "2003-05-26"),
        ("Fecha (AAMMDD)", "2003-05-26"),
        ("Date (MMDDYY)", "2026-03-05"),
    ],
)
def test_the_header_tells_the_order(tmp_path: Path, header: str, start: str) -> None:
    path = tmp_path / "log.csv"
    rows = [f"030526,10:{n // 60:02d}:{n % 60:02d},{60 + n % 9}.5" for n in range(ROWS)]
    path.write_text("\n".join([f"{header},Time,Coolant [C]", *rows, ""]), encoding="utf-8")
    (ride,) = read_rides([path], ImportOptions(timezone="UTC"))
    assert ride.start_utc is not None
    assert ride.start_utc.date().isoformat() == start


def test_a_label_that_does_not_fit_is_refused() -> None:
    with pytest.raises(InputRefused, match="990526") as caught:
        clock(datetime(1999, 5, 26, 10, tzinfo=UTC), "ymd", unit="dmy")
    assert "Date" in caught.value.where


def test_labels_that_say_no_order() -> None:
    assert said_order("Date", None) is None
    assert said_order("Date", "UTC") is None
    assert said_order("Date [DDMMYYYY]", None) == "dmy"
    assert said_order("Date", "yyyymmdd") == "ymd"


@pytest.mark.parametrize("values", [[1.0, 2.0], [321_326.0], [30_526.5], [123_456_789.0], [-30_526.0], [1_300_000.0]])
def test_numbers_that_are_no_dates(values: list[float]) -> None:
    assert date_numbers(pl.Series(values), name="Date", order=None, time_name="Time") is None
    time = RawColumn("Time", None, pl.Series([f"10:00:{n:02d}" for n in range(60)]))
    found = rebuild(time, numbers([values[n % len(values)] for n in range(60)]))
    assert "date_unread" in kinds(found)
    assert found.timelines[0].start_local is None


def test_eight_digits_with_the_day_in_front() -> None:
    found = date_numbers(pl.Series([20_052_026.0]), name="Date", order=None, time_name="Time")
    assert found is not None
    assert found.texts.to_list() == ["2026-05-20"]
    with pytest.raises(AmbiguousColumn, match="DDMMYYYY"):
        date_numbers(pl.Series([3_052_026.0]), name="Date", order=None, time_name="Time")


def test_zeros_before_the_first_fix_are_no_dates() -> None:
    times = [datetime(2026, 5, 31, 10, tzinfo=UTC) + timedelta(seconds=n) for n in range(ROWS)]
    days = [0.0 if n < 20 else 310_599.0 for n in range(ROWS)]
    time = numbers([float(f"{one:%H%M%S}") for one in times], "Time")
    found = rebuild(time, numbers(days), zone="UTC")
    assert {note.kind: note.rows for note in found.notes}["left_out_no_time"] == 20


def test_digits_kept_as_text() -> None:
    times = [datetime(2026, 5, 31, 9, 30, tzinfo=UTC) + timedelta(seconds=n / 4) for n in range(ROWS)]
    time = RawColumn("Time", None, pl.Series([f"{one:%H%M%S}.{one.microsecond // 10_000:02d}" for one in times]))
    found = rebuild(time, RawColumn("Date", "dmy", pl.Series([f"{one:%d%m%y}" for one in times])), zone="UTC")
    assert found.timelines[0].start_utc == times[0]
    np.testing.assert_allclose(found.timelines[0].recording.t_s, np.arange(ROWS) / 4)


def test_an_open_date_beside_a_counter_is_told() -> None:
    counter = numbers([n / 4 for n in range(ROWS)], "Time", "s")
    times = [datetime(2026, 5, 3, 9, 30, tzinfo=UTC) + timedelta(seconds=n // 4) for n in range(ROWS)]
    utc = RawColumn("UTC", "UTC", pl.Series([f"{one:%H:%M:%S}" for one in times]))
    found = tie_to_date(rebuild(counter, None), [utc], numbers([30_526.0] * ROWS))
    assert "date_open" in kinds(found)
    found = tie_to_date(rebuild(counter, None), [utc], numbers([30_526.0] * ROWS, unit="dmy"))
    assert found.timelines[0].start_utc == times[0]


@given(
    start=st.datetimes(datetime(2010, 1, 1), datetime(2069, 12, 1)),  # noqa: DTZ001 - the zone is added
    order=st.sampled_from(["dmy", "ymd", "mdy"]),
    days=st.integers(1, 9),
)
def test_never_another_day_than_the_one_written(start: datetime, order: Order, days: int) -> None:
    written = [start.date() + timedelta(days=n) for n in range(days)]
    column = pl.Series([float(one.strftime(WRITTEN[order])) for one in written])
    expected = [one.isoformat() for one in written]
    found, options = None, [f"Time=time:{order}"]
    try:
        found = date_numbers(column, name="Date", order=None, time_name="Time")
    except AmbiguousColumn as question:
        options = list(question.options)
    assert f"Time=time:{order}" in options
    assert found is None or found.texts.to_list() == expected
    said = date_numbers(column, name="Date", order=order, time_name="Time")
    assert said is None or said.texts.to_list() == expected
    assert said is not None or min(written) < date(2010, 1, 1) or column.min() < 10_100  # type: ignore[operator]
