"""The throttle's stops, learned from a ride."""

from __future__ import annotations

import numpy as np
import pytest

from ridelog.analysis.throttle import IDLE_OPENING_PCT, learn_stops, learn_stretches, reading_at_idle

STEP_S = 0.2


def hand(open_at: float, closed_at: float, *, full: bool, seed: int = 1) -> np.ndarray:
    """Ten minutes of a busy hand; `full` adds five spells of four seconds against the open stop."""
    draw = np.random.default_rng(seed)
    n = int(600 / STEP_S)
    wander = np.abs((np.cumsum(draw.normal(0.0, 0.05, n)) % 2.0) - 1.0)  # between two limits, without sticking to them
    opening = np.clip(1.2 * wander - 0.4, 0.0, None)
    if full:
        for start in range(100, 600, 100):
            opening[int(start / STEP_S) : int((start + 4) / STEP_S)] = 1.0
    return closed_at + opening * (open_at - closed_at) + draw.normal(0.0, 0.2, n)


@pytest.mark.parametrize(("closed", "opened"), [(0.0, 100.0), (3.2, 92.0), (1.0, 78.0), (12.0, 96.0)])
def test_both_stops_are_found(closed: float, opened: float) -> None:
    stops = learn_stops(hand(opened, closed, full=True), STEP_S)
    assert stops.closed_learned
    assert stops.open_learned
    assert stops.closed_pct == pytest.approx(closed, abs=0.7)
    assert stops.open_pct == pytest.approx(opened, abs=0.7)


def test_a_throttle_never_opened_fully_leaves_the_loggers_scale() -> None:
    stops = learn_stops(hand(100.0, 0.0, full=False), STEP_S)
    assert not stops.open_learned
    assert stops.open_pct == 100.0


def test_the_furthest_a_gentle_rider_went_is_not_a_stop() -> None:
    pct = hand(100.0, 0.0, full=False)
    for start in (100, 200, 300):  # held near, but not at, one place
        part = slice(int(start / STEP_S), int((start + 10) / STEP_S))
        pct[part] = np.linspace(70.0, 80.0, pct[part].size)
    assert not learn_stops(pct, STEP_S).open_learned


def test_holes_and_spikes_do_not_move_the_stops() -> None:
    pct = hand(95.0, 2.0, full=True)
    pct[::7] = np.nan
    pct[[11, 500]] = 104.0
    stops = learn_stops(pct, STEP_S)
    assert stops.open_pct == pytest.approx(95.0, abs=0.7)
    assert stops.closed_pct == pytest.approx(2.0, abs=0.7)


def test_opening_runs_from_nought_to_one() -> None:
    stops = learn_stops(hand(92.0, 3.0, full=True), STEP_S)
    found = stops.opening(np.array([0.0, stops.closed_pct, stops.open_pct, 100.0, np.nan]))
    assert found[:4].tolist() == [0.0, 0.0, 1.0, 1.0]
    assert np.isnan(found[4])


def test_no_throttle_no_stops() -> None:
    stops = learn_stops(np.full(100, np.nan), STEP_S)
    assert not stops.closed_learned
    assert not stops.open_learned


def test_what_reads_open_at_idle_is_no_throttle() -> None:
    n = 600
    speed = np.where(np.arange(n) < 100, 0.0, 10.0)
    rpm = np.where(speed > 0.0, 5000.0, 1700.0)
    flap = np.full(n, 84.0)
    real = np.where(speed > 0.0, 60.0, 1.0)
    assert reading_at_idle(flap, rpm, speed, STEP_S) == 84.0 > IDLE_OPENING_PCT
    assert reading_at_idle(real, rpm, speed, STEP_S) == 1.0
    assert reading_at_idle(flap, rpm, np.full(n, 10.0), STEP_S) is None


def test_a_stretch_that_never_opened_fully_takes_the_span_of_one_that_did() -> None:
    opening = np.concatenate([np.zeros(300), np.full(300, 0.4), np.ones(300), np.zeros(300), np.full(300, 0.5)])
    shift = np.where(np.arange(1500) >= 900, 7.0, 0.0)
    stops, found = learn_stretches(5.0 + shift + 85.0 * opening, 0.2, [0, 900], 10.0)
    assert [one.closed_pct for one in stops] == pytest.approx([5.0, 12.0])
    assert [one.open_pct for one in stops] == pytest.approx([90.0, 97.0])
    assert all(one.open_learned for one in stops)
    np.testing.assert_allclose(found, opening, atol=1e-9)
