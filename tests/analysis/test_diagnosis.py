"""Parts of the diagnosis, each alone: chances against brute force and a reference library, sensor, leaps, what was
asked for, and the table of causes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ridelog.analysis import diagnosis_numbers, diagnosis_table, thermal
from ridelog.analysis.diagnosis_asked import Asked, asked
from ridelog.analysis.diagnosis_counts import Rate
from ridelog.analysis.diagnosis_jumps import Leaps, leaps
from ridelog.analysis.diagnosis_residuals import WAYS, missed
from ridelog.analysis.diagnosis_sensor import Sensor, sensor
from ridelog.analysis.diagnosis_shift import Direction, apart, healthy, log_mean, map_effect, own_word, vector
from ridelog.analysis.diagnosis_weigh import Evidence, weigh
from ridelog.analysis.thermal import KAPPA, NAMES, Conditions, Plant
from ridelog.analysis.thermal_fit import fit, window_starts
from ridelog.analysis.thermal_prior import RideFit, default_prior
from ridelog.intervals import Interval
from ridelog.results import FloatArray, Mark

PLANT = Plant(peak_kw=36.0, peak_rpm=8200.0, fan_on_c=None, opens_c=None)
WELL = Sensor("well", 0.0, {})
COOL = Asked(105.0, 0.0, 0.0, 0.0, 20.0, 0.0)


def conditions(seed: int = 3, steps: int = 400) -> Conditions:
    """A ride with load and speed that vary, coolant unknown so far."""
    rng = np.random.default_rng(seed)
    blocks = np.repeat(rng.uniform(0.0, 1.0, steps // 10 + 1), 10)[:steps]
    return Conditions(
        t_s=np.arange(steps) * thermal.STEP_S,
        coolant_c=np.full(steps, np.nan),
        power_kw=2.0 + 16.0 * blocks,
        turning=0.35 + 0.4 * blocks,
        speed_mps=np.repeat(rng.uniform(1.0, 14.0, steps // 15 + 1), 15)[:steps],
        ambient_c=np.full(steps, 20.0),
        running=np.ones(steps, dtype=np.bool_),
        fan_logged=None,
        conservative=np.zeros(steps),
    )


def theta(**changes: float) -> FloatArray:
    """The default bike's parameters, moved."""
    prior = default_prior(PLANT, ratio=None, map_seen=False, ambient_sd_c=1.0)
    return np.asarray(prior.mean + vector(changes))


def ridden(parameters: FloatArray, ride: Conditions, start_c: float = 70.0) -> Conditions:
    """The same ride with the coolant that these parameters make."""
    windows = thermal.Windows(np.array([0]), ride.t_s.size - 1, np.array([start_c]))
    path = thermal.march(PLANT, parameters[None], ride, windows)[:, 0, 0]
    noise = np.random.default_rng(1).normal(0.0, 0.15, path.size)
    return Conditions(**{**ride.__dict__, "coolant_c": path + noise})


def fitted(ride: Conditions, name: str = "ride") -> RideFit:
    """Its fit, as kept for other rides."""
    prior = default_prior(PLANT, ratio=None, map_seen=False, ambient_sd_c=1.0)
    best = fit(PLANT, ride, prior, window_starts(ride), 0.1)
    return RideFit(name, best.theta, best.information, prior.mean, prior.covariance)


def test_the_chance_of_a_ride_is_that_of_the_gaussians_multiplied_out() -> None:
    # By hand: the evidence of a Gaussian likelihood under a Gaussian prior, from any textbook of Bayesian statistics.
    day = diagnosis_table.DAY_TO_DAY
    base = default_prior(PLANT, ratio=None, map_seen=False, ambient_sd_c=1.0)
    before = [fitted(ridden(theta(), conditions(seed)), str(seed)) for seed in (4, 5)]
    ride = fitted(ridden(theta(heat=0.2), conditions(6)))
    known = healthy(before, base, day)
    free = np.flatnonzero(np.diag(base.covariance) > 0.0)
    grid = np.ix_(free, free)
    precision, pull = own_word(ride)

    def by_hand(cause: Direction, share: float) -> float:
        mean = (known.mean + day.mean + cause.mean)[free]
        mean[0] += share * known.mean[KAPPA]
        spread = (known.covariance + day.covariance + cause.covariance)[grid]
        told, inverse = precision[grid], np.linalg.inv(spread)
        joint = pull[free] + inverse @ mean
        spread_term = np.linalg.slogdet(np.eye(free.size) + spread @ told)[1]
        return float(0.5 * (joint @ np.linalg.inv(told + inverse) @ joint - mean @ inverse @ mean - spread_term))

    still = Direction.of({}, 0.0, {})
    # The causes' own spread is left to the parameters that the ride has.
    own = {name: 0.03 for n, name in enumerate(NAMES) if n in free}
    heat, flow = (Direction.of({name: size}, 0.3, own) for name, size in (("heat", 0.2), ("flow", -0.4)))
    readings = {share: apart(ride, known, day, share) for share in (0.0, 1.0)}
    first = (still, 0.0)
    for cause, share in ((heat, 0.0), (flow, 0.0), (heat, 1.0), (still, 1.0)):
        ours = readings[share].log_chance(cause) - readings[0.0].log_chance(first[0])
        assert ours == pytest.approx(by_hand(cause, share) - by_hand(*first), abs=2e-4)
    assert readings[0.0].log_chance(heat) > readings[0.0].log_chance(still) > readings[0.0].log_chance(flow)


def test_more_healthy_rides_sharpen_what_is_known_and_other_bikes_count_less() -> None:
    base = default_prior(PLANT, ratio=None, map_seen=False, ambient_sd_c=1.0)
    fits = [fitted(ridden(theta(), conditions(seed)), str(seed)) for seed in (4, 5, 7)]
    others = [RideFit(**{**one.__dict__, "other": "another"}) for one in fits]
    day = diagnosis_table.DAY_TO_DAY
    spread = [np.diag(healthy(rides, base, day).covariance)[:4] for rides in ([], fits[:1], fits, others)]
    assert (spread[2][[0, 1, 3]] < spread[1][[0, 1, 3]]).all()
    assert (spread[1][[0, 3]] < spread[0][[0, 3]]).all()
    assert (spread[3][[0, 3]] > spread[2][[0, 3]]).all()


@pytest.mark.parametrize(("effect", "proved", "doubtful"), [(-0.12, True, False), (0.12, False, True)])
def test_the_map_effect_of_other_rides_proves_or_doubts_the_slot_numbers(
    effect: float, proved: bool, doubtful: bool
) -> None:
    base = default_prior(PLANT, ratio=None, map_seen=True, ambient_sd_c=1.0)
    fits = []
    for seed in (4, 5, 7):
        ride = conditions(seed)
        both = Conditions(**{**ride.__dict__, "conservative": (np.arange(ride.t_s.size) // 40 % 2).astype(np.float64)})
        made = theta()
        made[KAPPA] = effect
        driven = ridden(made, both)
        best = fit(PLANT, driven, base, window_starts(driven), 0.1)
        fits.append(RideFit(str(seed), best.theta, best.information, base.mean, base.covariance))
    told = map_effect(fits, base, diagnosis_table.DAY_TO_DAY)
    assert told.log_ratio == pytest.approx(effect, abs=3.0 * told.sd)
    assert (told.proves_numbers, told.numbers_doubtful) == (proved, doubtful)
    untold = map_effect([], base, diagnosis_table.DAY_TO_DAY)
    assert not untold.proves_numbers
    assert not untold.numbers_doubtful


@given(
    count=st.integers(0, 200),
    minutes=st.floats(0.5, 300.0),
    mean=st.floats(0.001, 3.0),
    shape=st.floats(0.05, 20.0),
)
def test_chances_of_counts_are_those_of_scipy(count: int, minutes: float, mean: float, shape: float) -> None:
    # scipy.stats.nbinom: n = shape, p = n / (n + mean).
    theirs = stats.nbinom.logpmf(count, shape, shape / (shape + mean * minutes))
    assert Rate(mean, shape).log_chance(count, minutes) == pytest.approx(float(theirs), rel=1e-7, abs=1e-7)


def test_no_minutes_tell_nothing() -> None:
    assert Rate(1.0, 1.0).log_chance(0, 0.0) == 0.0


@given(st.lists(st.tuples(st.floats(-700, 700), st.floats(0.01, 1.0)), min_size=1, max_size=5))
def test_log_mean_of_equal_values_is_the_value(rows: list[tuple[float, float]]) -> None:
    values, weights = zip(*rows, strict=True)
    total = sum(weights)
    told = log_mean(values, [weight / total for weight in weights])
    assert min(values) - 1e-9 <= told <= max(values) + 1e-9


def _mark(kind: str, start_s: float, end_s: float) -> Mark:
    return Mark("coolant_c", kind, start_s, end_s, "excluded", "")


@pytest.mark.parametrize(
    ("marks", "state"),
    [
        ([], "well"),
        ([_mark("stuck", 100.0, 900.0)], "clear"),
        ([_mark("substitute", 0.0, 1000.0)], "clear"),
        ([_mark("dropout", 10.0, 10.5)], "well"),
        ([_mark("spike", 10.0, 10.1), _mark("spike", 30.0, 30.1)], "slight"),
        ([_mark("spike", 10.0 * n, 10.0 * n + 0.1) for n in range(8)], "clear"),
        ([_mark("sentinel", 0.0, 100.0)], "clear"),
        ([Mark("engine_rpm", "stuck", 0.0, 900.0, "excluded", "")], "well"),
    ],
)
def test_the_sensor_goes_by_its_marks(marks: list[Mark], state: str) -> None:
    assert sensor(marks, "coolant_c", 1000.0).state == state


def test_marks_that_overlap_count_once() -> None:
    assert sensor([_mark("spike", 0.0, 10.0), _mark("dropout", 5.0, 15.0)], "coolant_c", 100.0).share == 0.15


def test_a_clear_sensor_takes_it_all_whatever_else_speaks() -> None:
    sick = weigh(Evidence(Sensor("clear", 0.3, {"stuck": 1}), COOL, leaps=Leaps(40, 0, 0, 20.0, 5.0, 0.2, 9.0)))
    assert sick.causes["sensor_fault"] > 0.9
    assert math.isclose(sum(sick.causes.values()), 1.0, abs_tol=1e-12)


def test_leaps_up_under_load_speak_for_gas_and_swings_at_any_time_for_air() -> None:
    def said(found: Leaps) -> str:
        causes = weigh(Evidence(WELL, COOL, leaps=found)).causes
        return max(causes, key=lambda cause: causes[cause])

    assert said(Leaps(9, 0, 0, 15.0, 15.0, 0.3, 5.0)) == "combustion_gas_in_coolant"
    assert said(Leaps(6, 9, 14, 15.0, 15.0, 0.3, 7.0)) == "air_in_system"
    assert said(Leaps(0, 0, 0, 15.0, 15.0, 0.3, 1.0)) == "normal"


def test_what_a_bike_does_not_have_is_not_blamed_and_what_was_not_tested_hardly() -> None:
    causes = weigh(Evidence(WELL, COOL)).causes
    assert max(causes["fan_fault"], causes["thermostat_restricted"], causes["build_mismatch"]) < 1e-6
    called = weigh(Evidence(WELL, COOL, has_fan=True, fan_called_s=200.0)).causes["fan_fault"]
    not_called = weigh(Evidence(WELL, COOL, has_fan=True, fan_called_s=5.0)).causes["fan_fault"]
    assert 0.0 < not_called < 0.2 * called


def test_lost_coolant_with_a_normal_temperature_speaks_for_the_cap() -> None:
    quiet = Leaps(0, 0, 0, 15.0, 15.0, 0.3, 1.0)
    noted = weigh(Evidence(WELL, COOL, leaps=quiet, loss_noted=True)).causes
    silent = weigh(Evidence(WELL, COOL, leaps=quiet)).causes
    assert max(noted, key=lambda cause: noted[cause]) == "cap_leaking"
    assert silent["cap_leaking"] < 0.05


def test_leaps_are_found_where_they_were_put_and_nowhere_else() -> None:
    ride = ridden(theta(), conditions())
    assert leaps(PLANT, ride, theta(), 0.1).up_loaded == 0
    coolant = ride.coolant_c.copy()
    strong = np.flatnonzero(ride.power_kw > 10.0)[5::40]
    for at in strong:
        coolant[at + 1 : at + 6] += np.array([7.0, 5.0, 3.5, 2.0, 1.0])[: coolant.size - at - 1]
    found = leaps(PLANT, Conditions(**{**ride.__dict__, "coolant_c": coolant}), theta(), 0.1)
    assert found.up_loaded == strong.size
    assert found.up_idle == 0


def test_a_radiator_that_sheds_more_the_hotter_it_is_shows_in_its_way() -> None:
    ride = ridden(theta(), conditions())
    prior = default_prior(PLANT, ratio=None, map_seen=False, ambient_sd_c=1.0)
    told = missed(PLANT, ride, theta(), prior.covariance, resolution_c=0.1)
    assert told is not None
    # A ride that the balance itself made leaves nothing to explain.
    assert (np.abs(told.size) < 2.0 * told.sd + 0.1).all()
    assert missed(PLANT, ridden(theta(), conditions(steps=40)), theta(), prior.covariance, resolution_c=0.1) is None


def _hot_ride(ambient_c: float, speed_mps: float) -> Conditions:
    ride = conditions()
    coolant = np.full(ride.t_s.size, 80.0)
    coolant[100:150] = 108.0
    return Conditions(**{**ride.__dict__, "coolant_c": coolant, "speed_mps": np.full(ride.t_s.size, speed_mps),
                         "ambient_c": np.full(ride.t_s.size, ambient_c)})  # fmt: skip


def test_hot_time_is_put_down_to_map_standing_ground_or_day() -> None:
    missed_all = [Interval(380.0, 700.0)]
    by_map = asked(_hot_ride(20.0, 6.0), missed_all, hot_c=105.0, ambient_c=20.0)
    assert by_map.hot_s == pytest.approx(200.0)
    assert by_map.shares()["load_without_conservative_map"] > 0.9
    assert asked(_hot_ride(20.0, 6.0), [], hot_c=105.0, ambient_c=20.0).shares()["terrain_load"] > 0.9
    assert asked(_hot_ride(20.0, 0.0), [], hot_c=105.0, ambient_c=20.0).shares()["standstill_soak"] > 0.9
    warm = asked(_hot_ride(36.0, 6.0), [], hot_c=105.0, ambient_c=36.0)
    assert warm.hot_day
    assert warm.shares()["hot_conditions"] > warm.shares()["terrain_load"] > 0.3
    mild = asked(_hot_ride(31.0, 6.0), [], hot_c=105.0, ambient_c=31.0)
    assert 0.2 < mild.shares()["hot_conditions"] < mild.shares()["terrain_load"]
    assert asked(_hot_ride(20.0, 6.0), [], hot_c=115.0, ambient_c=20.0).shares()["normal"] == 1.0


@given(
    hot_s=st.floats(0.0, 5000.0),
    one=st.floats(0.0, 1.0),
    two=st.floats(0.0, 1.0),
    ambient_c=st.floats(-10.0, 45.0),
    left=st.floats(0.0, 1.0),
)
def test_shares_of_a_healthy_bike_add_up(hot_s: float, one: float, two: float, ambient_c: float, left: float) -> None:
    shares = Asked(105.0, hot_s, one, two, ambient_c, left * hot_s).shares()
    assert sum(shares.values()) == pytest.approx(1.0)
    assert min(shares.values()) >= -1e-12


def test_the_table_holds_every_cause_once_and_every_state_can_be_weighed() -> None:
    # The families and causes of the public interface.
    assert len(diagnosis_table.FAMILY) == 16
    assert set(diagnosis_table.FAMILY.values()) == {
        "asked_for", "air_side", "coolant_side", "heat_made", "sensor", "healthy",
    }  # fmt: skip
    told = {cause for state in diagnosis_table.STATES for cause in state}
    assert told - {"healthy"} | {"sensor_fault", *COOL.shares()} == set(diagnosis_table.FAMILY)
    assert {len(part) for pair in diagnosis_numbers.WAYS_OF.values() for part in pair} == {len(WAYS)}
    pairs = sum(len(state) == 2 for state in diagnosis_table.STATES)
    total = sum(diagnosis_table.PRIOR.values()) + pairs * diagnosis_table.PAIR_PRIOR
    assert 0.9 < total < 1.3
