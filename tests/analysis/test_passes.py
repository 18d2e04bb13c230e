"""Repeated stretches from positions alone: tracks made by hand, ridden fast and slow, with a receiver's errors."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from tracks import AT, back, joined, line, loop, measured, on_earth, part, ridden

from ridelog.analysis.passes import Repeats, repeats
from ridelog.analysis.passes_follow import LEAST_M, follow
from ridelog.analysis.passes_way import MARK_M, Origin, way


def laps(found: Repeats, number: int = 0) -> list[float]:
    """Metres of each pass of the longest stretch."""
    return [one.to_m - one.from_m for one in found.stretches[number].passes]


# -- marks -----------------------------------------------------------------------------------------------------------


def test_marks_are_ten_metres_of_geodesic_apart() -> None:
    """Against the geodesic of pyproj (Karney's method)."""
    one = ridden(line(4000.0), rate_hz=1.0)
    _, _, steps = Geod(ellps="WGS84").inv(one.lon_deg[:-1], one.lat_deg[:-1], one.lon_deg[1:], one.lat_deg[1:])
    assert np.median(steps) == pytest.approx(MARK_M, abs=0.05)
    assert one.covered_m == pytest.approx(np.sum(steps), rel=0.005)


def test_the_way_is_the_same_at_any_speed_and_rate() -> None:
    """Bends are cut a little, by less than two in a hundred, whatever the speed."""
    true = loop(3000.0, seed=3)
    for speed in (3.0, 9.0, 20.0):
        for rate in (1.0, 5.0, 10.0):
            assert ridden(true, speed_mps=speed, rate_hz=rate).covered_m == pytest.approx(3000.0, rel=0.02)


@pytest.mark.parametrize("speed_logged", [True, False])
def test_standing_adds_no_way(speed_logged: bool) -> None:
    one = ridden(
        line(2000.0), rate_hz=1.0, noise_m=3.0, stops=((700.0, 300.0), (1500.0, 120.0)), speed_logged=speed_logged
    )
    assert one.covered_m == pytest.approx(2000.0, rel=0.06)
    assert one.t_s[-1] > 600.0


def test_a_jump_of_the_receiver_is_no_way() -> None:
    t_s = np.arange(400.0)
    lat, lon = on_earth(9.0 * t_s, np.where(t_s < 200.0, 0.0, 5000.0))
    one = way(t_s, lat, lon, np.ones(399, dtype=np.bool_))
    assert one.covered_m == pytest.approx(3600.0, rel=0.02)
    assert np.unique(one.piece).size == 2


def test_too_little_to_mark() -> None:
    none = np.zeros(0)
    assert way(none, none, none, np.zeros(0, dtype=np.bool_)).size == 0
    assert repeats([]).stretches == ()
    assert repeats([way(none, none, none, np.zeros(0, dtype=np.bool_))]).stretches == ()
    single = way(np.array([0.0, 1.0]), np.array([43.0, 43.0]), np.array([5.0, 5.0]), np.array([True]))
    assert repeats([single, single]).stretches == ()


# -- what repeats ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("noise_m", [0.0, 2.0, 5.0])
@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
def test_laps_of_a_loop(noise_m: float, rate_hz: float) -> None:
    path = loop(3000.0, seed=1)
    track = ridden(
        joined(path, path, path, part(path, 0.0, 1200.0)), rate_hz=rate_hz, noise_m=noise_m, wander_m=0.6 * noise_m
    )
    found = repeats([track])
    assert len(found.stretches) == 1
    one = found.stretches[0]
    assert one.loop
    assert one.length_m == pytest.approx(3000.0, rel=0.03)
    assert [each.full for each in one.passes] == [True, True, True, False]
    assert laps(found)[:3] == pytest.approx([3000.0] * 3, rel=0.03)
    assert laps(found)[3] == pytest.approx(1200.0, rel=0.1)
    assert [each.number for each in one.passes] == [1, 2, 3, 4]


def test_slow_and_fast_passes_with_stops_are_the_same_ground() -> None:
    path = loop(2500.0, seed=2)
    slow = ridden(path, speed_mps=3.0, noise_m=3.0, stops=((900.0, 200.0),), seed=1)
    fast = ridden(path, speed_mps=18.0, rate_hz=1.0, noise_m=3.0, seed=2)
    found = repeats([slow, fast])
    assert len(found.stretches) == 1
    assert [each.way for each in found.stretches[0].passes] == [0, 1]
    assert min(each.compared_m for each in found.stretches[0].passes) > 2300.0


def test_a_hole_in_the_log_parts_no_lap() -> None:
    path = loop(3000.0, seed=4)
    track = ridden(joined(path, path, path), noise_m=2.0, holes_s=((400.0, 430.0), (800.0, 850.0)))
    one = repeats([track]).stretches[0]
    assert one.loop
    assert [each.full for each in one.passes] == [True] * 3
    assert [each.compared_m < 2800.0 for each in one.passes] == [False, True, True]


def test_the_other_direction_is_another_stretch() -> None:
    path = loop(3000.0, seed=5)
    found = repeats([ridden(joined(path, back(path)), noise_m=3.0)])
    assert found.stretches == ()
    assert found.opposed_m[0] == pytest.approx(3000.0, rel=0.1)
    both = repeats([ridden(joined(path, path, back(path), back(path)), noise_m=2.0)])
    assert len(both.stretches) == 2
    assert all(one.loop and one.against_m > 2700.0 for one in both.stretches)


def test_out_and_back_is_told_apart() -> None:
    road = line(2500.0, heading_deg=30.0)
    found = repeats([ridden(joined(road, back(road)), noise_m=3.0)])
    assert found.stretches == ()
    assert found.opposed_m[0] > 2000.0
    twice = repeats([ridden(joined(road, back(road), road, back(road)), noise_m=3.0)])
    assert [(len(one.passes), one.loop) for one in twice.stretches] == [(2, False), (2, False)]
    assert [one.against_m > 2000.0 for one in twice.stretches] == [True, True]
    assert [one.length_m for one in twice.stretches] == pytest.approx([2500.0] * 2, rel=0.04)


def test_crossings_and_eights_are_no_repeat() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 4001)
    eight = measured((np.sin(turn), np.sin(2.0 * turn) / 2.0), 3000.0)
    assert repeats([ridden(eight, noise_m=4.0)]).stretches == ()
    assert repeats([ridden(line(3000.0)), ridden(line(3000.0, 60.0, (1000.0, -1000.0)))]).stretches == ()
    twice = repeats([ridden(joined(eight, eight), noise_m=3.0)])
    assert len(twice.stretches) == 1
    assert twice.stretches[0].loop
    assert laps(twice) == pytest.approx([3000.0] * 2, rel=0.04)


def test_a_short_shared_piece_is_no_repeat_and_a_long_one_is() -> None:
    shared = line(1000.0)
    for length_m, number in ((LEAST_M - 80.0, 0), (LEAST_M + 200.0, 1)):
        piece = part(shared, 0.0, length_m)
        away = line(800.0, -50.0, (float(piece[0][-1]), float(piece[1][-1])))
        other = line(800.0, 50.0, (float(piece[0][-1]), float(piece[1][-1])))
        found = repeats([ridden(joined(piece, away)), ridden(joined(piece, other), speed_mps=6.0)])
        assert len(found.stretches) == number


def test_a_lap_that_starts_elsewhere_is_a_lap() -> None:
    path = loop(3000.0, seed=6)
    first = ridden(joined(path, path), noise_m=2.0, seed=1)
    turned = joined(part(path, 1500.0, 3000.0), path, part(path, 0.0, 1500.0))
    second = ridden(turned, noise_m=2.0, seed=2)
    one = repeats([first, second]).stretches[0]
    assert one.loop
    assert [(each.way, each.full) for each in one.passes] == [(0, True), (0, True), (1, True), (1, True)]


def test_rides_that_share_a_part_of_their_way() -> None:
    road = line(4000.0)
    rides = [
        ridden(part(road, 0.0, 3000.0), noise_m=2.0, seed=1),
        ridden(part(road, 1000.0, 4000.0), noise_m=2.0, seed=2, rate_hz=1.0),
        ridden(part(road, 1000.0, 3000.0), noise_m=2.0, seed=3),
    ]
    found = repeats(rides)
    assert len(found.stretches) == 1
    assert found.stretches[0].length_m == pytest.approx(2000.0, rel=0.1)
    assert [each.way for each in found.stretches[0].passes] == [0, 1, 2]


def test_over_the_180th_meridian() -> None:
    path = loop(3000.0, seed=7)
    found = repeats([ridden(joined(path, path), at=(-17.0, 179.999), noise_m=2.0)])
    assert found.stretches[0].loop
    assert len(found.stretches[0].passes) == 2


# -- properties ------------------------------------------------------------------------------------------------------


@settings(max_examples=25)
@given(turn=st.floats(0.0, 360.0), seed=st.integers(0, 50), lat=st.floats(-60.0, 60.0))
def test_a_track_may_be_turned_and_moved(turn: float, seed: int, lat: float) -> None:
    path = loop(2000.0, seed=seed)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    turned = (path[0] * c - path[1] * s, path[0] * s + path[1] * c)
    one = repeats([ridden(joined(turned, turned), at=(lat, 10.0))]).stretches
    assert [each.loop for each in one] == [True]
    assert [each.full for each in one[0].passes] == [True, True]


@settings(max_examples=25)
@given(seed=st.integers(0, 50), cut_m=st.floats(300.0, 1800.0))
def test_the_other_way_round_has_the_same_laps(seed: int, cut_m: float) -> None:
    path = loop(2000.0, seed=seed)
    there = joined(path, path, part(path, 0.0, cut_m))
    for one in (there, back(there)):
        found = repeats([ridden(one, noise_m=2.0, seed=seed)])
        assert len(found.stretches) == 1
        full = [each for each in found.stretches[0].passes if each.full]
        assert len(full) == 2


@settings(max_examples=25)
@given(seed=st.integers(0, 50), cut=st.floats(0.2, 0.8))
def test_a_ride_cut_in_two_shares_what_it_shared_with_itself(seed: int, cut: float) -> None:
    path = loop(2500.0, seed=seed)
    whole = joined(path, path)
    middle = cut * 5000.0
    halves = [ridden(part(whole, 0.0, middle), seed=1), ridden(part(whole, middle, 5000.0), seed=2)]
    shared = sum(each.compared_m for one in repeats(halves).stretches for each in one.passes[1:])
    # A piece of under a fifth of a stretch that was ridden twice is told with the whole or not at all.
    assert 1900.0 <= shared <= 2600.0


@settings(max_examples=20)
@given(seed=st.integers(0, 30), number=st.integers(2, 4))
def test_every_pass_is_in_its_ride_and_on_the_ground(seed: int, number: int) -> None:
    path = loop(1500.0, seed=seed)
    ways = [ridden(joined(*[path] * number), noise_m=4.0, seed=seed + k, rate_hz=1.0) for k in range(2)]
    found = repeats(ways)
    origin = Origin(*AT)
    for one in found.stretches:
        ground = np.column_stack(origin.plane_m(ways[one.way].lat_deg, ways[one.way].lon_deg))
        for each in one.passes:
            assert 0 <= each.first <= each.last < ways[each.way].size
            assert each.start_s <= each.end_s
            assert each.compared_m <= each.to_m - each.from_m + 1e-9
            mine = np.column_stack(origin.plane_m(ways[each.way].lat_deg, ways[each.way].lon_deg))
            near = [np.hypot(*(ground - place).T).min() for place in mine[each.first : each.last + 1 : 7]]
            assert float(np.median(near)) < 20.0
        spans = sorted((each.way, each.first, each.last) for each in one.passes)
        assert all(a[0] != b[0] or a[2] <= b[1] for a, b in pairwise(spans))


def test_no_mark_is_followed_before_it_was_ridden() -> None:
    path = loop(1000.0, seed=9)
    found = follow([ridden(joined(*[path] * 4), noise_m=3.0)])
    marks = np.arange(found.ground.size)
    assert (found.ground <= marks).all()
    assert (found.ground[found.ground] == found.ground).all()
