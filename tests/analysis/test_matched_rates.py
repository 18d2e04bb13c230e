"""Rates at matched load and speed: rides that the balance itself made, with a known change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from heat_rides import BOTH, FANNED, PLAIN, heated, mixed, theta, whole_degrees

from ridelog.analysis import matched
from ridelog.analysis.matched import LOAD_EDGES, SPEED_EDGES_MPS, WINDOW_S, Matched, Reading
from ridelog.analysis.thermal import FLOW, HEAT, NAMES, Conditions, Plant

Array = npt.NDArray[np.float64]
NO_DAYS: Array = np.zeros(len(NAMES))


def reading(
    seed: int,
    plant: Plant = PLAIN,
    *,
    days: Array = NO_DAYS,
    air_c: float = 20.0,
    step_c: float = 0.0,
    **changed: float,
) -> Reading:
    """A ride by the balance with changed parameters, read under the unchanged ones."""
    middle = theta(plant)
    values = middle.copy()
    for name, value in changed.items():
        values[NAMES.index(name)] += value
    ride = heated(plant, values, mixed(seed, 60.0, ambient_c=air_c))
    if step_c:
        ride = whole_degrees(ride, step_c)
    return matched.read(plant, ride, middle, days, 0.0)


@pytest.mark.parametrize("plant", [PLAIN, FANNED, BOTH])
def test_the_same_bike_on_two_rides_shows_no_difference(plant: Plant) -> None:
    """Another course, another day's air, a ride that ran hotter: nothing of it counts as a difference."""
    rate = Matched.of([reading(1, plant, air_c=5.0)], [reading(2, plant, air_c=24.0)]).overall()
    assert rate is not None
    assert abs(60.0 * rate.difference.value) < 0.15
    assert abs(rate.lift_k[0] - rate.lift_k[1]) > 0.5


def test_more_heat_is_told_in_step_with_load() -> None:
    """A fifth more heat: twice the load, about twice the difference; none of it changes the sign."""
    rows = Matched.of([reading(1, heat=np.log(1.2))], [reading(2)]).by_load()
    gain = {low: 60.0 * rate.difference.value for low, _, rate in rows}
    assert list(gain) == sorted(gain)
    assert all(value > 0.0 for value in gain.values())
    assert gain[LOAD_EDGES[2]] > gain[LOAD_EDGES[1]] > gain[LOAD_EDGES[0]]


def test_less_cooling_is_told_by_speed() -> None:
    """A third less carried off by the air: the faster, the more of the fall is gone; worked from the balance: the
    difference over the fall without it is near 0.3 where the air does nearly all."""
    rows = Matched.of([reading(1, flow=np.log(0.7))], [reading(2)]).by_speed()
    assert len(rows) >= 3
    for low, _, rate in rows:
        if low >= SPEED_EDGES_MPS[3]:
            share = rate.difference.value / -rate.others.value
            assert 0.15 < share < 0.5
    assert rows[-1][2].difference.low > 0.0


def test_whole_degrees_move_the_difference_by_little() -> None:
    """The integral form: rounding to whole degrees adds no lean."""
    fine = Matched.of([reading(1, heat=0.15)], [reading(2)]).overall()
    coarse = Matched.of([reading(1, heat=0.15, step_c=1.0)], [reading(2, step_c=1.0)]).overall()
    assert fine is not None
    assert coarse is not None
    assert 60.0 * coarse.difference.value == pytest.approx(60.0 * fine.difference.value, abs=0.4)
    assert coarse.difference.low < fine.difference.value < coarse.difference.high


def test_days_that_differ_widen_the_band_and_rides_narrow_it() -> None:
    days = NO_DAYS.copy()
    days[HEAT], days[FLOW] = 0.08**2, 0.08**2

    def width(first: list[Reading], others: list[Reading]) -> float:
        rate = Matched.of(first, others).overall()
        assert rate is not None
        return rate.difference.high - rate.difference.low

    still = width([reading(1)], [reading(2)])
    moving = width([reading(1, days=days)], [reading(2, days=days)])
    four = width([reading(1, days=days)], [reading(n, days=days) for n in (2, 3, 4, 5)])
    assert moving > 1.5 * still
    assert four < 0.95 * moving


def test_swapped_sides_turn_the_sign() -> None:
    one, two = reading(1, heat=0.2), reading(2)
    forth, back = Matched.of([one], [two]).overall(), Matched.of([two], [one]).overall()
    assert forth is not None
    assert back is not None
    assert forth.difference.value == pytest.approx(-back.difference.value)
    assert forth.seconds == back.seconds[::-1]


def test_seconds_and_shares_count_the_windows_in_common() -> None:
    one, two = reading(1), reading(2)
    found = Matched.of([one], [two])
    common, rate = found.common(), found.overall()
    assert common is not None
    assert rate is not None
    assert rate.seconds == (common.count[0] * WINDOW_S, common.count[1] * WINDOW_S)
    assert common.count[0] / one.load.size == pytest.approx(common.share[0])


def test_rides_with_nothing_in_common_give_no_rate() -> None:
    """One stood, the other was ridden fast."""
    ride = mixed(1)
    standing = replace(ride, speed_mps=0.0 * ride.speed_mps, power_kw=0.0 * ride.power_kw)
    fast = replace(ride, speed_mps=25.0 + 0.0 * ride.speed_mps, power_kw=15.0 + 0.0 * ride.power_kw)
    readings = [matched.read(PLAIN, heated(PLAIN, theta(PLAIN), one, 80.0), theta(PLAIN), NO_DAYS, 0.0)
                for one in (standing, fast)]  # fmt: skip
    found = Matched.of([readings[0]], [readings[1]])
    assert found.overall() is None
    assert found.common() is None
    assert found.by_load() == []


def test_holes_and_a_cold_engine_are_left_out() -> None:
    whole = heated(PLAIN, theta(PLAIN), mixed(3, 60.0), 25.0)
    coolant = whole.coolant_c.copy()
    coolant[300:400] = np.nan
    ride: Conditions = replace(whole, coolant_c=coolant)
    found = matched.read(PLAIN, ride, theta(PLAIN), NO_DAYS, 0.0)
    assert not ((found.start_s + WINDOW_S > 1200.0) & (found.start_s < 1600.0)).any()
    assert coolant[np.searchsorted(ride.t_s, found.start_s)].min() >= matched.WARM_C
    nothing = matched.read(PLAIN, replace(ride, coolant_c=np.full(coolant.size, np.nan)), theta(PLAIN), NO_DAYS, 0.0)
    assert nothing.load.size == 0
    assert Matched.of([nothing], [found]).overall() is None
