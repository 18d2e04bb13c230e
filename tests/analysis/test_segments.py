"""Where flagged stretches begin and end."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.advice import KINDS, Advice, default_advice, parse_advice
from ridelog.analysis.segments import find, longest_s
from ridelog.analysis.shapes import Signals, Stretch, Terrain
from ridelog.intervals import Interval, intersection, total_s

STEP_S = 0.2
T_S = np.arange(3000) / 5.0  # ten minutes


def within(*spans: tuple[float, float]) -> np.ndarray:
    return np.any([(a <= T_S) & (b > T_S) for a, b in spans], axis=0)


def signals(
    *,
    opening: np.ndarray | None = None,
    speed: np.ndarray | None = None,
    rpm: np.ndarray | None = None,
    slope: np.ndarray | None = None,
    drag: np.ndarray | None = None,
    smooth: np.ndarray | None = None,
) -> Signals:
    soil = None
    if drag is not None:
        smooth = drag if smooth is None else smooth
        share = np.full(drag.size, 0.3)
        soil = Terrain(np.arange(drag.size, dtype=np.float64), drag, drag, drag, smooth, share)
    return Signals(T_S, STEP_S, speed, slope, opening, rpm, soil)


def sheet(text: str) -> Advice:
    return parse_advice(f'schema = 1\nversion = "x"\n{text}', "x.advice.toml")


def spans(found: list[Stretch], kind: str) -> list[tuple[float, float]]:
    return [(round(one.start_s, 3), round(one.end_s, 3)) for one in found if one.kind == kind]


def test_wide_open_with_short_shuts_for_gear_changes() -> None:
    opening = np.where(within((100.0, 130.0)), 0.95, 0.2)
    opening[within((108.0, 109.0), (117.0, 118.4))] = 0.0
    assert spans(find(signals(opening=opening), default_advice(), []), "wide_open") == [(100.0, 130.0)]


def test_a_longer_shut_parts_it_and_short_parts_go() -> None:
    opening = np.where(within((100.0, 130.0)), 0.95, 0.2)
    opening[within((112.0, 115.0))] = 0.0
    assert spans(find(signals(opening=opening), default_advice(), []), "wide_open") == [(115.0, 130.0)]


def test_enter_and_leave_levels_differ() -> None:
    opening = np.full(T_S.size, 0.2)
    opening[within((100.0, 140.0))] = 0.75  # above the level to leave, never above the level to enter
    assert find(signals(opening=opening), default_advice(), []) == []
    opening[within((110.0, 111.0))] = 0.9
    assert spans(find(signals(opening=opening), default_advice(), []), "wide_open") == [(100.0, 140.0)]


def test_on_off_riding_is_not_wide_open() -> None:
    opening = np.where((T_S % 1.6) < 1.0, 1.0, 0.0)
    assert find(signals(opening=opening), default_advice(), []) == []


@pytest.mark.parametrize(("seconds", "expected"), [(14.8, 0), (15.0, 1), (15.2, 1)])
def test_the_shortest_that_counts(seconds: float, expected: int) -> None:
    opening = np.where(within((100.0, 100.0 + seconds)), 1.0, 0.0)
    assert len(find(signals(opening=opening), default_advice(), [])) == expected


def test_a_hole_in_the_data_is_never_bridged() -> None:
    opening = np.where(within((100.0, 140.0)), 1.0, 0.0)
    opening[within((119.0, 120.0))] = np.nan
    found = find(signals(opening=opening), default_advice(), [])
    assert spans(found, "wide_open") == [(100.0, 119.0), (120.0, 140.0)]


def test_a_stretch_never_reaches_into_a_gap_of_the_ride() -> None:
    opening = np.where(within((100.0, 140.0)), 1.0, 0.0)
    found = find(signals(opening=opening), default_advice(), [Interval(118.05, 119.55)])
    assert spans(found, "wide_open") == [(100.0, 118.05), (119.55, 140.0)]


def test_standing_needs_a_running_engine() -> None:
    speed = np.zeros(T_S.size)
    rpm = np.where(within((0.0, 200.0)), 1800.0, 0.0)
    found = find(signals(speed=speed, rpm=rpm), default_advice(), [])
    assert spans(found, "standstill") == [(0.0, 200.0)]
    assert find(signals(speed=speed), default_advice(), []) == []


def test_a_slow_climb_needs_both_slope_and_low_speed() -> None:
    steep = np.where(within((100.0, 200.0)), 0.12, 0.0)
    slow = np.where(within((150.0, 300.0)), 4.0, 15.0)
    found = find(signals(speed=slow, slope=steep), default_advice(), [])
    assert spans(found, "slow_climb") == [(150.0, 200.0)]


def test_the_stronger_reason_keeps_the_time_and_the_weaker_is_named() -> None:
    drag = np.where((np.arange(600) >= 120) & (np.arange(600) < 180), 0.3, 0.05)
    opening = np.where(within((100.0, 200.0)), 1.0, 0.0)
    found = find(signals(opening=opening, speed=np.full(T_S.size, 9.0), drag=drag), default_advice(), [])
    assert [(one.kind, one.start_s, one.end_s) for one in found] == [
        ("wide_open", 100.0, 120.0),
        ("heavy_drag", 120.0, 180.0),
        ("wide_open", 180.0, 200.0),
    ]
    assert [one.also for one in found] == [(), ("wide_open",), ()]


def seconds(*spans: tuple[float, float, float], otherwise: float = 0.05) -> np.ndarray:
    """One value a second: `spans` are start, end and value."""
    values = np.full(600, otherwise)
    for start, end, value in spans:
        values[int(start) : int(end)] = value
    return values


FAST = np.full(T_S.size, 9.0)


def test_the_longest_wide_open_run_is_not_the_length_of_the_stretch_around_it() -> None:
    """Drag held for 152 s, the throttle was wide open for 50 s of them: one stretch, and 50 s."""
    made = signals(opening=np.where(within((102.0, 152.0)), 0.98, 0.55), speed=FAST, drag=seconds((0, 152, 0.8)))
    found = find(made, default_advice(), [])
    assert [(one.kind, one.start_s, one.end_s, one.also) for one in found] == [
        ("heavy_drag", 0.0, 152.0, ("wide_open",))
    ]
    assert longest_s("wide_open", made, default_advice(), []) == pytest.approx(50.0)


def test_the_longest_run_is_whole_where_a_stronger_kind_cuts_the_stretch() -> None:
    made = signals(opening=np.where(within((100.0, 200.0)), 1.0, 0.0), speed=FAST, drag=seconds((120, 180, 0.3)))
    assert max(one.end_s - one.start_s for one in find(made, default_advice(), []) if one.kind == "wide_open") < 25.0
    assert longest_s("wide_open", made, default_advice(), []) == pytest.approx(100.0)
    assert longest_s("wide_open", signals(speed=FAST), default_advice(), []) == 0.0
    off = sheet('[[rule]]\nkind = "wide_open"\nmap = "none"\n')
    assert longest_s("wide_open", made, off, []) == 0.0


@pytest.mark.parametrize(("open_s", "named"), [(16.0, False), (30.0, False), (60.0, True), (152.0, True)])
def test_a_kind_is_named_beside_another_only_for_a_fair_share(open_s: float, named: bool) -> None:
    made = signals(
        opening=np.where(within((0.0, open_s)), 1.0, 0.4), speed=FAST, drag=seconds((0, 152, 0.3))
    )  # 16 s and 30 s are more than the rule's least duration, yet little of 152 s
    (found,) = find(made, default_advice(), [])
    assert found.kind == "heavy_drag"
    assert found.also == (("wide_open",) if named else ())


@pytest.mark.parametrize("beyond", [0.17, 0.05, np.nan])
def test_drag_is_not_carried_through_a_stretch_of_another_kind(beyond: float) -> None:
    """Sand up to 100 s, then wide open on ground that only the median or the lower level to leave still calls deep."""
    made = signals(
        opening=np.where(within((100.0, 150.0)), 0.98, 0.55),
        speed=np.where(T_S < 100.0, 10.0, 30.0),
        drag=seconds((0, 100, 0.84), (100, 150, beyond)),
        smooth=seconds((0, 100, 0.84), (100, 150, 0.17)),
    )
    found = find(made, default_advice(), [])
    assert [(one.kind, one.start_s, one.end_s) for one in found if one.start_s < 150.0] == [
        ("heavy_drag", 0.0, 100.0),
        ("wide_open", 100.0, 150.0),
    ]
    assert all(one.also == () or one.kind == "wide_open" for one in found)


def test_short_easy_ground_does_not_part_a_drag_stretch() -> None:
    """The lower level to leave still bridges what is no stretch of another kind."""
    made = signals(
        opening=np.where(within((100.0, 110.0)), 0.98, 0.55),
        speed=FAST,
        drag=seconds((0, 100, 0.3), (100, 110, 0.17), (110, 200, 0.3)),
    )
    assert spans(find(made, default_advice(), []), "heavy_drag") == [(0.0, 200.0)]


def test_what_is_left_over_too_short_goes() -> None:
    drag = np.where((np.arange(600) >= 110) & (np.arange(600) < 180), 0.3, 0.05)
    opening = np.where(within((100.0, 200.0)), 1.0, 0.0)
    found = find(signals(opening=opening, speed=np.full(T_S.size, 9.0), drag=drag), default_advice(), [])
    assert spans(found, "wide_open") == [(180.0, 200.0)]


def test_a_kind_switched_off_takes_no_time_from_others() -> None:
    drag = np.where((np.arange(600) >= 120) & (np.arange(600) < 180), 0.3, 0.05)
    opening = np.where(within((100.0, 200.0)), 1.0, 0.0)
    off = sheet('[[rule]]\nkind = "heavy_drag"\nmap = "none"\n')
    found = find(signals(opening=opening, speed=np.full(T_S.size, 9.0), drag=drag), off, [])
    assert [(one.kind, one.start_s, one.end_s, one.also) for one in found] == [("wide_open", 100.0, 200.0, ())]


def test_the_sheets_numbers_are_the_ones_used() -> None:
    opening = np.where(within((100.0, 110.0)), 0.6, 0.0)
    assert find(signals(opening=opening), default_advice(), []) == []
    own = sheet('[[rule]]\nkind = "wide_open"\nmin_throttle_pct = 55\nmin_duration_s = 8\n')
    assert spans(find(signals(opening=opening), own, []), "wide_open") == [(100.0, 110.0)]


@st.composite
def anything(draw: st.DrawFn) -> tuple[Signals, list[Interval]]:
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))

    def steps(levels: list[float], mean_s: float) -> np.ndarray:
        values = rng.choice(levels, 600)
        return np.repeat(values, rng.geometric(STEP_S / mean_s, 600))[: T_S.size].astype(np.float64)

    def padded(values: np.ndarray) -> np.ndarray:
        return np.resize(values, T_S.size)

    gaps = [
        Interval(float(a), float(a + b))
        for a, b in zip(rng.uniform(0, 580, 3), rng.uniform(1, 30, 3), strict=True)
        if draw(st.booleans())
    ]
    made = signals(
        opening=padded(steps([0.0, 0.4, 0.75, 1.0, 1.0, np.nan], 20.0)),
        speed=padded(steps([0.0, 4.0, 9.0, 22.0, 30.0, np.nan], 40.0)),
        rpm=padded(steps([0.0, 1800.0, 5000.0], 60.0)),
        slope=padded(steps([-0.1, 0.0, 0.07, 0.12, np.nan], 30.0)),
        drag=padded(steps([0.05, 0.18, 0.25, 0.3, np.nan], 30.0))[::5],
    )
    return made, gaps


@given(anything())
@settings(deadline=None, max_examples=60)
def test_rules_that_always_hold(case: tuple[Signals, list[Interval]]) -> None:
    made, gaps = case
    advice = default_advice()
    found = find(made, advice, gaps)
    assert all(a.end_s <= b.start_s + 1e-9 for a, b in pairwise(found))
    for one in found:
        assert one.kind in KINDS
        assert one.end_s - one.start_s >= advice.rule(one.kind).min_duration_s - 1e-6
        assert one.kind not in one.also
        assert all(longest_s(other, made, advice, gaps) > 0.0 for other in one.also)
        assert total_s(intersection([one.interval], gaps)) < 1e-9
