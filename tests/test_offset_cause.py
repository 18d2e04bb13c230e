"""What an offset between two clocks is put down to; leap seconds as IERS Bulletin C announced them (from memory)."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.offset import Offset
from ridelog.offset.cause import leap_seconds, likely_cause

DAY = datetime(2026, 5, 9, tzinfo=UTC)


@pytest.mark.parametrize(
    ("day", "seconds"),
    [
        ("2006-01-01", 14),
        ("2008-12-31", 14),
        ("2009-01-01", 15),
        ("2012-06-30", 15),
        ("2012-07-01", 16),
        ("2015-07-01", 17),
        ("2016-12-31", 17),
        ("2017-01-01", 18),
        ("2026-05-09", 18),
    ],
)
def test_leap_seconds_of_the_day(day: str, seconds: int) -> None:
    assert leap_seconds(datetime.fromisoformat(day).replace(tzinfo=UTC)) == seconds


def test_leap_seconds_of_an_unknown_day_are_todays() -> None:
    assert leap_seconds(None) == 18


@pytest.mark.parametrize(
    ("apart_s", "says"),
    [
        (18.02, "18 s is what GPS time and UTC differ by"),
        (-17.9, "18 s is what GPS time and UTC differ by"),
        (17.0, ""),
        (37 * 60.0, ""),
        (3600.1, "1 h is a time zone"),
        (-7200.0, "2 h is a time zone"),
        (12_600.0, "3.5 h is a time zone"),
        (3600.0 + 90.0, "the other 90.0 s a clock that was off"),
        (3600.0 + 400.0, ""),
        (7168 * 86_400.0 + 3.0, "1,024 weeks"),
        (-7168 * 86_400.0, "1,024 weeks"),
        (400 * 86_400.0, "wrong day"),
        (86_400.0, "wrong day"),
        (25.0 * 3600.0, "25 h is a time zone"),  # from the westernmost to nearly the easternmost zone
        (0.3, ""),
    ],
)
def test_causes(apart_s: float, says: str) -> None:
    found = likely_cause(apart_s, 0.3, DAY)
    assert says in found
    assert bool(says) == bool(found)


@given(st.floats(-4000.0, 4000.0), st.floats(-300.0, 300.0), st.floats(-4000.0, 4000.0))
def test_turning_and_shifting_an_answer_keeps_what_it_says(offset_s: float, ppm: float, shift_s: float) -> None:
    one = Offset(offset_s, ppm, 1.0, 0.01, "aligned", "", candidates_s=(offset_s,))
    t_s = np.linspace(0.0, 5000.0, 11)
    np.testing.assert_allclose(one.inverse().to_reference(one.to_reference(t_s)), t_s, atol=1e-8)
    # The other clock had shift_s added before it was compared.
    np.testing.assert_allclose(one.after_shift(shift_s).to_reference(t_s), one.to_reference(t_s + shift_s), atol=1e-8)


def test_an_answer_that_is_open_stays_open() -> None:
    one = Offset(None, None, 0.1, None, "ambiguous", "", candidates_s=(1.0, 661.0))
    assert one.inverse().candidates_s == (-1.0, -661.0)
    assert one.after_shift(10.0).candidates_s == (11.0, 671.0)
    with pytest.raises(ValueError, match="not aligned"):
        one.inverse().to_reference(np.zeros(1))
