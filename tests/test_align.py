"""Joining devices that share an absolute clock."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.align import Part, join
from ridelog.errors import InputRefused
from ridelog.intervals import Interval

START = datetime(2026, 5, 3, 8, tzinfo=UTC)


def part(
    name: str, offset_s: float, times: list[float], gaps: tuple[Interval, ...] = (), **columns: list[float]
) -> Part:
    frame = pl.DataFrame({"t_s": times, **columns})
    return Part(name, frame, START + timedelta(seconds=offset_s), gaps)


def test_rows_of_one_moment_share_a_row_and_nothing_is_filled() -> None:
    engine = part("engine.csv", 1.0, [0.0, 0.5, 1.0], coolant_c=[80.0, 81.0, 82.0])
    track = part("track.gpx", 0.0, [0.0, 1.0, 2.0], lat_deg=[1.0, 2.0, 3.0])
    joined = join([engine, track])
    assert joined.t_s.tolist() == [0.0, 1.0, 1.5, 2.0]
    assert joined.start == START
    assert joined.columns["coolant_c"].to_list() == [None, 80.0, 81.0, 82.0]
    assert joined.columns["lat_deg"].to_list() == [1.0, 2.0, None, 3.0]
    assert joined.origin == {"coolant_c": (0, "coolant_c"), "lat_deg": (1, "lat_deg")}


def test_a_channel_both_have_is_kept_twice() -> None:
    joined = join([part("a", 0, [0.0, 1.0], coolant_c=[1.0, 2.0]), part("b", 0, [0.0, 1.0], coolant_c=[3.0, 4.0])])
    assert joined.columns["coolant_c"].to_list() == [1.0, 2.0]
    assert joined.columns["coolant_c.2"].to_list() == [3.0, 4.0]
    assert joined.origin["coolant_c.2"] == (1, "coolant_c")
    assert joined.renamed == (("b, coolant_c", "coolant_c.2"),)


def test_what_was_derived_gives_way_to_what_was_logged() -> None:
    derived = Part(
        "a",
        pl.DataFrame({"t_s": [0.0, 1.0], "gps_speed_mps": [5.0, 5.0]}),
        START,
        (),
        derived=frozenset(["gps_speed_mps"]),
    )
    joined = join([derived, part("b", 0, [0.0, 1.0], gps_speed_mps=[6.0, 6.0])])
    assert joined.columns["gps_speed_mps"].to_list() == [6.0, 6.0]
    assert "gps_speed_mps.2" not in joined.columns


def test_a_gap_is_where_no_device_says_anything() -> None:
    one = part("a", 0, [0.0, 1.0, 50.0, 51.0], (Interval(1.0, 50.0),), coolant_c=[1.0, 2.0, 3.0, 4.0])
    two = part("b", 20, [0.0, 1.0, 2.0], lat_deg=[1.0, 2.0, 3.0])
    assert join([one, two]).gaps == (Interval(1.0, 20.0), Interval(22.0, 50.0))


@pytest.mark.parametrize(("apart_s", "says"), [(86_400, "23 h|24 h 00 min"), (7_200, "2 h 00 min"), (600, "10 min")])
def test_files_that_share_no_moment_are_refused(apart_s: int, says: str) -> None:
    """A day apart is another ride; whole hours apart is a wrong time zone: neither may be joined in silence."""
    with pytest.raises(InputRefused, match=says) as caught:
        join([part("a", 0, [0.0, 1.0], coolant_c=[1.0, 2.0]), part("b", apart_s, [0.0, 1.0], lat_deg=[1.0, 2.0])])
    assert "--timezone" in caught.value.to_do


@settings(deadline=None)
@given(
    st.lists(st.lists(st.integers(1, 5000), min_size=1, max_size=20), min_size=2, max_size=4),
    st.lists(st.integers(0, 10_000), min_size=4, max_size=4),
)
def test_every_sample_of_every_device_is_there_at_its_time(steps: list[list[int]], offsets: list[int]) -> None:
    parts = [part("all", 0, [0.0, 200.0], **{"raw.all": [1.0, 2.0]})]  # spans every other: they share its time
    for number, widths in enumerate(steps):
        times = np.concatenate(([0], np.cumsum(widths))) / 1000.0
        values = (np.arange(times.size) + 100.0 * number).tolist()
        parts.append(part(f"{number}", offsets[number] / 1000, times.tolist(), **{f"raw.{number}": values}))
    joined = join(parts)
    assert (np.diff(joined.t_s) > 0).all()
    for number, one in enumerate(parts[1:]):
        column = joined.columns[f"raw.{number}"]
        here = column.is_not_null().to_numpy()
        np.testing.assert_allclose(joined.t_s[here], one.samples["t_s"].to_numpy() + offsets[number] / 1000, atol=1e-6)
        assert column.drop_nulls().to_list() == one.samples[f"raw.{number}"].to_list()
