"""Two sides of rides under one balance."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from heat_rides import FANNED, PLAIN, prior, theta

from ridelog.analysis import matched_scatter, matched_shift
from ridelog.analysis.matched_shift import Told, joint
from ridelog.analysis.thermal import AMBIENT, FLOW, HEAT, KAPPA, NAMES
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import RideFit

Array = npt.NDArray[np.float64]
NO_DAYS: Array = np.zeros(len(NAMES))


def fit(name: str, sharp: dict[int, float], **changed: float) -> RideFit:
    """A fit whose ride alone tells some parameters, with these standard deviations."""
    base = prior(PLAIN)
    values = theta(PLAIN, **changed)
    information = np.zeros((len(NAMES), len(NAMES)))
    for index, sd in sharp.items():
        information[index, index] = 1.0 / sd**2
    # The best fit lies between what the ride tells and the prior.
    posterior = np.linalg.pinv(information + np.linalg.pinv(base.covariance))
    best = posterior @ (information @ values + np.linalg.pinv(base.covariance) @ base.mean)
    best[np.diag(base.covariance) == 0.0] = base.mean[np.diag(base.covariance) == 0.0]
    return RideFit(name, best, information, base.mean, base.covariance)


def test_one_parameter_worked_by_hand() -> None:
    """One ride a side, only the heat told, 0.1 and 0.2 sharp, the shift spread by 0.40 beforehand, the others' level by
    0.5: with 0.30 told between them, the joint normal gives shift 0.30 x 0.40^2 / (0.40^2 + 0.1^2 + v), where v is the
    variance left of the others' level with the prior, 1 / (1 / 0.2^2 + 1 / 0.5^2); worked by hand."""
    base = prior(PLAIN)
    level = base.mean[HEAT]
    first = Told(fit("a", {HEAT: 0.1}, heat=level + 0.30))
    others = Told(fit("b", {HEAT: 0.2}, heat=level))
    sides = joint([first], [others], base, NO_DAYS)
    left = 1.0 / (1.0 / 0.2**2 + 1.0 / 0.5**2)
    expected = 0.30 * 0.40**2 / (0.40**2 + 0.1**2 + left)
    assert sides.first[0, HEAT] - sides.others[0, HEAT] == pytest.approx(expected, rel=1e-6)
    drawn = sides.first[1:, HEAT] - sides.others[1:, HEAT]
    variance = 1.0 / (1.0 / 0.40**2 + 1.0 / (0.1**2 + left))
    assert drawn.std() == pytest.approx(np.sqrt(variance), rel=0.12)


def test_what_no_ride_tells_is_alike_on_both_sides() -> None:
    base = prior(FANNED)
    sides = joint([Told(fit("a", {HEAT: 0.1}))], [Told(fit("b", {HEAT: 0.1}))], base, NO_DAYS)
    assert sides.first[0] == pytest.approx(sides.others[0], abs=1e-9)
    assert np.all(sides.first[:, AMBIENT] == 0.0)


def test_swapping_the_sides_turns_the_difference_round() -> None:
    base = prior(PLAIN)
    one = [Told(fit("a", {HEAT: 0.05, FLOW: 0.05}, heat=base.mean[HEAT] + 0.2))]
    two = [Told(fit("b", {HEAT: 0.05, FLOW: 0.05}, flow=base.mean[FLOW] - 0.3))]
    here, there = joint(one, two, base, NO_DAYS), joint(two, one, base, NO_DAYS)
    for index in (HEAT, FLOW):
        forth = here.first[0, index] - here.others[0, index]
        back = there.first[0, index] - there.others[0, index]
        assert forth == pytest.approx(-back, rel=0.02)


def test_more_rides_and_steadier_days_tell_more() -> None:
    base = prior(PLAIN)
    days = NO_DAYS.copy()
    days[HEAT] = 0.1**2

    def width(number: int, variance: Array) -> float:
        part = [Told(fit(f"r{n}", {HEAT: 0.05})) for n in range(number)]
        sides = joint([Told(fit("x", {HEAT: 0.05}))], part, base, variance)
        return float((sides.first[1:, HEAT] - sides.others[1:, HEAT]).std())

    assert width(6, days) < width(1, days)
    assert width(1, NO_DAYS) < width(1, days)


def test_bikes_of_a_build_do_not_count_as_rides_of_one_bike() -> None:
    """Six rides of one other bike tell less of its build than one each of six."""
    base = prior(PLAIN)
    between = NO_DAYS.copy()
    between[HEAT] = 0.1**2

    def sd(bikes: list[str]) -> float:
        part = [Told(fit(f"{bike}{n}", {HEAT: 0.03}), bike=bike) for n, bike in enumerate(bikes)]
        sides = joint([Told(fit("x", {HEAT: 0.03}))], part, base, NO_DAYS, between)
        return float(sides.others[1:, HEAT].std())

    assert sd([*"abcdef"]) < 0.7 * sd(["a"] * 6)


def test_an_unlogged_map_leaves_heat_open() -> None:
    own = fit("a", {HEAT: 0.1})
    assert matched_shift.heat_sd(own, np.zeros(50), 0.08) == 0.0
    assert matched_shift.heat_sd(own, np.full(50, np.nan), 0.08) == pytest.approx(matched_shift.MAP_UNKNOWN_SD)
    # All on the conservative map, whose effect the ride can't tell: its whole spread.
    assert matched_shift.heat_sd(own, np.ones(50), 0.08) == pytest.approx(0.08)
    told = prior(PLAIN, map_seen=True)
    fitted = RideFit("b", own.theta, own.information, told.mean, told.covariance)
    assert told.covariance[KAPPA, KAPPA] > 0.0
    assert matched_shift.heat_sd(fitted, np.ones(50), 0.08) == 0.0


def test_a_held_stretch_settles_where_heat_in_is_heat_out() -> None:
    """By the balance's own equation: q (800 - T) / 710 = G (T - Ta), worked out beside it."""
    values = theta(PLAIN)[None]
    stretch = matched_shift.held(PLAIN, power_share=0.12, turning=0.55, speed_mps=12.0, air_c=20.0)
    found = float(matched_shift.settles(PLAIN, stretch, values)[0])
    told = matched_shift.Drawn(PLAIN, stretch, values)
    q = float(told.load_kps[0, 0])
    g = float((told.sheds.still + told.sheds.fan_off)[0, 0])
    assert q * (800.0 - found) / 710.0 == pytest.approx(g * (found - 20.0), rel=1e-6)


def test_welch_beside_scipy() -> None:
    """The same interval as a reference library gives for unequal variances."""
    from scipy import stats

    first, others = [101.0, 96.0, 104.5, 99.0], [90.0, 93.5, 91.0, 88.0, 97.0]
    found = matched_scatter.welch(first, others)
    assert found is not None
    band = stats.ttest_ind(first, others, equal_var=False).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((band.low, band.high))
    assert found.value == pytest.approx(np.mean(first) - np.mean(others))


def test_one_more_of_a_kind_beside_scipy() -> None:
    """The prediction interval of a normal sample, by a reference library's quantile; the value's own spread on top."""
    from scipy import stats

    others = [100.0, 104.0, 98.0, 102.0]
    found = matched_scatter.one_more(109.0, 0.0, others)
    low, high = stats.t.interval(0.95, 3, loc=np.mean(others), scale=np.std(others, ddof=1) * np.sqrt(1.25))
    assert found.value == pytest.approx(8.0)
    assert found.high - found.value == pytest.approx(high - np.mean(others))
    assert found.value - found.low == pytest.approx(np.mean(others) - low)
    assert matched_scatter.one_more(109.0, 3.0, others).high > found.high


def test_under_three_rides_there_is_a_range_and_no_band() -> None:
    assert matched_scatter.welch([1.0, 2.0], [3.0, 4.0, 5.0]) is None
    assert matched_scatter.welch([2.0, 2.0, 2.0], [1.0, 1.0, 1.0]) is not None
    assert matched_scatter.band([3.0, 1.0]).low == 1.0


def test_a_prior_with_the_map_held_serves_too() -> None:
    """Sides of rides on one map: the map's effect stays what is known of it beforehand."""
    held: Prior = prior(PLAIN)
    assert held.covariance[KAPPA, KAPPA] == 0.0
    sides = joint([Told(fit("a", {HEAT: 0.1}))], [Told(fit("b", {HEAT: 0.1}))], held, NO_DAYS)
    assert sides.others[1:, KAPPA].std() == pytest.approx(held.ratio_sd, rel=0.15)
