"""One ride looked at more closely: worked by hand on a ride made by hand, and held to what must be so of any ride."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog import closer, closer_rates
from ridelog.advice import KINDS
from ridelog.closer import HotMinute
from ridelog.words import closer as words


@pytest.fixture(scope="module")
def study(fakes: ModuleType) -> Any:
    return fakes.make_view(1800.0, rate_hz=5.0, gap=False).study


def with_series(study: Any, **series: Any) -> Any:
    """The same ride with other traces; None takes one out."""
    kept = {**study.found.traces.series, **series}
    kept = {name: values for name, values in kept.items() if values is not None}
    return replace(study, found=replace(study.found, traces=replace(study.found.traces, series=kept)))


def with_map(study: Any, source: str | None) -> Any:
    analysis = study.found.analysis
    facts = {**(analysis.facts or {}), "map": {"source": source}}
    return replace(study, found=replace(study.found, analysis=replace(analysis, facts=facts)))


def test_the_hottest_minute_is_where_it_was_put(study: Any) -> None:
    t = study.found.traces.t_s
    found = closer.hottest_minute(with_series(study, coolant_c=np.where((t >= 600.0) & (t < 660.0), 111.0, 90.0)))
    assert found is not None
    assert (found.start_s, found.end_s) == (pytest.approx(600.0), pytest.approx(660.0))
    assert found.mean_c == pytest.approx(111.0)
    assert found.known_share == 1.0


def test_a_minute_mostly_unknown_is_not_the_hottest(study: Any) -> None:
    t = study.found.traces.t_s
    coolant = np.where((t >= 600.0) & (t < 630.0), 140.0, np.where((t >= 570.0) & (t < 660.0), np.nan, 90.0))
    found = closer.hottest_minute(with_series(study, coolant_c=coolant))
    assert found is not None
    assert found.mean_c == pytest.approx(90.0)
    assert closer.hottest_minute(with_series(study, coolant_c=np.full(t.size, np.nan))) is None
    assert closer.hottest_minute(with_series(study, coolant_c=None)) is None


def test_the_minute_tells_the_map_and_a_standing_engine(study: Any) -> None:
    t = study.found.traces.t_s
    hot = np.where((t >= 600.0) & (t < 660.0), 111.0, 90.0)
    series = {"coolant_c": hot, "map_conservative": (t < 615.0) * 1.0, "engine_rpm": np.where(t < 645.0, 4000.0, 0.0)}
    found = closer.hottest_minute(with_series(study, **series))
    assert found is not None
    assert found.conservative_share == pytest.approx(0.25)
    assert found.off_share == pytest.approx(0.25)
    said = words.hottest(found, "")
    assert "The conservative map was on for 25 % of it." in said
    assert "engine was off for 25 % of it" in said
    untold = closer.hottest_minute(with_series(study, coolant_c=hot, map_conservative=None))
    assert untold is not None
    assert "Which map was on is not known." in words.hottest(untold, "")


def test_the_minute_names_its_ground_as_a_sentence_does() -> None:
    for kind in KINDS:
        minute = HotMinute(600.0, 660.0, 111.0, 112.0, 1.0, None, 12.0, (kind,), None, None)
        said = words.hottest(minute, "")
        ground = said.partition("It falls on ")[2].partition(",")[0].partition(".")[0]
        assert ground.startswith(("a ", "deep-drag ground")), said


def test_levels_fall_as_they_rise_and_a_sensor_error_is_a_threshold_moved(study: Any) -> None:
    rows = closer.levels(study)
    assert {row.name for row in rows if row.name} == {name for name, _ in study.known.bike.thresholds}
    seconds = [row.seconds for row in rows]
    assert seconds == sorted(seconds, reverse=True)
    for row in rows:
        assert row.if_high_s <= row.seconds <= row.if_low_s
        assert row.longest_s <= row.seconds
    # 2 C more and 2 C less on thresholds 5 C apart: the one above never outlasts the one below
    assert all(one.if_high_s >= two.if_low_s for one, two in pairwise(rows) if two.name is None)


def test_a_level_that_hangs_on_the_sensor_is_said_to(study: Any) -> None:
    rows = closer.levels(study)
    hanging = [row for row in rows if row.name and not row.sure]
    said = words.sensitive(rows)
    for row in rows:
        if row.name:
            at = f"{row.threshold_c:g} C ({row.name})"
            before, _, _ = said.partition("the answer stays the same")
            assert at in said
            assert (at in before.split("hangs on that")[0] and "hangs on that" in said) == (row in hanging)


@settings(max_examples=25)
@given(st.floats(-0.9, 0.9))
def test_moving_a_threshold_a_little_moves_the_time_the_other_way(fakes: ModuleType, by_c: float) -> None:
    coolant = closer.coolant_of(fakes.make_view(1200.0, rate_hz=2.0, gap=False).study)
    at, moved = (closer.above(coolant, value).total_s for value in (100.5, 100.5 + by_c))
    assert moved <= at if by_c > 0 else moved >= at


def test_a_late_clock_makes_a_switch_in_time_a_late_one(study: Any) -> None:
    """A stretch of 220 s from 300 s on with 10 s to switch. On from 310 s to the end: a second late leaves 209 of
    210 s, a second early all of them."""
    (stretch,) = [one for one in study.found.analysis.segments if one.start_s == 300.0]
    t = study.found.traces.t_s
    analysis = replace(study.found.analysis, segments=(stretch,))
    made = with_series(study, map_conservative=(t >= 310.0) * 1.0)
    made = with_map(replace(made, found=replace(made.found, analysis=analysis)), "logged")
    early, middle, late = closer.by_clock(made)
    assert (early.shift_s, middle.shift_s, late.shift_s) == (-1.0, 0.0, 1.0)
    assert early.share == pytest.approx(1.0)
    assert middle.share == pytest.approx(1.0)
    assert late.share == pytest.approx(209.0 / 210.0, abs=2e-3)
    assert early.verdicts == middle.verdicts == late.verdicts == ("followed",)


def test_a_verdict_that_hangs_on_a_second_is_counted(study: Any) -> None:
    """On for the last 168.5 of 210 s after the time to switch, 80.2 %; a second late 79.8 %: followed, then late."""
    (stretch,) = [one for one in study.found.analysis.segments if one.start_s == 300.0]
    t = study.found.traces.t_s
    analysis = replace(study.found.analysis, segments=(stretch,))
    made = with_series(study, map_conservative=(t >= 351.5) * 1.0)
    made = with_map(replace(made, found=replace(made.found, analysis=analysis)), "logged")
    rows = closer.by_clock(made)
    assert [row.verdicts for row in rows] == [("followed",), ("followed",), ("late",)]
    assert "1 changes its verdict" in words.by_clock(rows, 0.8)


@pytest.mark.parametrize("source", ["notes", "inferred", None])
def test_a_map_that_was_not_logged_is_not_moved_by_a_second(study: Any, source: str | None) -> None:
    assert closer.by_clock(with_map(study, source)) == "not_logged"


def test_nothing_advised_hangs_on_no_clock(study: Any) -> None:
    analysis = replace(study.found.analysis, segments=())
    bare = replace(study, found=replace(study.found, analysis=analysis))
    assert closer.by_clock(bare) == "not_advised"


def test_time_above_is_shared_out_whole_between_the_maps(study: Any) -> None:
    found = closer.hot_by_map(study)
    assert found is not None
    over = closer.above(closer.coolant_of(study), found.threshold_c)
    assert found.standard_s + found.conservative_s + found.unknown_s == pytest.approx(over.total_s)
    blind = closer.hot_by_map(with_series(study, map_conservative=None))
    assert blind is not None
    assert blind.unknown_s == pytest.approx(over.total_s)
    assert "on a map that is not known" in words.by_map(blind)


def test_without_a_balance_nothing_is_told_of_load_and_air(study: Any) -> None:
    assert closer_rates.rates(study) is None
    assert closer_rates.follows(study) is None
    said = words.no_balance(study.found.analysis)
    assert said.startswith("Can't tell: ")
    assert study.found.analysis.heat.reason in said


def test_what_may_hide_is_split_into_estimated_and_blind(study: Any) -> None:
    analysis = study.found.analysis
    row = replace(analysis.exposure[0], estimated_s=30.0, estimated_low_s=10.0, estimated_high_s=50.0, unknown_s=40.0)
    told = words.hidden(replace(analysis, exposure=(row,)), analysis.ride.duration_s - 100.0)
    assert told[0].startswith("For 1 min 40 s of 30 min 00 s (6 %) the coolant was not logged")
    assert told[1] == "For 1 min 00 s of that the heat balance speaks:"
    assert "could hide there: 30 s (10 s to 50 s)" in told[2]
    assert told[3].startswith("For 40 s nothing speaks")
    assert words.hidden(analysis, analysis.ride.duration_s) == [words.ALL_KNOWN]


def test_sensors_are_told_by_what_was_marked(study: Any) -> None:
    mark = replace(study.found.analysis.quality[0], kind="sensors_disagree", detail="sensor 2 reads +4.0 C more")
    assert words.sensors(["coolant_c"], []) == [words.ONE_SENSOR]
    assert words.sensors(["coolant_c", "coolant_c.2"], []) == [words.AGREE]
    assert words.sensors(["coolant_c", "coolant_c.2"], [mark]) == ["Sensor 2 reads +4.0 C more."]
