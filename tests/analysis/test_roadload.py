"""Forces, rotating mass, gear speed and slip."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ridelog.analysis.roadload import air_n, driving_slip, force_n, rotating_factor, slope_sine
from ridelog.bike import parse_bike

MASS_KG, DRAG_AREA_M2 = 200.0, 0.6


def force(row: dict[str, float], **other: float) -> float:
    """Force of a row of the table, with some of its terms put to other values."""
    row = {**row, **other}
    air = air_n(row["density_kg_per_m3"], DRAG_AREA_M2, row["speed_kmh"] / 3.6)
    found = force_n(
        MASS_KG,
        rolling=row["rolling"],
        grade=np.array([row["grade"]]),
        rotating=row["rotating_factor"],
        acceleration_mps2=np.array([row["acceleration_mps2"]]),
        air=air,
    )
    return float(found[0])


def test_the_worked_cases(reference: Callable[[str], list[dict[str, float]]]) -> None:
    # Textbook balance, arithmetic; 200 kg and 0.6 m2. Rolling takes the normal force, so 30 % takes 4 % off it.
    for row in reference("road_load.csv"):
        still = {"rolling": 0.0, "speed_kmh": 0.0, "acceleration_mps2": 0.0}
        assert force(row, **{**still, "rolling": row["rolling"]}) - force(row, **still) == pytest.approx(
            row["rolling_n"], rel=1e-3
        )
        assert force(row, **still) == pytest.approx(row["slope_n"], rel=1e-3, abs=1e-9)
        assert air_n(row["density_kg_per_m3"], DRAG_AREA_M2, row["speed_kmh"] / 3.6) == pytest.approx(
            row["air_n"], rel=1e-3
        )
        assert force(row) == pytest.approx(row["total_n"], rel=1e-3)
        wheel_w = force(row) * row["speed_kmh"] / 3.6
        assert wheel_w == pytest.approx(row["wheel_w"], rel=1e-3)
        assert wheel_w / 0.90 == pytest.approx(1000.0 * row["crank_kw"], rel=1e-3)


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
    # 9000 1/min over 3.0 x 1.0 x 4.0 on 2.000 m of tyre: 25 m/s. Arithmetic.
    bike = parse_bike(
        'schema = 1\nid = "x"\n[wheels]\ntyre_circumference_m = 2.0\n'
        "[gearing]\nprimary = 3.0\nfinal = 4.0\ngears = [1.0]\n",
        "x",
    )
    assert 9000.0 / bike.rpm_per_mps[0] == pytest.approx(25.0, abs=1e-12)


def test_slip_is_the_share_of_the_wheel() -> None:
    # 30 over 24 m/s: 0.20 of the wheel's speed (0.25 of the ground's, the slip ratio of SAE J670).
    slip = driving_slip(np.array([30.0, 0.0, 5.0]), np.array([24.0, 0.0, 0.0]))
    assert slip[0] == pytest.approx(0.20)
    assert np.isnan(slip[1])
    assert slip[2] == 1.0
