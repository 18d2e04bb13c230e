"""Facts of riding and set-up, on rides made by hand; the levels are common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis import riding, riding_idle
from ridelog.analysis.riding import ColdLoad, Ridden, WarmUp
from ridelog.analysis.riding_idle import Hang, Idle

Array = npt.NDArray[np.float64]
STEP_S = 0.2


def along(*pieces: tuple[float, float]) -> Array:
    """A channel from (seconds, value) pieces."""
    return np.concatenate([np.full(round(seconds / STEP_S), value) for seconds, value in pieces])


def ridden(opening: Array | None = None, **channels: Array) -> Ridden:
    size = next(one.size for one in (opening, *channels.values()) if one is not None)
    base = Ridden(np.arange(size) * STEP_S, STEP_S, opening, None, None, None, None, None, np.arange(size) * 2.0)
    return replace(base, **channels)  # type: ignore[arg-type]


def test_wide_open_with_short_shuts_is_one_stretch() -> None:
    ride = ridden(along((20, 0.1), (8, 0.9), (0.8, 0.0), (6, 1.0), (3, 0.2), (6, 0.86), (1.4, 0.3), (4, 1.0), (5, 0.0)))
    found = riding.wide_open(ride)
    assert [(round(one.start_s, 1), round(one.end_s, 1)) for one in found] == [(20.0, 34.8), (37.8, 43.8)]
    assert found[0].way_m == 200.0


def test_a_hole_in_the_throttle_bridges_nothing() -> None:
    ride = ridden(along((4, 1.0), (0.8, np.nan), (4, 1.0)))
    assert riding.wide_open(ride) == []


@pytest.mark.parametrize(
    ("held_s", "fall_s", "low", "sharp"),
    [
        (12.0, 0.2, 0.0, True),
        (12.0, 0.6, 0.0, True),
        (12.0, 1.4, 0.0, False),
        (9.0, 0.2, 0.0, False),
        (12.0, 0.2, 0.3, False),
        (12.0, 0.2, 0.1, True),
        (12.0, 5.0, 0.0, False),
    ],
)
def test_a_sharp_shut(held_s: float, fall_s: float, low: float, sharp: bool) -> None:
    fall = np.linspace(1.0, low, round(fall_s / STEP_S) + 1)[1:]
    opening = np.concatenate([along((5, 0.2), (held_s, 1.0)), fall, along((5, low))])
    ride = ridden(opening, rpm=np.full(opening.size, 8500.0))
    found = riding.sharp_shuts(ride)
    assert len(found) == int(sharp)
    if sharp:
        assert found[0].at_s == pytest.approx(5.0 + held_s, abs=STEP_S)
        assert found[0].within_s == pytest.approx(fall_s * 0.7 / (1.0 - low), abs=1e-6)
        assert found[0].rpm == 8500.0


def test_a_shut_that_the_log_does_not_show_is_none() -> None:
    opening = along((12, 1.0), (0.4, np.nan), (5, 0.0))
    assert riding.sharp_shuts(ridden(opening)) == []
    assert riding.sharp_shuts(ridden(along((12, 1.0)))) == []


def test_load_on_a_cold_engine() -> None:
    coolant = along((60, 30.0), (60, 50.0), (60, 80.0))
    opening = along((20, 0.1), (5, 0.7), (75, 0.2), (6, 0.6), (14, 0.1), (60, 1.0))
    power = along((20, 0.0), (5, 0.2), (75, 0.1), (6, 0.25), (4, 0.35), (10, 0.0), (60, 0.9))
    found = riding.cold_load(ridden(opening, coolant_c=coolant, power_share=power))
    assert isinstance(found, ColdLoad)
    assert found.cold_s == pytest.approx(120.0)
    assert found.loaded_s == pytest.approx(15.0)
    assert (found.highest_opening, found.highest_power_share) == (0.7, 0.35)
    assert [round(one.start_s) for one in found.where] == [20, 100]


def test_an_engine_that_is_off_is_not_ridden_cold() -> None:
    ride = ridden(along((60, 0.9)), coolant_c=along((60, 20.0)), rpm=along((60, 0.0)))
    found = riding.cold_load(ride)
    assert found is not None
    assert (found.cold_s, found.loaded_s, found.where) == (0.0, 0.0, ())


def test_the_warm_up() -> None:
    coolant = along((10, 20.0), (100, 40.0), (50, 61.0))
    rpm = along((10, 0.0), (150, 3000.0))
    speed = along((40, 0.0), (120, 5.0))
    opening = along((80, 0.3), (20, 0.8), (60, 1.0))
    found = riding.warm_up(ridden(opening, coolant_c=coolant, rpm=rpm, speed_mps=speed))
    assert isinstance(found, WarmUp)
    assert (found.start_c, found.start_s, found.to_warm_s, found.stood_s) == pytest.approx((40.0, 10.0, 100.0, 30.0))
    assert found.highest_opening == 1.0
    never = riding.warm_up(ridden(coolant_c=along((60, 20.0), (60, 50.0))))
    assert isinstance(never, WarmUp)
    assert never.to_warm_s is None
    assert riding.warm_up(ridden(coolant_c=along((60, 70.0)))) == 70.0
    assert riding.warm_up(ridden(opening)) is None


def test_high_revs_wide_open_and_their_spread() -> None:
    rpm = along((10, 7800.0), (10, 8200.0), (10, 8900.0), (10, 9000.0))
    opening = along((25, 0.95), (5, 0.5), (10, 1.0))
    found = riding.fast(ridden(opening, rpm=rpm), 8000.0)
    assert found is not None
    assert found.seconds == pytest.approx(25.0)
    assert [round(one.seconds, 1) for one in found.where] == [15.0, 10.0]
    assert dict(found.by_rpm) == pytest.approx({7500.0: 10.0, 8000.0: 10.0, 8500.0: 5.0, 9000.0: 10.0})


def idling(rpm: Array, coolant: float = 80.0) -> Ridden:
    size = rpm.size
    return ridden(np.zeros(size), rpm=rpm, speed_mps=np.zeros(size), coolant_c=np.full(size, coolant))


def test_idle_speed_leaves_out_what_has_not_settled() -> None:
    rpm = np.concatenate([along((3, 2900.0)), 1700.0 + 50.0 * np.sin(np.arange(300) / 3.0), along((20, 6000.0))])
    found = riding_idle.idle(idling(rpm))
    assert isinstance(found, Idle)
    assert found.rpm == pytest.approx(1700.0, abs=5.0)
    assert (found.low_rpm, found.high_rpm) == pytest.approx((1650.0, 1750.0), abs=2.0)
    assert found.seconds == pytest.approx(60.0, abs=0.3)
    assert not found.cold
    cold = riding_idle.idle(idling(rpm, 40.0))
    assert isinstance(cold, Idle)
    assert cold.cold
    assert riding_idle.idle(idling(along((8, 1700.0)))) == pytest.approx(5.0)
    assert riding_idle.idle(ridden(rpm)) is None


@pytest.mark.parametrize(("fall_s", "slow"), [(0.6, False), (2.0, False), (4.0, True)])
def test_how_long_the_revs_hang(fall_s: float, slow: bool) -> None:
    steps = round(fall_s / STEP_S)
    blip = np.concatenate([along((1, 5000.0)), np.linspace(5000.0, 2099.0, steps + 1), along((6, 1700.0))])
    opening = np.concatenate([along((1, 0.4)), np.zeros(blip.size - 5)])
    rpm = np.concatenate([along((15, 1700.0)), *[blip] * 4])
    ride = ridden(np.concatenate([along((15, 0.0)), *[opening] * 4]), rpm=rpm)
    ride = replace(ride, free=np.ones(rpm.size, dtype=np.bool_))
    found = riding_idle.hang(ride, 1700.0)
    assert isinstance(found, Hang)
    assert found.blips == 4
    assert found.middle_s == pytest.approx(fall_s, abs=STEP_S + 1e-9)
    assert found.slow == slow


def test_blips_that_tell_nothing_are_not_counted() -> None:
    def hang(opening: Array, rpm: Array, free: bool = True) -> Hang | int | None:
        ride = replace(ridden(opening, rpm=rpm), free=np.full(rpm.size, free))
        return riding_idle.hang(ride, 1700.0)

    shut, slow = along((1, 0.4), (6, 0.0)), along((1, 5000.0), (2, 4000.0), (4, 1700.0))
    four = (np.tile(shut, 4), np.tile(slow, 4))
    assert isinstance(hang(*four), Hang)
    assert hang(*four, free=False) == 0
    # opened again on the way down; too few; cut off by a hole
    assert hang(np.tile(along((1, 0.4), (1, 0.0)), 4), np.tile(along((2, 5000.0)), 4)) == 0
    assert hang(shut, slow) == 1
    assert hang(np.tile(shut, 4), np.tile(along((1, 5000.0), (1, 4000.0), (0.4, np.nan), (4.6, 1700.0)), 4)) == 0


values = st.lists(
    st.tuples(st.floats(0.2, 30.0), st.one_of(st.just(float("nan")), st.floats(0.0, 1.0))), min_size=1, max_size=20
)


@given(values)
def test_stretches_lie_in_the_ride_apart_and_in_order(pieces: list[tuple[float, float]]) -> None:
    opening = along(*pieces)
    ride = ridden(opening, rpm=9000.0 * np.nan_to_num(opening), coolant_c=90.0 * (1.0 - opening))
    end_s = opening.size * STEP_S
    for found in (riding.wide_open(ride), [one.before for one in riding.sharp_shuts(ride)]):
        edges = [edge for one in found for edge in (one.start_s, one.end_s)]
        assert edges == sorted(edges)
        assert not edges or (edges[0] >= 0.0 and edges[-1] <= end_s + 1e-9)
    assert all(one.seconds >= riding.WIDE_LEAST_S - 1e-9 for one in riding.wide_open(ride))
    cold = riding.cold_load(ride)
    assert cold is not None
    assert 0.0 <= cold.loaded_s <= cold.cold_s + 1e-9
    quick = riding.fast(ride, 8000.0)
    assert quick is not None
    assert sum(one.seconds for one in quick.where) == pytest.approx(quick.seconds)
    assert sum(seconds for _, seconds in quick.by_rpm) >= quick.seconds - 1e-9
