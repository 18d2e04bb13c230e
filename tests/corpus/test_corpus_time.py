"""How clocks go wrong: units, midnight, dates, wraps, resets, jumps, bursts."""

# ruff: noqa: E501, DTZ001 - the tables have one case a line; local times are the matter here
from __future__ import annotations

import random
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import (
    HEADER,
    START,
    Form,
    clock,
    kinds,
    lines,
    note,
    read,
    refused,
    rides,
    same_ride,
    text,
    timed,
    write,
)

from ridelog.errors import AmbiguousColumn


@pytest.mark.parametrize("factor", [1, 1000, 1_000_000])
def test_a_counter_without_a_unit(factor: int, tmp_path: Path) -> None:
    ride = read(tmp_path, timed("Time", lambda t: f"{t * factor:.{1 if factor == 1 else 0}f}"))
    same_ride(ride)


def test_a_counter_in_ticks_asks(tmp_path: Path) -> None:
    error = refused(tmp_path, timed("Time", lambda t: f"{t * 32_768:.0f}"), "both fit")
    assert isinstance(error, AmbiguousColumn)
    assert error.options == ("Time=time:ms", "Time=time:us")


def test_a_clock_without_a_date_over_midnight(tmp_path: Path) -> None:
    ride = read(tmp_path, timed("Time", lambda t: clock(t + 15 * 3600 + 42 * 60)))
    same_ride(ride)
    note(ride, "midnight")
    assert ride.start_utc is None


@pytest.mark.parametrize("begin_s", [3480.0, 3599.5, 100.0])
def test_minutes_and_seconds_alone_over_the_full_hour(begin_s: float, tmp_path: Path) -> None:
    # What is left of a clock time in a spreadsheet's usual form.
    ride = read(tmp_path, timed("Time", lambda t: f"{int(begin_s + t) // 60 % 60:02d}:{(begin_s + t) % 60:04.1f}"))
    same_ride(ride)
    assert kinds(ride) == ({"full_hour"} if begin_s > 3300 else set())


def test_the_60th_second_and_the_24th_hour(tmp_path: Path) -> None:
    def of(t: float) -> str:
        if t == 150.0:
            return "24:00:00.0"
        seconds = 86_400 - 150 + t
        if seconds % 60 < 1 and t != 0:
            return f"{int(seconds - 60) // 3600 % 24:02d}:{int(seconds - 60) // 60 % 60:02d}:{60 + seconds % 60:04.1f}"
        return f"{int(seconds) // 3600 % 24:02d}:{int(seconds) // 60 % 60:02d}:{seconds % 60:04.1f}"

    ride = read(tmp_path, timed("Time", of))
    lost = sum(one.rows or 0 for one in ride.notes if one.kind == "left_out_no_time")
    assert ride.samples.height + lost == 600
    assert ride.duration_s == 299.5


def test_fractions_of_any_width(tmp_path: Path) -> None:
    def of(t: float) -> str:
        return clock(t).removesuffix(".0") + ("" if t % 1 == 0 else "00000"[: int(t) % 5])

    same_ride(read(tmp_path, timed("Time", of)))


@pytest.mark.parametrize(
    ("pattern", "day"), [("%d/%m/%Y %H:%M:%S.%f", 18), ("%m/%d/%Y %H:%M:%S.%f", 18), ("%m/%d/%Y %I:%M:%S.%f %p", 18), ("%d.%m.%y %H:%M:%S.%f", 3)]
)  # fmt: skip
def test_day_and_month(pattern: str, day: int, tmp_path: Path) -> None:
    ride = read(
        tmp_path, timed("Date and time", lambda t: (START.replace(day=day) + timedelta(seconds=t)).strftime(pattern))
    )
    same_ride(ride)
    assert ride.extra["start_local"] == START.replace(day=day, tzinfo=None).isoformat()


def test_day_and_month_that_can_be_either(tmp_path: Path) -> None:
    content = timed("Date and time", lambda t: (START + timedelta(seconds=t)).strftime("%d/%m/%Y %H:%M:%S.%f"))
    error = refused(tmp_path, content, "--column")
    assert isinstance(error, AmbiguousColumn)
    for option, day in zip(sorted(error.options), (3, 5), strict=True):
        local = datetime.fromisoformat(str(read(tmp_path, content, "log.csv", option).extra["start_local"]))
        assert local.day == day


@pytest.mark.parametrize("year", [1970, 1980, 2000, 2080])
def test_a_clock_that_was_never_set(year: int, tmp_path: Path) -> None:
    begin = datetime(year, 1, 1, tzinfo=UTC)
    ride = read(
        tmp_path, timed("Timestamp", lambda t: (begin + timedelta(seconds=t)).strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
    )
    same_ride(ride)
    note(ride, "clock_unset")
    assert ride.start_utc is None
    assert ride.id.startswith("undated-")


def test_a_day_1024_weeks_early(tmp_path: Path) -> None:
    # Seen from a receiver: its sentences carry the checksum, so that a wrong day is the week count's, no slip of a hand.
    def sentence(t: float) -> str:
        moment = START + timedelta(seconds=t) - timedelta(days=7168)
        body = f"GNRMC,{moment:%H%M%S}.{moment.microsecond // 10_000:02d},A,4530.0000,N,00730.0000,E,10.0,090.0,{moment:%d%m%y},,,A"
        total = 0
        for char in body.encode():
            total ^= char
        return f"${body}*{total:02X}"

    ride = read(tmp_path, text([sentence(t) for t in range(60)]), "gps.nmea")
    assert ride.start_utc == START
    assert any("1024" in one.text.replace(",", "") for one in ride.notes)
    # A day that another logger may really have had is told, not moved.
    early = START - timedelta(days=7168)
    ride = read(
        tmp_path, timed("Timestamp", lambda t: (early + timedelta(seconds=t)).strftime("%Y-%m-%dT%H:%M:%S.%fZ"))
    )
    assert "2026-05-03" in note(ride, "old_date").text


@pytest.mark.parametrize(
    "shift", [timedelta(days=16_920), timedelta(hours=2), timedelta(hours=-3), timedelta(seconds=18)]
)
@pytest.mark.parametrize("unset_s", [20, 60, 200])
def test_a_clock_set_by_the_first_fix_beside_a_counter(shift: timedelta, unset_s: int, tmp_path: Path) -> None:
    def stamp(n: int) -> str:
        moment = START + timedelta(seconds=n / 2) - (shift if n < 2 * unset_s else timedelta(0))
        return moment.strftime("%Y-%m-%dT%H:%M:%SZ")

    found = lines()
    ride = read(tmp_path, text([found[0] + ",UTC time", *(f"{row},{stamp(n)}" for n, row in enumerate(found[1:]))]))
    same_ride(ride)
    assert ride.start_utc == START
    assert note(ride, "clock_set_on_the_way").rows == 2 * unset_s
    note(ride, "dated_by")


def test_a_clock_set_by_the_first_fix_alone(tmp_path: Path) -> None:
    def stamp(t: float) -> str:
        begin = START if t >= 60 else START.replace(year=1980, month=1, day=6)
        return (begin + timedelta(seconds=t)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")

    before, after = rides(tmp_path, timed("Timestamp", stamp))
    same_ride(before, rows=range(120))
    same_ride(after, rows=range(120, 600))
    assert before.start_utc is None
    assert after.start_utc == START + timedelta(seconds=60)
    note(before, "clock_unset")


def local(begin: datetime) -> Callable[[float], str]:
    return lambda t: (begin + timedelta(seconds=t)).strftime("%Y-%m-%d %H:%M:%S.%f")


def test_the_hour_that_comes_twice(tmp_path: Path) -> None:
    # Last Sunday of October 2026 in central Europe: 03:00 becomes 02:00 (IANA time zone database).
    content = timed("Date and time", local(datetime(2026, 10, 25, 2, 10)))
    refused(tmp_path, content, "occurs twice", timezone="Europe/Berlin")
    ride = read(tmp_path, content, timezone="+02:00")
    assert ride.start_utc == datetime(2026, 10, 25, 0, 10, tzinfo=UTC)

    def over(t: float) -> str:
        moment = datetime(2026, 10, 25, 2, 57) + timedelta(seconds=t)
        return (moment - timedelta(hours=1) if moment.hour == 3 else moment).strftime("%Y-%m-%d %H:%M:%S.%f")

    ride = read(tmp_path, timed("Date and time", over), timezone="Europe/Berlin")
    same_ride(ride)
    assert ride.start_utc == datetime(2026, 10, 25, 0, 57, tzinfo=UTC)


def test_the_hour_that_is_left_out(tmp_path: Path) -> None:
    refused(
        tmp_path,
        timed("Date and time", local(datetime(2026, 3, 29, 2, 10))),
        "does not exist",
        timezone="Europe/Berlin",
    )

    def over(t: float) -> str:
        moment = datetime(2026, 3, 29, 1, 58) + timedelta(seconds=t)
        return (moment + timedelta(hours=1) if moment.hour >= 2 else moment).strftime("%Y-%m-%d %H:%M:%S.%f")

    same_ride(read(tmp_path, timed("Date and time", over), timezone="Europe/Berlin"))


def test_a_time_without_a_zone_is_no_moment(tmp_path: Path) -> None:
    ride = read(tmp_path, timed("Date and time", local(datetime(2026, 5, 3, 8, 15))))
    assert ride.start_utc is None
    note(ride, "zone_unknown")


@pytest.mark.parametrize(
    ("head", "factor", "bits", "begin"),
    [
        ("Time [ms]", 1e3, 16, 30_000), ("Time", 1e3, 16, 30_000), ("Time [us]", 1e6, 32, 2**32 - 5e7),
        ("Time", 1e6, 32, 2**32 - 5e7), ("Time [ms]", 1e3, 32, 2**32 - 5e4),
    ],
)  # fmt: skip
def test_a_counter_that_begins_again(head: str, factor: float, bits: int, begin: float, tmp_path: Path) -> None:
    ride = read(tmp_path, timed(head, lambda t: f"{(t * factor + begin) % 2**bits:.0f}"))
    same_ride(ride)
    note(ride, "counter_wrap")


def test_a_counter_with_a_sign_that_begins_again(tmp_path: Path) -> None:
    ride = read(tmp_path, timed("Time [ms]", lambda t: f"{(int(t * 1000) + 2**15) % 2**16 - 2**15}"))
    same_ride(ride)
    note(ride, "counter_wrap")


def test_a_restart_is_another_ride(tmp_path: Path) -> None:
    found = lines()
    one, other = rides(tmp_path, text([*found, *found[1:200]]))
    same_ride(one)
    same_ride(other, rows=range(199))
    note(one, "clock_back")


def test_a_pause_is_a_gap_and_never_ridden(tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([*found[:200], *found[400:]]))
    same_ride(ride, rows=[*range(199), *range(399, 600)])
    assert [(gap.start_s, gap.end_s) for gap in ride.gaps] == [(99.0, 199.5)]
    whole = read(tmp_path, text(found))
    part = read(tmp_path, text(found[:200])), read(tmp_path, text([found[0], *found[400:]]))
    assert whole.distance_m is not None
    assert ride.distance_m == pytest.approx(sum(one.distance_m or 0.0 for one in part))
    assert ride.channels["coolant_c"].coverage < 0.7


def test_steps_that_tremble(tmp_path: Path) -> None:
    draw = random.Random(4)  # noqa: S311
    ride = read(tmp_path, timed(HEADER[0], lambda t: f"{t + 1 + (draw.uniform(-0.2, 0.2) if 0 < t < 299 else 0):.3f}"))
    same_ride(ride, time_s=0.21)
    assert ride.gaps == ()


@pytest.mark.parametrize("size", [4, 8])
def test_rows_stamped_many_at_once(size: int, tmp_path: Path) -> None:
    length = size / 2
    ride = read(tmp_path, timed(HEADER[0], lambda t: f"{t // length * length + t % length * 0.002:.4f}"))
    same_ride(ride, time_s=0.02)
    assert ride.gaps == ()
    note(ride, "bursts_spread")


@pytest.mark.parametrize("wrong", ["0.0", "3.0", "1500.0", "99999.0", "4294967.2"])
@pytest.mark.parametrize("rows", [(300,), (300, 301), (20, 300, 550)])
def test_single_wrong_stamps_do_not_cut_the_ride(wrong: str, rows: tuple[int, ...], tmp_path: Path) -> None:
    stamps = {t / 2: wrong for t in rows}
    ride = read(tmp_path, timed(HEADER[0], lambda t: stamps.get(t, f"{t:.1f}")))
    same_ride(ride, rows=[n for n in range(600) if n not in rows])
    told = note(ride, "left_out_stray_time")
    assert told.rows == len(rows)
    assert str(rows[0] + 2) in str(told.example)
    assert kinds(ride) == {"left_out_stray_time"}


def test_a_clock_that_runs_backwards_all_the_time(tmp_path: Path) -> None:
    error = refused(tmp_path, timed(HEADER[0], lambda t: f"{t % 4 + t // 4 * 0.5:.1f}"), "time runs backwards")
    assert "times, first at row" in error.found


def test_each_channel_keeps_its_own_rate(tmp_path: Path) -> None:
    def row(n: int, line: str) -> str:
        cells = line.split(",")
        if n % 4:
            cells[1] = ""  # the coolant speaks every other second
        cells[4] = lines()[1 + n // 2 * 2].split(",")[4]  # the speed is held
        return ",".join(cells)

    found = lines()
    ride = read(tmp_path, text([found[0], *(row(n, line) for n, line in enumerate(found[1:]))]))
    assert ride.samples["coolant_c"].null_count() == 450
    assert ride.channels["coolant_c"].rate_hz == pytest.approx(0.5)
    assert not ride.channels["coolant_c"].held
    assert ride.channels["gps_speed_mps"].held
    assert ride.channels["gps_speed_mps"].rate_hz == pytest.approx(1.0, rel=0.05)
    assert ride.channels["engine_rpm"].rate_hz == pytest.approx(2.0)


def test_a_slow_sensor_is_not_moved_in_time(tmp_path: Path) -> None:
    # The coolant of ten seconds ago, as a filter gives it: nothing in a file tells, and nothing is corrected.
    true = [row.split(",")[1] for row in lines()[1:]]
    found = lines()
    late = [
        found[0],
        *(
            ",".join([*line.split(",")[:1], true[max(0, n - 20)], *line.split(",")[2:]])
            for n, line in enumerate(found[1:])
        ),
    ]
    ride = read(tmp_path, text(late))
    np.testing.assert_array_equal(
        ride.samples["coolant_c"].to_numpy(), [float(true[max(0, n - 20)]) for n in range(600)]
    )
    assert ride.notes == ()


def test_the_form_of_the_log_as_it_is(tmp_path: Path) -> None:
    same_ride(read(tmp_path, write(Form())))
