"""Slips of the user and of clocks that an import must not pass over: each was once taken without a word."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ridelog.errors import InputRefused, UsageError
from ridelog.ingest import ImportOptions, read_rides
from ridelog.normalize import ColumnChoice, Settled
from ridelog.normalize.remembered import apply
from ridelog.readers.base import ReadOptions
from ridelog.readers.delimited import DelimitedReader
from ridelog.readers.limits import Limits


def counted(folder: Path, name: str = "ok.csv") -> Path:
    path = folder / name
    rows = "".join(f"{n},{3000 + n},{70 + n % 3}\n" for n in range(60))
    path.write_text("Time [s],RPM,Coolant [C]\n" + rows, encoding="utf-8")
    return path


def dated(folder: Path, first: datetime) -> Path:
    path = folder / "dated.csv"
    rows = "".join(f"{first + timedelta(seconds=n):%Y-%m-%d %H:%M:%S},{3000 + n},{70 + n % 3}\n" for n in range(60))
    path.write_text("Time,RPM,Coolant [C]\n" + rows, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("start", "says"),
    [
        (datetime(2026, 10, 25, 2, 30), "occurs twice"),  # noqa: DTZ001 - the zone is the option's
        (datetime(2026, 3, 29, 2, 30), "does not exist"),  # noqa: DTZ001
    ],
)
def test_a_start_in_the_repeated_or_skipped_hour_is_asked_back(tmp_path: Path, start: datetime, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        read_rides([counted(tmp_path)], ImportOptions(start=start, timezone="Europe/Berlin"))


def test_a_start_with_its_offset_is_one_moment(tmp_path: Path) -> None:
    start = datetime.fromisoformat("2026-10-25T02:30:00+01:00")
    (ride,) = read_rides([counted(tmp_path)], ImportOptions(start=start, timezone="Europe/Berlin"))
    assert ride.start_utc == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_a_start_in_no_year_of_a_ride_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no year of a ride"):
        read_rides([counted(tmp_path)], ImportOptions(start=datetime(1, 1, 1, tzinfo=UTC)))


@pytest.mark.parametrize("name", ["ok.csv", "copy.csv"])
def test_the_same_content_twice_is_no_two_devices(tmp_path: Path, name: str) -> None:
    paths = [counted(tmp_path), counted(tmp_path, name)]
    with pytest.raises(InputRefused, match="same content"):
        read_rides(paths, ImportOptions(), together=True)


def test_a_day_that_lies_ahead_is_told(tmp_path: Path) -> None:
    ahead = datetime.now(UTC).replace(microsecond=0) + timedelta(days=400)
    (ride,) = read_rides([dated(tmp_path, ahead)], ImportOptions(timezone="UTC"))
    assert [note.kind for note in ride.notes if note.kind == "future_date"] == ["future_date"]


@pytest.mark.parametrize(("days_ago", "told"), [(30, 0), (1024 * 7 - 400, 0)])
def test_no_turn_of_the_week_count_is_offered_that_lies_ahead(tmp_path: Path, days_ago: int, told: int) -> None:
    then = datetime.now(UTC).replace(microsecond=0) - timedelta(days=days_ago)
    (ride,) = read_rides([dated(tmp_path, then)], ImportOptions(timezone="UTC"))
    assert sum(note.kind == "old_date" for note in ride.notes) == told


@pytest.mark.parametrize(("date", "used"), [("03/04/2026", 1), ("03.04.2026", 1), ("260524", 0)])
def test_an_order_confirmed_for_dates_with_signs_says_nothing_of_bare_digits(
    tmp_path: Path, date: str, used: int
) -> None:
    path = tmp_path / "log.csv"
    path.write_text("Date,Time,RPM\n" + "".join(f"{date},10:00:{n:02d},3000\n" for n in range(30)), encoding="utf-8")
    (log,) = DelimitedReader().read(path, ReadOptions("log.csv", Limits.from_environment()))
    settled = Settled("header", ColumnChoice(("Time",), "time", "dmy"), "2026-05-01")
    choices, notes = apply(log.columns, [settled], [], "one")
    assert len(choices) == used
    assert [note.kind for note in notes] == (["remembered"] if used else ["remembered_not_used"])


def test_a_remark_that_looks_like_a_date_does_not_stand_for_one(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = "".join(f"260524,10:00:{n:02d},1/2/3,3000\n" for n in range(30))
    path.write_text("Date,Time,Note,RPM\n" + rows, encoding="utf-8")
    (log,) = DelimitedReader().read(path, ReadOptions("log.csv", Limits.from_environment()))
    settled = Settled("header", ColumnChoice(("Time",), "time", "dmy"), "2026-05-01")
    assert apply(log.columns, [settled], [], "one")[0] == []


@pytest.mark.parametrize("cut", [3, 5, 9])
def test_one_cut_row_is_told_once(tmp_path: Path, cut: int) -> None:
    path = counted(tmp_path)
    path.write_bytes(path.read_bytes()[:-cut])
    (ride,) = read_rides([path], ImportOptions())
    kinds = [note.kind for note in ride.notes]
    assert "left_out_cut_line" in kinds
    assert "short_rows" not in kinds
