# ruff: noqa: DTZ001 - times as logs write them have no zone
"""Dates that can't be true, dates that stand still, zones that are none, and rows named by their line in the file."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ridelog.clock import Clock, rebuild
from ridelog.clock.recordings import MOST_RECORDINGS
from ridelog.errors import InputRefused, UsageError
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import RawColumn

ROWS = 240


def text(values: list[str], name: str = "Time") -> RawColumn:
    return RawColumn(name, None, pl.Series(name, values))


def kinds(clock: Clock) -> set[str]:
    return {note.kind for note in (clock.notes + sum((one.notes for one in clock.timelines), ()))}


def stamps(start: datetime, zone: str = "Z", rows: int = ROWS) -> RawColumn:
    return text([f"{start + timedelta(seconds=n):%Y-%m-%dT%H:%M:%S}".rjust(19, "0") + zone for n in range(rows)])


# -- a date that stands still -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("day", ["2026-05-02", "02.05.2026", "2026/05/02"])
def test_a_date_column_that_stands_still_over_midnight(day: str) -> None:
    times = [datetime(2026, 5, 2, 23, 58, tzinfo=UTC) + timedelta(seconds=n) for n in range(ROWS)]
    clock = rebuild(text([f"{one:%H:%M:%S}" for one in times]), text([day] * ROWS, "Date"), zone="UTC")
    (timeline,) = clock.timelines
    np.testing.assert_allclose(timeline.recording.t_s, np.arange(float(ROWS)))
    assert timeline.start_utc == times[0]
    assert "midnight" in kinds(clock)
    assert "clock_back" not in kinds(clock)


def test_a_date_column_that_follows_late() -> None:
    times = [datetime(2026, 5, 2, 23, 58, tzinfo=UTC) + timedelta(seconds=n) for n in range(ROWS)]
    days = [f"{one - timedelta(seconds=10):%Y-%m-%d}" for one in times]
    clock = rebuild(text([f"{one:%H:%M:%S}" for one in times]), text(days, "Date"), zone="UTC")
    np.testing.assert_allclose(clock.timelines[0].recording.t_s, np.arange(float(ROWS)))


def test_two_nights_in_one_file() -> None:
    times = [datetime(2026, 5, 2, 12, tzinfo=UTC) + timedelta(minutes=n) for n in range(3000)]
    clock = rebuild(text([f"{one:%H:%M:%S}" for one in times]), text(["2026-05-02"] * 3000, "Date"), zone="UTC")
    np.testing.assert_allclose(clock.timelines[0].recording.t_s, np.arange(3000) * 60.0)


def test_recordings_in_the_wrong_order_are_no_midnight() -> None:
    late, early = (datetime(2026, 5, day, hour, tzinfo=UTC) for day, hour in ((3, 10), (2, 11)))
    values = [f"{start + timedelta(seconds=n):%Y-%m-%dT%H:%M:%SZ}" for start in (late, early) for n in range(100)]
    clock = rebuild(text(values), None)
    assert [timeline.start_utc for timeline in clock.timelines] == [early, late]
    assert "midnight" not in kinds(clock)


# -- a clock that was never set ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("zone", ["Z", "", "+02:00", "-07:00"])
@pytest.mark.parametrize(
    "start",
    [datetime(1970, 1, 1), datetime(1980, 1, 1), datetime(1980, 1, 6), datetime(2000, 1, 1, 3), datetime(1999, 8, 22),
     datetime(2080, 1, 6), datetime(1904, 1, 1), datetime(1, 1, 1), datetime(9999, 12, 31, 23, 50)],
)  # fmt: skip
def test_a_clock_that_was_never_set_gives_no_date(start: datetime, zone: str) -> None:
    clock = rebuild(stamps(start, zone), None)
    (timeline,) = clock.timelines
    assert timeline.start_utc is None
    assert timeline.start_local is None
    assert not timeline.has_absolute
    np.testing.assert_allclose(timeline.recording.t_s, np.arange(float(ROWS)))
    assert "clock_unset" in kinds(clock)
    given = datetime(2026, 5, 2, 9, 30, tzinfo=UTC)
    told = rebuild(stamps(start, zone), None, start=given)
    assert told.timelines[0].start_utc == given


def test_whole_turns_of_the_week_count_are_added_to_a_day_no_log_has() -> None:
    # IS-GPS-200: the week number has ten bits, so it is 1,024 weeks early after a turn.
    true = datetime(2018, 5, 5, 9, 30, tzinfo=UTC)
    clock = rebuild(stamps(true - timedelta(weeks=1024)), None)
    assert clock.timelines[0].start_utc == true
    note = next(note for note in clock.timelines[0].notes if note.kind == "week_rollover")
    assert "2018-05-05" in note.text


def test_an_old_day_that_may_be_a_turn_of_the_week_count_is_told() -> None:
    start = datetime(2006, 9, 16, 9, 30, tzinfo=UTC)
    clock = rebuild(stamps(start), None)
    assert clock.timelines[0].start_utc == start
    assert "2026-05-02" in next(note.text for note in clock.timelines[0].notes if note.kind == "old_date")


def test_each_recording_is_told_of_its_own_day_alone() -> None:
    days = [datetime(1970, 1, 1), datetime(2001, 5, 26, 10), datetime(2003, 5, 24, 10), datetime(2026, 5, 2, 10)]
    clock = rebuild(text([str(value) for day in days for value in stamps(day).values]), None)
    assert [[note.kind for note in one.notes] for one in clock.timelines] == [
        ["clock_unset"],
        ["old_date"],
        ["old_date"],
        [],
    ]
    assert ["2001-05-26" in note.text for one in clock.timelines[1:3] for note in one.notes] == [True, False]
    assert not {note.kind for note in clock.notes} & {"clock_unset", "old_date"}


@pytest.mark.parametrize("year", [2015, 2019, 2026, 2040])
def test_ordinary_days_are_not_doubted(year: int) -> None:
    clock = rebuild(stamps(datetime(year, 1, 1, 10)), None)
    assert clock.timelines[0].start_utc == datetime(year, 1, 1, 10, tzinfo=UTC)
    assert not kinds(clock) & {"clock_unset", "week_rollover", "old_date"}


def test_a_clock_that_is_set_on_the_way() -> None:
    values = [*stamps(datetime(1980, 1, 6)).values, *stamps(datetime(2026, 5, 2, 9, 30)).values]
    clock = rebuild(text(values), None)
    assert [timeline.start_utc for timeline in clock.timelines] == [None, datetime(2026, 5, 2, 9, 30, tzinfo=UTC)]


# -- times that do not exist ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "stamp", ["2026-02-31 10:00:{:02d}", "0000-00-00T00:00:{:02d}Z", "2026-13-01 10:00:{:02d}",
              "2026-05-02 25:61:{:02d}", "99:99:{:02d}"]
)  # fmt: skip
def test_times_that_do_not_exist_are_refused_in_words(stamp: str) -> None:
    with pytest.raises(InputRefused, match=r"exists|no times") as caught:
        rebuild(text([stamp.format(n % 60) for n in range(60)]), None, where="a.csv")
    assert "a.csv" in caught.value.where


@pytest.mark.parametrize(
    "start", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "9999-12-31T23:59:59+00:00"]
)
def test_a_start_at_the_end_of_the_calendar_is_a_usage_error(start: str, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Time [s],Coolant [C]\n" + "".join(f"{n},80\n" for n in range(60)))
    with pytest.raises(UsageError, match="--start"):
        read_rides([path], ImportOptions(start=datetime.fromisoformat(start)))


# -- zones ------------------------------------------------------------------------------------------------------------


def at(zone: str) -> RawColumn:
    return stamps(datetime(2026, 5, 2, 10), zone, 60)


@pytest.mark.parametrize("zone", ["+99:99", "+15:00", "-02:75", "+2460", "+99"])
def test_offsets_no_place_keeps_are_refused(zone: str) -> None:
    with pytest.raises(InputRefused, match="no offset"):
        rebuild(at(zone), None)


@pytest.mark.parametrize("zone", [" CEST", " EST", " Mars/North", "[Mars/North]", " Lunch"])
def test_words_that_name_no_one_zone_are_refused(zone: str) -> None:
    with pytest.raises(InputRefused, match="no one time zone"):
        rebuild(at(zone), None)


@pytest.mark.parametrize(
    ("zone", "hour", "name"),
    [("+02", 8, "+02:00"), ("+0200", 8, "+02:00"), ("-03:30", 13.5, "-03:30"), ("+14:00", -4, "+14:00"),
     (" Europe/Berlin", 8, "Europe/Berlin"), ("[Europe/Berlin]", 8, "Europe/Berlin"),
     ("+02:00[Europe/Berlin]", 8, "Europe/Berlin"), (" UTC", 10, "UTC"), ("GMT", 10, "UTC")],
)  # fmt: skip
def test_zones_behind_the_times(zone: str, hour: float, name: str) -> None:
    clock = rebuild(at(zone), None)
    assert clock.timelines[0].start_utc == datetime(2026, 5, 2, tzinfo=UTC) + timedelta(hours=hour)
    assert clock.timelines[0].timezone == name


def test_an_empty_zone_is_no_zone(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Time,Coolant [C]\n" + "".join(f"2026-05-02T10:00:{n:02d},80\n" for n in range(60)))
    with pytest.raises(UsageError, match="--timezone"):
        read_rides([path], ImportOptions(timezone=""))


# -- recordings -------------------------------------------------------------------------------------------------------


def counter(values: list[float]) -> RawColumn:
    return RawColumn("Time", "s", pl.Series("Time", values).cast(pl.Float64))


def test_rides_of_one_row_are_refused() -> None:
    with pytest.raises(InputRefused, match="single moment"):
        rebuild(counter([n * 20_000.0 for n in range(30)]), None)


@pytest.mark.parametrize("teeth", [MOST_RECORDINGS + 2, 600])
def test_a_saw_tooth_is_no_clock(teeth: int) -> None:
    with pytest.raises(InputRefused, match=f"backwards {teeth - 1} times, first at row 6"):
        rebuild(counter([float(n % 5) for n in range(5 * teeth)]), None)


def test_a_handful_of_restarts_is_fine() -> None:
    clock = rebuild(counter([float(n % 300) for n in range(300 * 8)]), None)
    assert len(clock.timelines) == 8


def test_rows_are_named_by_their_line(tmp_path: Path) -> None:
    # A blank line, a remark and a preamble stand above the row in question: its line is what an editor shows.
    lines = ["a remark", "", "Time [s],Coolant [C],Engine speed [rpm]"]
    for run in range(2):
        lines += [f"{n},80,5000" for n in range(50)]
        lines += ["", "# stop"] if not run else []
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n")
    rides = read_rides([path], ImportOptions())
    note = next(note for note in rides[0].notes if note.kind == "clock_back")
    line = int(str(note.example).rpartition("row ")[2])
    assert lines[line - 1] == "0,80,5000"
    assert line > 50


def test_a_refused_saw_tooth_names_the_line(tmp_path: Path) -> None:
    lines = ["Time [s],Coolant [C],Engine speed [rpm]", *(f"{n % 5},80,5000" for n in range(2000))]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n")
    with pytest.raises(InputRefused, match="first at row 7") as caught:
        read_rides([path], ImportOptions())
    assert lines[6].startswith("0,")
    assert "a.csv" in caught.value.where


@pytest.mark.parametrize("blank", [1, 2, 5])
def test_dates_that_begin_late_in_a_short_log(blank: int) -> None:
    # Found by fuzzing: with one readable moment no step is known, which is nothing to warn of.
    values = pl.Series("Time", [None] * blank + ["2026-05-02T10:00:00Z"])
    with pytest.raises(InputRefused):
        rebuild(RawColumn("Time", None, values), None)
