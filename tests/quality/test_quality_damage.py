"""Whatever stands in the columns, the rules end, and their marks are in order."""

from __future__ import annotations

import numpy as np
import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.channels import CHANNELS, TIME
from ridelog.intervals import Interval
from ridelog.quality import find_marks
from ridelog.ride import ChannelInfo

NAMES = [*(name for name, channel in CHANNELS.items() if channel.kind != "time"), "coolant_c.2", "throttle_pct.2"]


@st.composite
def frames(draw: st.DrawFn) -> tuple[pl.DataFrame, dict[str, ChannelInfo], tuple[Interval, ...]]:
    rows = draw(st.integers(0, 900))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    step_s = draw(st.sampled_from([0.05, 0.3, 1.0, 7.0]))
    t_s = np.cumsum(rng.uniform(0.2, 1.8, rows) * step_s)
    t_s -= t_s[0] if rows else 0.0
    gaps: tuple[Interval, ...] = ()
    if rows > 20 and draw(st.booleans()):
        t_s[rows // 2 :] += draw(st.sampled_from([30.0, 5e4, 3e9]))
        gaps = (Interval(float(t_s[rows // 2 - 1]), float(t_s[rows // 2])),)
    columns: dict[str, pl.Series] = {TIME: pl.Series(TIME, t_s, dtype=pl.Float64)}
    infos = {}
    for name in draw(st.lists(st.sampled_from(NAMES), unique=True, max_size=8)):
        kind = draw(st.sampled_from(["constant", "plain", "steps", "wild", "huge", "zero"]))
        y = {
            "constant": np.full(rows, 90.0),
            "plain": 50.0 + 40.0 * np.sin(t_s / 30.0),
            "steps": np.round(rng.normal(0.0, 1.0, rows).cumsum()),
            "wild": rng.normal(0.0, 1e4, rows),
            "huge": rng.choice([-1.7e308, 1.7e308, 0.0, 5e-324, 90.0], rows),
            "zero": np.zeros(rows),
        }[kind]
        lost = rng.random(rows) < draw(st.sampled_from([0.0, 0.0, 0.3, 0.98]))
        columns[name] = pl.Series(name, np.where(lost, np.nan, y), dtype=pl.Float64).fill_nan(None)
        held = draw(st.booleans())
        rate = draw(st.sampled_from([None, 0.2, 1.0, 20.0]))
        infos[name] = ChannelInfo(name, "", rate, draw(st.sampled_from([None, 0.1, 1.0])), 1.0, held, "logged", "x")
    return pl.DataFrame(columns), infos, gaps


@settings(max_examples=120)
@given(frames())
def test_marks_are_in_order(case: tuple[pl.DataFrame, dict[str, ChannelInfo], tuple[Interval, ...]]) -> None:
    frame, infos, gaps = case
    end_s = float(frame[TIME][-1]) if frame.height else 0.0
    for mark in find_marks(frame, infos, gaps, (300.0, 200.0, 120.0)):
        assert mark.channel in infos
        assert 0.0 <= mark.start_s < mark.end_s <= np.nextafter(end_s, np.inf), mark
        assert "nan" not in mark.detail
        assert "{" not in mark.detail
