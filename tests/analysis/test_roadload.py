"""Forces, rotating mass, gear speed and slip."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ridelog.analysis.roadload import (
    air_n,
    crank_power_w,
    driving_slip,
    rolling_n,
    rotating_factor,
    slope_n,
    slope_sine,
    wheel_speed_mps,
)

MASS_KG, DRAG_AREA_M2 = 200.0, 0.6


def test_the_worked_cases(reference: Callable[[str], list[dict[str, float]]]) -> None:
    # Textbook balance, arithmetic; 200 kg and 0.6 m2. Rolling takes the normal force, so 30 % takes 4 % off it.
    for row in reference("road_load.csv"):
        v = row["speed_kmh"] / 3.6
        rolling = rolling_n(MASS_KG, row["rolling"], row["grade"])
        slope = slope_n(MASS_KG, row["grade"])
        air = air_n(row["density_kg_per_m3"], DRAG_AREA_M2, v)
        inertia = row["rotating_factor"] * MASS_KG * row["acceleration_mps2"]
        assert rolling == pytest.approx(row["rolling_n"], rel=1e-3)
        assert slope == pytest.approx(row["slope_n"], rel=1e-3, abs=1e-9)
        assert air == pytest.approx(row["air_n"], rel=1e-3)
        total = rolling + slope + air + inertia
        assert total == pytest.approx(row["total_n"], rel=1e-3)
        assert crank_power_w(total, v, 1.0) == pytest.approx(row["wheel_w"], rel=1e-3)
        assert crank_power_w(total, v, 0.90) == pytest.approx(1000.0 * row["crank_kw"], rel=1e-3)


def test_a_slope_is_not_its_sine() -> None:
    assert float(slope_sine(np.array(0.30))) == pytest.approx(0.28735, abs=1e-5)


def test_the_published_road_load_of_a_motorcycle() -> None:
    # US 40 CFR 86.529-98, figure F98-9, 200 kg row: A = 8.69 N, C = 0.0252 N/(km/h)2; air at 1.2 kg/m3.
    drag_area = 0.0252 * 3.6**2 / (0.5 * 1.2)
    assert drag_area == pytest.approx(0.544, abs=0.001)
    assert 8.69 + air_n(1.2, drag_area, 65.0 / 3.6) == pytest.approx(115.16, abs=0.05)


def test_rotating_mass_in_first_gear() -> None:
    # Inertias assumed (1.10 and 0.004 kg m2), arithmetic.
    assert float(rotating_factor(200.0, 0.315, 18.75, 1.10, 0.004)) == pytest.approx(1.126, abs=0.0005)
    ratios = np.array([25.0, 15.0, 9.0])
    assert (np.diff(rotating_factor(200.0, 0.315, ratios)) < 0.0).all()


def test_gear_speed_is_exact() -> None:
    assert float(wheel_speed_mps(9000.0, 3.0, 1.0, 4.0, 2.0)) == pytest.approx(25.0, abs=1e-12)


def test_slip_is_the_share_of_the_wheel() -> None:
    # 30 over 24 m/s: 0.20 of the wheel's speed (0.25 of the ground's, the slip ratio of SAE J670).
    slip = driving_slip(np.array([30.0, 0.0, 5.0]), np.array([24.0, 0.0, 0.0]))
    assert slip[0] == pytest.approx(0.20)
    assert np.isnan(slip[1])
    assert slip[2] == 1.0
