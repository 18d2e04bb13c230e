"""Power over mass from force and motion: made rides whose true ratio is known, and when nothing is concluded."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.analysis import selfcheck
from ridelog.results import FloatArray

STEP_S, MASS_KG, WINDOW = 0.2, 190.0, 5


def ride(
    ratio: float = 1.0, *, noise: float = 0.0, minutes: float = 10.0, lag_s: float = 0.0, seed: int = 1
) -> dict[str, FloatArray | float | int]:
    """A bike that is `ratio` times as strong over its mass as its file: power in bursts, ground that changes slowly."""
    count = round(60.0 * minutes / STEP_S)
    random = np.random.default_rng(seed)
    t_s = np.arange(count) * STEP_S
    power_w = 9000.0 + 6000.0 * np.sin(2.0 * np.pi * t_s / 3.7) + 3000.0 * np.sin(2.0 * np.pi * t_s / 1.9)
    speed_mps = 12.0 + 3.0 * np.sin(2.0 * np.pi * t_s / 71.0)
    drag_mps2 = 1.0 + 0.5 * np.sin(2.0 * np.pi * t_s / 240.0)
    smooth = selfcheck.matched_mean(power_w, WINDOW)
    felt = ratio * smooth / (speed_mps * MASS_KG) - drag_mps2 + noise * random.standard_normal(count)
    late = round(lag_s / STEP_S)
    return {
        "tyre_power_w": power_w,
        "speed_mps": speed_mps,
        "air_n": np.zeros(count),
        "felt_mps2": np.roll(felt, late),
        "mass_kg": MASS_KG,
        "where": np.ones(count, dtype=np.bool_),
        "step_s": STEP_S,
        "window": WINDOW,
    }


def scale_of(**made: object) -> selfcheck.Scale:
    found = selfcheck.scale(**made)  # type: ignore[arg-type]
    assert isinstance(found, selfcheck.Scale), found
    return found


@pytest.mark.parametrize("ratio", [0.6, 0.85, 1.0, 1.2, 1.5])
def test_a_ride_without_error_gives_the_true_ratio(ratio: float) -> None:
    found = scale_of(**ride(ratio))
    assert found.value == pytest.approx(ratio, rel=0.02)
    assert found.low < found.value < found.high
    assert found.agreement > 0.99


@settings(max_examples=20, deadline=None)
@given(ratio=st.floats(0.5, 2.0), factor=st.floats(0.5, 2.0))
def test_a_file_scaled_scales_the_answer_the_other_way(ratio: float, factor: float) -> None:
    """Only the ratio of power to mass can be found: twice the power in the file is half the answer."""
    made = ride(ratio)
    once = scale_of(**made)
    made["tyre_power_w"] = factor * np.asarray(made["tyre_power_w"])
    assert scale_of(**made).value == pytest.approx(once.value / factor, rel=0.03)


@pytest.mark.parametrize("lag_s", [-0.4, 0.0, 0.6, 1.2])
def test_a_receivers_delay_is_found(lag_s: float) -> None:
    found = scale_of(**ride(lag_s=lag_s))
    assert found.lag_s == pytest.approx(lag_s, abs=STEP_S)
    assert found.value == pytest.approx(1.0, rel=0.03)


def test_noise_on_the_motion_widens_nothing_into_a_false_statement() -> None:
    """Errors of the motion make the answer too high, and before that shows the check falls silent."""
    for seed in range(12):
        for noise in (0.2, 0.4, 0.8, 1.6, 3.0):
            found = selfcheck.scale(**ride(noise=noise, seed=seed))  # type: ignore[arg-type]
            if isinstance(found, selfcheck.Scale):
                assert not found.contradicts
            else:
                assert "hardly follows" in found
    assert isinstance(selfcheck.scale(**ride(noise=3.0)), str)  # type: ignore[arg-type]


def test_little_driving_is_not_judged() -> None:
    found = selfcheck.scale(**ride(minutes=1.5))  # type: ignore[arg-type]
    assert isinstance(found, str)
    assert "of driving in gear" in found


def test_moments_left_out_do_not_count() -> None:
    """A wrong minute that is not usable changes nothing."""
    made = ride(1.0)
    where = np.asarray(made["where"], dtype=np.bool_).copy()
    where[900:1200] = False
    clean = scale_of(**{**made, "where": where})
    felt = np.asarray(made["felt_mps2"]).copy()
    felt[900:1200] *= 7.0
    assert scale_of(**{**made, "felt_mps2": felt, "where": where}).value == clean.value


def test_usable_leaves_out_slip_standing_and_the_other_map() -> None:
    where = np.array([True, True, True, True, False])
    speed = np.array([10.0, 2.0, 10.0, 10.0, 10.0])
    slip = np.array([0.0, 0.0, 0.3, np.nan, 0.0])
    standard = np.array([True, True, True, True, True])
    assert selfcheck.usable(where, speed, slip, standard).tolist() == [True, False, False, True, False]
    assert selfcheck.usable(where, speed, None, np.array([False, *[True] * 4])).tolist() == [
        False, False, True, True, False,
    ]  # fmt: skip
