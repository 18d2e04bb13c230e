"""When a note speaks of: every form of a time, and that what can be two moments is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.errors import UsageError
from ridelog.notes import Span, clock_of, read_time
from ridelog.words import notes as words

TWO = timezone(timedelta(hours=2))
UNDATED = Span("undated-1", 2050.0)
LOCAL = Span("local-1", 2050.0, local=datetime(2026, 5, 23, 9, 5, 12))  # noqa: DTZ001 - no zone is the point
MORNING = Span("ride-1", 2050.0, datetime(2026, 5, 23, 9, 5, 12, tzinfo=TWO), TWO)
IN_UTC = Span("ride-2", 2050.0, datetime(2026, 5, 23, 9, 5, 12, tzinfo=UTC))

# The clocks of central Europe: back from 3:00 to 2:00 on the last Sunday of October, on from 2:00 to 3:00 on that of
# March, both at 1:00 UTC (Directive 2000/84/EC, articles 2 and 3; the dates of 2026 by the calendar).
EUROPE = ZoneInfo("Europe/Berlin")


@pytest.mark.parametrize(
    ("text", "at_s"),
    [
        ("0", 0.0), ("754", 754.0), ("754.25", 754.25), ("90 s", 90.0), ("12:34", 754.0), ("12:34.5", 754.5),
        ("0:12:34", 754.0), ("+12:34", 754.0), ("+754", 754.0), (" 12:34 ", 754.0), ("34:09", 2049.0), ("00:00", 0.0),
    ],
)  # fmt: skip
@pytest.mark.parametrize("span", [UNDATED, MORNING], ids=["undated", "dated"])
def test_times_from_the_start(text: str, at_s: float, span: Span) -> None:
    assert read_time(text, span).at_s == at_s


@pytest.mark.parametrize(
    "text",
    ["", "  ", "soon", "-5", "12:60", "12:5", "1:60:00", "1:2:3:4", "nan", "inf", "1e3", "12,5", "T25:00",
     "T12:61", "2026-13-01T10:00", "2026-02-30T10:00", "13:00 pm", "0:30 am", "12:34\x00", "1234567890123", "٣:٠٠x"],
)  # fmt: skip
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="is no time") as caught:
        read_time(text, MORNING)
    assert "m:ss" in caught.value.expected


@given(
    st.text(max_size=25)
    | st.from_regex(r"[+T]?\d{0,4}[:.T -]?\d{0,3}:?\d{0,3}(Z|[+-]\d\d:\d\d| am| pm)?", fullmatch=True)
)
def test_any_text_is_a_moment_of_the_ride_or_refused(text: str) -> None:
    for span in (UNDATED, LOCAL, MORNING, IN_UTC):
        try:
            moment = read_time(text, span)
        except UsageError:
            continue
        assert 0.0 <= moment.at_s <= span.duration_s


@given(st.integers(0, 2049))
def test_a_time_as_ridelog_shows_it_is_read_back(at_s: int) -> None:
    for span in (UNDATED, LOCAL, MORNING, IN_UTC):
        assert read_time(words.elapsed(float(at_s)), span).at_s == at_s
        moment = clock_of(span, float(at_s))
        if moment is not None:
            assert read_time(moment.isoformat(), span).at_s == at_s


@pytest.mark.parametrize(
    "text", ["2052", "34:20", "0:35:00", "999:59:59", "+40:00", "T08:00", "2026-05-24T09:10", "T12:00"]
)
def test_a_time_outside_the_ride_is_refused_with_its_span(text: str) -> None:
    with pytest.raises(UsageError, match="outside the ride") as caught:
        read_time(text, MORNING)
    assert "from 0:00:00 to 0:34:10 (09:05:12 to 09:39:22 on 2026-05-23, +02:00)" in caught.value.found
    assert MORNING.ride in caught.value.where


def test_the_last_second_counts_up_to_the_end() -> None:
    # The end of the ride is shown as 0:34:10; 34:10.4 lies within the second after it.
    assert read_time("34:10.4", UNDATED).at_s == 2050.0
    with pytest.raises(UsageError):
        read_time("34:11", UNDATED)


@pytest.mark.parametrize(
    ("text", "at_s"),
    [
        ("T09:10", 288.0), ("T09:10:12", 300.0), ("09:10:12+02:00", 300.0), ("07:10:12Z", 300.0),
        ("7:10:12 UTC", 300.0),
        ("2026-05-23T09:10:12", 300.0), ("2026-05-23 09:10:12", 300.0), ("2026-05-23T07:10:12Z", 300.0),
        ("9:10:12 am", 300.0), ("9:10:12", 300.0), ("T09:05", 0.0), ("T09:10:12.5", 300.5),
    ],
)  # fmt: skip
def test_times_of_day(text: str, at_s: float) -> None:
    moment = read_time(text, MORNING)
    assert moment.at_s == at_s
    assert moment.clock is not None


def test_what_is_both_is_refused_with_both() -> None:
    with pytest.raises(UsageError, match="could be") as caught:
        read_time("09:38", MORNING)
    assert "--at +0:09:38" in caught.value.to_do
    assert "--at 2026-05-23T09:38:00+02:00" in caught.value.to_do


def test_each_way_out_of_a_double_meaning_is_a_time_that_names_one_moment() -> None:
    with pytest.raises(UsageError, match="could be") as caught:
        read_time("9:20", MORNING)
    ways = [part.rstrip(".") for part in caught.value.to_do.split("--at ")[1:]]
    assert [read_time(way.removesuffix(" or ").strip(), MORNING).at_s for way in ways] == [560.0, 888.0]


def test_a_time_of_day_needs_a_zone_where_the_log_knows_utc_only() -> None:
    for text in ("T11:10", "11:10", "2026-05-23T11:10"):
        with pytest.raises(UsageError, match="UTC only") as caught:
            read_time(text, IN_UTC)
        assert "--timezone" in caught.value.to_do
        assert read_time(text if text != "11:10" else "T11:10", IN_UTC, "+02:00").at_s == 288.0
    # Nobody notes the time of day at night, and this is how ridelog writes a moment of the ride.
    assert read_time("0:11:10", IN_UTC).at_s == 670.0
    assert read_time("+11:10", IN_UTC).at_s == 670.0
    assert read_time("T09:10Z", IN_UTC).at_s == 288.0
    with pytest.raises(UsageError, match="no time zone"):
        read_time("T11:10", IN_UTC, "Nowhere/City")


def test_a_clock_whose_zone_nobody_knows_is_read_as_it_shows() -> None:
    assert read_time("T09:10:12", LOCAL).at_s == 300.0
    for text, zone in (("T09:10:12+02:00", None), ("T07:10:12Z", None), ("T09:10:12", "+02:00")):
        with pytest.raises(UsageError, match="log's own clock is not known") as caught:
            read_time(text, LOCAL, zone)
        assert "ridelog edit" in caught.value.to_do


def test_a_ride_without_a_date_has_no_time_of_day() -> None:
    for text in ("T09:10", "09:10Z", "2026-05-23T09:10", "9:10 am"):
        with pytest.raises(UsageError, match="has no date") as caught:
            read_time(text, UNDATED)
        assert "ridelog edit" in caught.value.to_do


def test_an_hour_that_comes_twice_is_asked() -> None:
    begin = datetime(2026, 10, 25, 1, 30, tzinfo=EUROPE)
    span = Span("r", 3 * 3600.0, begin, EUROPE)
    with pytest.raises(UsageError, match="could be") as caught:
        read_time("T02:15", span)
    assert "2026-10-25T02:15:00+02:00" in caught.value.to_do
    assert "2026-10-25T02:15:00+01:00" in caught.value.to_do
    assert read_time("2026-10-25T02:15:00+02:00", span).at_s == 2700.0
    assert read_time("2026-10-25T02:15:00+01:00", span).at_s == 6300.0
    assert read_time("T03:15", span).at_s == 9900.0  # one hour later than the wall says


def test_an_hour_that_the_clocks_skip_is_told() -> None:
    span = Span("r", 3 * 3600.0, datetime(2026, 3, 29, 1, 30, tzinfo=EUROPE), EUROPE)
    with pytest.raises(UsageError, match="skip that hour"):
        read_time("T02:15", span)
    assert read_time("T03:15", span).at_s == 2700.0


def test_a_ride_over_midnight_and_one_of_two_days() -> None:
    span = Span("r", 4 * 3600.0, datetime(2026, 5, 23, 22, 0, tzinfo=TWO), TWO)
    assert read_time("T23:00", span).at_s == 3600.0
    assert read_time("T01:00", span).at_s == 3 * 3600.0
    long = Span("r", 30 * 3600.0, datetime(2026, 5, 23, 8, 0, tzinfo=TWO), TWO)
    with pytest.raises(UsageError, match="could be") as caught:
        read_time("T09:00", long)
    assert "2026-05-24T09:00:00+02:00" in caught.value.to_do
    assert read_time("2026-05-24T09:00", long).at_s == 25 * 3600.0


def test_the_ends_of_the_calendar_are_no_trouble() -> None:
    for begin in (datetime(1970, 1, 1, tzinfo=TWO), datetime(9999, 12, 24, 23, 0, tzinfo=TWO)):
        span = Span("r", 100.0, begin, TWO)
        assert read_time("50", span).at_s == 50.0
        with pytest.raises(UsageError):
            read_time("T12:00", span)
