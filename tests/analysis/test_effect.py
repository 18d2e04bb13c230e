"""The estimate of the conservative map's effect on rides made by hand, whose heat and cooling are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.analysis import effect, effect_columns, effect_fit, effect_ground
from ridelog.analysis.effect import Part, part_of, pooled
from ridelog.analysis.effect_columns import COLUMNS, HEAT, HEAT_ON, OPENING, RISE, TURNING, Track
from ridelog.analysis.effect_fit import Sums

Array = npt.NDArray[np.float64]
STEP_S = 0.2
LAW = np.outer(TURNING, 0.1 + np.sqrt(OPENING)).ravel()


def track(
    seed: int, ratio: float, *, minutes: float = 30.0, use: str = "free", heat: float = 1.0, cool: float = 1.0
) -> Track:
    """A ride over easy and soft ground in turn, each with its own pace, whose coolant follows a balance unlike the
    estimate's only in its surface. `use` of the map: "free" of the ground, "soft" with it, "never"."""
    draw = np.random.default_rng(seed)
    count = round(60.0 * minutes / STEP_S)
    speed, turning, opening, drag, on = (np.zeros(count) for _ in range(5))
    at, soft = 0, False
    while at < count:
        past = min(at + round(draw.uniform(60.0, 180.0) / STEP_S), count)
        soft = not soft
        speed[at:past] = draw.uniform(6.0, 11.0) if soft else draw.uniform(4.0, 18.0)
        turning[at:past] = draw.uniform(0.65, 0.85) if soft else draw.uniform(0.4, 0.8)
        opening[at:past] = draw.uniform(0.3, 0.6) if soft else draw.uniform(0.08, 0.45)
        drag[at:past] = draw.uniform(0.21, 0.28) if soft else draw.uniform(0.03, 0.10)
        if use == "soft":
            on[at:past] = soft
        elif use == "free":
            on[at + round(draw.uniform(0.0, 1.0) * (past - at)) : past] = draw.random() < (0.8 if soft else 0.3)
        at = past
    wobble = np.convolve(draw.normal(size=count), np.ones(25) / 5.0, mode="same")
    opening = np.clip(opening * (1.0 + 0.3 * wobble), 0.0, 1.0)
    made = 2.0 * heat * turning * (0.1 + opening**0.6) * np.where(on > 0.0, ratio, 1.0)
    sheds = 0.0125 * cool * (0.1 + (speed / 10.0) ** 0.6)
    coolant = np.empty(count)
    now = 75.0
    for k in range(count):
        coolant[k] = now
        now += STEP_S * (made[k] - sheds[k] * (now - 20.0))
    return Track(
        step_s=STEP_S,
        coolant_c=np.round(coolant),
        ambient_c=np.full(count, 20.0),
        turning=turning,
        opening=opening,
        speed_mps=speed,
        drag=drag,
        grade=np.zeros(count),
        conservative=on,
        fan=None,
        density=np.ones(count),
        fan_on_c=None,
        opens_c=None,
        law=LAW,
    )


def parts(ratio: float, number: int = 6, **changed: object) -> list[Part]:
    found = [part_of(track(seed, ratio, **changed)) for seed in range(number)]  # type: ignore[arg-type]
    return [one for one in found if isinstance(one, Part)]


@pytest.fixture(scope="module")
def usual() -> list[Part]:
    return parts(0.88)


@pytest.mark.parametrize("ratio", [0.8, 0.88, 1.0])
def test_the_ratio_comes_out(ratio: float) -> None:
    said = pooled(parts(ratio))
    assert said.reason is None
    assert said.same_throttle is not None
    assert said.ratio is not None
    assert said.same_throttle.low <= ratio <= said.same_throttle.high
    assert said.same_throttle.value == pytest.approx(ratio, abs=0.02)
    # At the same work the map needs more throttle.
    assert said.ratio.value > said.same_throttle.value


def test_a_plain_comparison_would_get_the_sign_wrong() -> None:
    # Riders use the map where it is hot: minutes on it heat more than minutes off it, though the map heats less.
    rows = np.concatenate([effect_columns.windows(track(seed, 0.88))[0] for seed in range(6)])
    on = rows[:, HEAT_ON].sum(axis=1) > rows[:, HEAT].sum(axis=1)
    assert rows[on, RISE].mean() > rows[~on, RISE].mean()


def test_each_rides_own_level_of_heat_and_cooling_is_no_map_effect() -> None:
    """Half the rides with 12 % more heat on the standard map alone, the others ridden on both."""
    one_map = [part_of(track(20 + n, 0.88, use="never", heat=1.12, cool=0.95)) for n in range(4)]
    both = [part_of(track(n, 0.88, heat=0.95)) for n in range(6)]
    said = pooled([one for one in (*one_map, *both) if isinstance(one, Part)])
    assert said.reason is None
    assert said.same_throttle is not None
    assert said.same_throttle.low <= 0.88 <= said.same_throttle.high
    assert said.rides_with_both == 6


def test_a_map_that_goes_with_the_ground_is_not_told() -> None:
    said = pooled(parts(0.88, use="soft"))
    assert said.reason == "ground"
    assert said.explained is not None
    assert said.explained > 0.9


def test_reasons_come_in_the_order_of_what_is_lacking(usual: list[Part]) -> None:
    assert pooled([]).reason == "no_rides"
    assert pooled(parts(0.88, 3, use="never")).reason == "one_map"
    assert pooled(usual[:3]).reason == "few_rides"
    brief = [replace(one, on_s=np.array([2000.0, 65.0])) for one in usual]
    assert pooled(brief).reason == "little"
    assert pooled(parts(1.15)).reason == "swapped"


def test_an_interval_of_the_build_holds_the_spread_between_bikes(usual: list[Part]) -> None:
    own, build = pooled(usual), pooled(usual, of_build=True)
    assert own.ratio is not None
    assert build.ratio is not None
    assert build.ratio.value == own.ratio.value
    assert build.ratio.high - build.ratio.low > own.ratio.high - own.ratio.low


def test_more_rides_narrow_the_interval() -> None:
    few, many = pooled(parts(0.88, 5)), pooled(parts(0.88, 14))
    assert few.same_throttle is not None
    assert many.same_throttle is not None
    assert many.same_throttle.high - many.same_throttle.low < few.same_throttle.high - few.same_throttle.low


def test_the_order_of_rides_does_not_matter(usual: list[Part]) -> None:
    one, other = pooled(usual).ratio, pooled(usual[::-1]).ratio
    assert one is not None
    assert other is not None
    assert (one.value, one.low, one.high) == pytest.approx((other.value, other.low, other.high), abs=1e-6)


def test_leaving_a_ride_out_by_one_step_is_as_good_as_fitting_the_others(usual: list[Part]) -> None:
    """The jackknife by its definition: fit all rides but one, for each. Formula: Efron and Tibshirani, An Introduction
    to the Bootstrap, chapter 11, from memory."""
    rides = [one.sums for one in usual]
    left = np.array([effect_fit.fit(rides[:n] + rides[n + 1 :]).log_ratio for n in range(len(rides))])
    count = len(rides)
    exact = np.sqrt((count - 1) / count * ((left - left.mean()) ** 2).sum())
    assert effect_fit.fit(rides).scatter == pytest.approx(exact, rel=0.15)


@pytest.mark.parametrize(("freedom", "expected"), [(4.0, 2.776), (7.0, 2.365), (30.0, 2.042)])
def test_students_t(freedom: float, expected: float) -> None:
    # Tables of Student's t at 97.5 %, from memory.
    assert effect._two_sided(freedom) == pytest.approx(expected, abs=5e-4)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_the_weight_of_all_windows_of_a_ride_does_not_move_the_ratio(factor: float, usual: list[Part]) -> None:
    rides = [one.sums for one in usual]
    scaled = [Sums(one.table * factor, one.windows * factor) for one in rides]
    # The size of the errors is learned from each ride, so that only its number of windows counts.
    assert effect_fit.fit(scaled).log_ratio == pytest.approx(effect_fit.fit(rides).log_ratio, abs=0.02)


@settings(deadline=None, max_examples=60)
@given(values=st.lists(st.floats(-1.0, 40.0), min_size=1, max_size=30))
def test_hats_share_each_value_out(values: list[float]) -> None:
    table = effect_columns.hats(np.array(values), effect_columns.SPEED_MPS)
    assert table.min() >= 0.0
    assert table.sum(axis=1) == pytest.approx(np.ones(len(values)))
    inside = np.clip(values, effect_columns.SPEED_MPS[0], effect_columns.SPEED_MPS[-1])
    assert table @ np.array(effect_columns.SPEED_MPS) == pytest.approx(inside, abs=1e-9)


def test_columns_of_a_window_add_up_to_its_seconds() -> None:
    ride = track(3, 0.9)
    rows, starts = effect_columns.windows(ride)
    assert rows.shape == (starts.size, COLUMNS)
    sheds = effect_columns.usual_cooling(ride.speed_mps)
    first = int(starts[5]) * ride.size
    span = slice(first, first + effect_columns.WINDOW_STEPS * ride.size)
    assert rows[5, effect_columns.AIR] == pytest.approx(STEP_S * sheds[span].sum(), rel=1e-6)
    assert rows[5, RISE] == ride.coolant_c[span.stop] - ride.coolant_c[span.start]


@pytest.mark.parametrize("name", ["coolant_c", "turning", "opening", "speed_mps", "ambient_c", "conservative"])
def test_windows_with_something_not_known_are_left_out(name: str) -> None:
    ride = track(3, 0.9)
    values = getattr(ride, name).copy()
    hole = slice(3000, 3400)
    values[hole] = np.nan
    _, starts = effect_columns.windows(replace(ride, **{name: values}))
    begin, end = starts * ride.size, (starts + effect_columns.WINDOW_STEPS) * ride.size
    assert not ((begin < hole.stop) & (end > hole.start)).any()
    assert starts.size > 50


def test_windows_with_the_engine_off_or_the_thermostat_on_its_way_are_left_out() -> None:
    ride = track(3, 0.9)
    off = ride.turning.copy()
    off[3000:3400] = 0.0
    whole = effect_columns.windows(ride)[1].size
    assert effect_columns.windows(replace(ride, turning=off))[1].size < whole
    assert effect_columns.windows(replace(ride, opens_c=400.0))[1].size == 0


def test_rides_that_can_give_nothing_say_why() -> None:
    ride = track(3, 0.9)
    assert part_of(track(3, 0.9, minutes=3.0)) == "short"
    draw = np.random.default_rng(5)
    assert part_of(replace(ride, coolant_c=np.round(90.0 + 5.0 * draw.normal(size=ride.coolant_c.size)))) == "numb"
    bounce = (np.arange(ride.conservative.size) // 20 % 2).astype(np.float64)
    assert part_of(replace(ride, conservative=bounce)) == "bouncing"


def test_what_is_kept_of_a_ride_reads_back_to_the_last_digit(usual: list[Part]) -> None:
    one = usual[0]
    numbers = effect.numbers_of(one)
    again = effect.part_from(numbers)
    assert again is not None
    assert (effect.numbers_of(again) == numbers).all()
    assert (again.sums.table == one.sums.table).all()
    assert (again.switches, again.like) == (one.switches, one.like)
    assert effect.part_from(numbers[:-1]) is None
    assert effect.part_from(np.where(np.arange(numbers.size) == 40, np.nan, numbers)) is None
    assert effect.part_from(-numbers) is None


def test_ground_explains_a_map_that_goes_with_it_and_not_one_that_does_not() -> None:
    with_it = effect_ground.explained([effect_ground.sums(track(n, 0.9, use="soft")) for n in range(4)])
    free = effect_ground.explained([effect_ground.sums(track(n, 0.9)) for n in range(4)])
    assert with_it > 0.9
    assert free < 0.6
    assert effect_ground.explained([effect_ground.sums(track(1, 0.9, use="never"))]) == 0.0
    assert effect_ground.explained([np.zeros((effect_ground.TERMS + 1, effect_ground.TERMS + 1))]) == 0.0


def test_seconds_and_switches_are_counted_by_ground(usual: list[Part]) -> None:
    seconds = np.sum([one.seconds for one in usual], axis=0)
    assert seconds.shape == (2, 4)
    assert seconds[:, 2:].sum() == 0.0
    assert seconds[1, 1] > seconds[1, 0] > 0.0
    assert seconds[0, 0] > seconds[0, 1] > 0.0
    for one in usual:
        assert one.switches > one.like > 0
        assert one.seconds.sum() <= one.on_s.sum()
    with_it = track(4, 0.9, use="soft")
    inside = effect_columns.within(effect_columns.windows(with_it)[1], with_it.usable.size)
    assert effect_ground.switches(with_it, inside)[1] == 0
