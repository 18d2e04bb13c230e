"""What is known before a ride: the default's bands against published figures, and pooling of rides."""

from __future__ import annotations

import numpy as np
import pytest
from heat_rides import BOTH, FANNED, PLAIN, STATTED, prior, theta
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis import thermal, thermal_prior
from ridelog.analysis.thermal import NAMES, Plant
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import RIDE_SD, RideFit, pooled

CAPACITY_J_PER_K = 8000.0
"""What the default's figures are stated over: ASSUMED, for no log can tell it."""


def band(mean: float, sd: float) -> tuple[float, float]:
    return float(np.exp(mean - 1.96 * sd)), float(np.exp(mean + 1.96 * sd))


def test_the_assumed_capacity_is_coolant_and_metal_of_a_small_engine() -> None:
    # 1.1 to 1.6 kg of coolant and 3 to 5 kg of metal that move with it (ASSUMED); specific heat of half glycol by mass
    # at 90 C 3615.8 J/kg K, half by volume 3573.5 (property library), aluminium about 900 (handbook, from memory).
    light = 1.1 * 3573.5 + 3.0 * 900.0
    heavy = 1.6 * 3615.8 + 5.0 * 900.0
    assert light == pytest.approx(6660.0, rel=0.01)
    assert light < CAPACITY_J_PER_K < heavy


def test_coolant_heat_is_a_band_of_six_tenths_to_one_and_a_fifth_of_brake_power() -> None:
    # No measured share for an injected two-stroke was found: 0.6 to 1.2 times brake power is what shares of fuel energy
    # in textbooks (brake 25 to 28 %, coolant 17 to 26 % for four-strokes, from memory) and two-stroke efficiencies of
    # 0.15 to 0.22 leave open.
    base = prior(PLAIN)
    low, high = band(base.mean[thermal.HEAT], np.sqrt(base.covariance[thermal.HEAT, thermal.HEAT]))
    share_low, share_high = low * CAPACITY_J_PER_K / 1000.0, high * CAPACITY_J_PER_K / 1000.0
    assert share_low < 0.6
    assert share_high > 1.2
    assert np.exp(base.mean[thermal.HEAT]) * CAPACITY_J_PER_K / 1000.0 == pytest.approx(0.9, abs=0.05)


@pytest.mark.parametrize(
    ("brake_kw", "efficiency", "share", "coolant_kw"), [(10.0, 0.22, 0.25, 11.36), (20.0, 0.20, 0.22, 22.0)]
)
def test_worked_heat_loads_are_inside_the_default(
    brake_kw: float, efficiency: float, share: float, coolant_kw: float
) -> None:
    # Plain energy balance: fuel = brake / efficiency, coolant its share of that. 0.22 is 380.5 g/kWh at 43 MJ/kg.
    assert brake_kw / efficiency * share == pytest.approx(coolant_kw, abs=0.01)
    assert pytest.approx(0.22, abs=1e-4) == 3600.0 / (380.5 * 43.0)
    base = prior(PLAIN)
    low, high = band(base.mean[thermal.HEAT], np.sqrt(base.covariance[thermal.HEAT, thermal.HEAT]))
    assert low < coolant_kw / brake_kw / (CAPACITY_J_PER_K / 1000.0) < high


def test_energy_shares_leave_room_for_the_exhaust() -> None:
    # Shares of fuel energy sum to one. At a two-stroke's efficiency of 0.15 to 0.22 the whole band of coolant heat
    # leaves half and more for exhaust and unburnt fuel, as the published shares have it (exhaust 30 to 55 %).
    for efficiency in (0.152, 0.186, 0.22):
        for ratio in (0.6, 1.2):
            exhaust = 1.0 - efficiency - ratio * efficiency
            assert 0.5 < exhaust < 0.8


def test_the_default_radiator_is_the_worked_one() -> None:
    # Worked radiator: 116.5 W/K at 10 m/s; a published one 350 W/K for UA (a car's core). Default 100 W/K, within a
    # factor of 2.7 at 95 %.
    base = prior(PLAIN)
    low, high = band(base.mean[thermal.FLOW], np.sqrt(base.covariance[thermal.FLOW, thermal.FLOW]))
    assert low < 116.5 / CAPACITY_J_PER_K < high


def test_heat_grows_with_load_and_falls_a_little_with_speed_at_the_same_power() -> None:
    # A single-zone model (this project's own, direction and size only): 8.9 % of the fuel's energy at 4000 1/min, 6.4 %
    # at 8500. At the same brake power the share is then in the ratio 0.72.
    base = prior(PLAIN)
    slow, fast = 4000.0 / 8200.0, 8500.0 / 8200.0
    ratio = (fast / slow) ** base.mean[thermal.PACE]
    assert ratio == pytest.approx(6.4 / 8.9, abs=0.05)


def test_the_conservative_map_is_the_tuners_figure_or_a_stated_band() -> None:
    default = thermal_prior.default_prior(PLAIN, ratio=None, map_seen=True, ambient_sd_c=1.0)
    low, high = band(default.mean[thermal.KAPPA], default.ratio_sd)
    assert (low, high) == pytest.approx((0.77, 1.05), abs=0.01)
    told = thermal_prior.default_prior(PLAIN, ratio=0.85, map_seen=True, ambient_sd_c=1.0)
    assert np.exp(told.mean[thermal.KAPPA]) == pytest.approx(0.85)
    assert told.ratio_sd < default.ratio_sd
    unseen = thermal_prior.default_prior(PLAIN, ratio=0.85, map_seen=False, ambient_sd_c=1.0)
    assert thermal.KAPPA not in unseen.free
    assert unseen.ratio_sd == told.ratio_sd


@pytest.mark.parametrize(
    ("plant", "fixed"),
    [
        (PLAIN, {"fan", "closed", "bypass", "opens_c"}),
        (FANNED, {"closed", "bypass", "opens_c"}),
        (STATTED, {"fan"}),
        (BOTH, set()),
    ],
)
def test_a_bike_has_no_parameters_for_what_it_lacks(plant: Plant, fixed: set[str]) -> None:
    free = {NAMES[n] for n in prior(plant, map_seen=True).free}
    assert set(NAMES) - free == fixed


def told(base: Prior, values: np.ndarray, precision: float, name: str = "a") -> RideFit:
    """A ride that tells each free parameter alike, as a fit from `base` would have it."""
    information = np.zeros((len(NAMES), len(NAMES)))
    grid = np.ix_(base.free, base.free)
    information[grid] = np.eye(base.free.size) * precision
    # The best fit lies between what the ride says and the prior, by their weights.
    weight = np.linalg.inv(information[grid] + base.precision)
    theta_fit = base.mean.copy()
    theta_fit[base.free] = weight @ (information[grid] @ values[base.free] + base.precision @ base.mean[base.free])
    return RideFit(name, theta_fit, information, base.mean, base.covariance)


def test_without_rides_pooling_leaves_the_default_and_adds_the_spread_between_rides() -> None:
    base = prior(BOTH)
    after = pooled([], base, may_be_faulty=False)
    assert after.mean == pytest.approx(base.mean)
    for index, sd in RIDE_SD.items():
        if base.covariance[index, index] > 0.0:
            assert after.covariance[index, index] == pytest.approx(base.covariance[index, index] + sd**2)


def test_rides_that_agree_are_believed_and_the_default_forgotten() -> None:
    base = prior(BOTH)
    truth = theta(BOTH, heat=np.log(0.15), flow=np.log(0.009), core_mps=np.log(11.0))
    few = pooled([told(base, truth, 1e5)], base, may_be_faulty=False)
    many = pooled([told(base, truth, 1e5, str(n)) for n in range(12)], base, may_be_faulty=False)
    for index in (thermal.HEAT, thermal.FLOW, thermal.CORE):
        assert abs(many.mean[index] - truth[index]) < abs(few.mean[index] - truth[index]) < 0.05
        assert many.covariance[index, index] < few.covariance[index, index] < base.covariance[index, index]
        # The next ride still differs from the bike's mean by the spread between rides.
        assert many.covariance[index, index] > RIDE_SD[index] ** 2


def test_the_default_counts_once_however_many_rides_were_fitted_from_it() -> None:
    # Rides that tell nothing were fitted to the default itself: twenty of them are no evidence for it.
    base = prior(BOTH)
    empty = [told(base, base.mean, 1e-9, str(n)) for n in range(20)]
    after = pooled(empty, base, may_be_faulty=False)
    index = thermal.HEAT
    assert after.covariance[index, index] == pytest.approx(
        base.covariance[index, index] + RIDE_SD[index] ** 2, rel=1e-4
    )


def test_the_order_of_rides_does_not_matter() -> None:
    base = prior(BOTH)
    draw = np.random.default_rng(2)
    rides = [
        told(base, base.mean + draw.normal(0.0, 0.1, len(NAMES)), 10.0 ** draw.uniform(0, 4), str(n)) for n in range(5)
    ]
    one, other = pooled(rides, base, may_be_faulty=True), pooled(rides[::-1], base, may_be_faulty=True)
    assert one.mean == pytest.approx(other.mean, rel=1e-9)
    assert one.covariance == pytest.approx(other.covariance, rel=1e-9)


def test_a_possible_fault_widens_what_faults_change_and_leaves_the_mean() -> None:
    base = prior(BOTH)
    rides = [told(base, base.mean, 1e4)]
    healthy, faulty = (pooled(rides, base, may_be_faulty=flag) for flag in (False, True))
    assert faulty.mean == pytest.approx(healthy.mean)
    wider = np.diag(faulty.covariance) - np.diag(healthy.covariance)
    assert {NAMES[n] for n in np.flatnonzero(wider > 1e-12)} == {"heat", "still", "fan", "flow", "opens_c"}
    # A fault of 40 % less flow, or 25 % more heat, is no further off than two of its spreads.
    assert abs(np.log(0.6)) < 2.0 * np.sqrt(faulty.covariance[thermal.FLOW, thermal.FLOW])
    assert np.log(1.25) < 2.0 * np.sqrt(faulty.covariance[thermal.HEAT, thermal.HEAT])


def test_air_of_one_ride_tells_nothing_of_the_next() -> None:
    base = prior(BOTH)
    off = told(base, theta(BOTH, ambient_c=8.0), 1e5)
    after = pooled([off], base, may_be_faulty=False)
    assert after.mean[thermal.AMBIENT] == 0.0
    assert after.covariance[thermal.AMBIENT, thermal.AMBIENT] == base.covariance[thermal.AMBIENT, thermal.AMBIENT]


def test_rides_that_saw_both_maps_pool_with_rides_that_saw_one() -> None:
    seen, unseen = prior(PLAIN, map_seen=True), prior(PLAIN)
    rides = [told(seen, theta(PLAIN, kappa=np.log(0.8)), 1e4, "a"), told(unseen, theta(PLAIN), 1e4, "b")]
    for base in (seen, unseen):
        after = pooled(rides, base, may_be_faulty=False)
        assert np.isfinite(after.mean).all()
        assert np.linalg.eigvalsh(after.covariance).min() > -1e-12
    assert pooled(rides, seen, may_be_faulty=False).mean[thermal.KAPPA] == pytest.approx(np.log(0.8), abs=0.01)


@given(shift=st.floats(-0.4, 0.4), precision=st.floats(0.1, 1e6), faulty=st.booleans())
def test_a_pooled_prior_is_a_prior(shift: float, precision: float, faulty: bool) -> None:
    base = prior(BOTH, map_seen=True)
    after = pooled([told(base, base.mean + shift, precision)], base, may_be_faulty=faulty)
    assert after.covariance == pytest.approx(after.covariance.T, abs=1e-12)
    assert np.linalg.eigvalsh(after.covariance).min() > 0.0
    lies = (after.mean - base.mean)[[n for n in base.free if n != thermal.AMBIENT]]
    assert np.all(np.abs(lies) <= abs(shift) + 1e-9)
