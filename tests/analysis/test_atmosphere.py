"""The standard atmosphere, density altitude and power correction."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from ridelog.analysis.atmosphere import (
    air_density,
    correction_iso1585,
    correction_j1349,
    density_altitude_m,
    standard_pressure_pa,
    standard_temperature_k,
)
from ridelog.constants import SEA_LEVEL_DENSITY_KG_PER_M3, ZERO_CELSIUS_K

Reference = Callable[[str], list[dict[str, float]]]


def test_the_standard_atmosphere(reference: Reference) -> None:
    # ICAO / ISO 2533 by geometric height.
    for row in reference("standard_atmosphere.csv"):
        height = row["elevation_m"]
        kelvin, pressure = standard_temperature_k(height), standard_pressure_pa(height)
        assert kelvin == pytest.approx(row["temperature_k"], abs=0.001)
        assert pressure == pytest.approx(row["pressure_pa"], rel=5e-6)
        density = air_density(pressure, kelvin - ZERO_CELSIUS_K)
        assert density == pytest.approx(row["density_kg_per_m3"], rel=1e-5)
        assert density / SEA_LEVEL_DENSITY_KG_PER_M3 == pytest.approx(row["density_ratio"], abs=1e-5)


def test_arrays_and_numbers_agree() -> None:
    heights = np.array([0.0, 500.0, 3000.0])
    assert standard_pressure_pa(heights).tolist() == [standard_pressure_pa(float(h)) for h in heights]


@pytest.mark.parametrize("height", [-2500.0, 12_000.0])
def test_beyond_the_troposphere_nothing_is_said(height: float) -> None:
    assert np.isnan(standard_pressure_pa(height))


@pytest.mark.parametrize(
    ("pressure_pa", "celsius", "vapour_pa", "expected_m"),
    [
        # Algebra on the gas law; vapour pressure of the moist rows from CoolProp's saturation line.
        (101_325.0, 15.0, 0.0, 0.0),
        (101_325.0, 35.0, 0.0, 693.5),
        (101_325.0, 35.0, 0.5 * 5629.0, 801.6),
        (84_556.0, 30.0, 0.0, 2348.6),
        (89_874.57, 30.0, 0.0, 1742.5),
        (89_874.57, 30.0, 0.3 * 4247.0, 1796.3),
    ],
)
def test_density_altitude(pressure_pa: float, celsius: float, vapour_pa: float, expected_m: float) -> None:
    assert density_altitude_m(air_density(pressure_pa, celsius, vapour_pa)) == pytest.approx(expected_m, abs=0.5)


def test_power_correction(reference: Reference) -> None:
    # SAE J1349 as transcribed in two places, ISO 1585 from memory; neither standard was read.
    for row in reference("power_correction.csv"):
        for rule, name in ((correction_j1349, "j1349"), (correction_iso1585, "iso1585")):
            found = rule(row["dry_kpa"], 0.0, row["inlet_c"])
            assert found.factor == pytest.approx(row[name], abs=6e-5)
            assert found.in_range == (0.93 <= row[name] <= 1.07)
            assert found.power_share * row[name] == pytest.approx(1.0, abs=1e-4)


def test_the_reference_air_needs_no_correction() -> None:
    assert correction_j1349(99.0, 0.0, 25.0).factor == pytest.approx(1.0, abs=1e-12)
    assert correction_iso1585(99.0, 0.0, 25.0).factor == pytest.approx(1.0, abs=1e-12)


def test_damp_air_is_told_apart_from_dry() -> None:
    assert correction_j1349(101.3, 2.3, 25.0).factor == pytest.approx(1.0, abs=1e-12)
    for vapour in (-0.1, 99.0, 120.0):
        with pytest.raises(ValueError, match="vapour"):
            correction_j1349(99.0, vapour, 25.0)
