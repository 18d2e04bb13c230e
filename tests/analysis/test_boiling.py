"""Boiling temperature of the coolant mix."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.atmosphere import standard_pressure_pa
from ridelog.analysis.boiling import boiling_c, mass_share, sealed_and_vented_c

Reference = Callable[[str], list[dict[str, float]]]


def test_water_against_the_industrial_formulation(reference: Reference) -> None:
    # IAPWS-IF97. The short vapour-pressure form is fitted to it from 90 to 140 C.
    for row in reference("water_boiling.csv"):
        assert boiling_c(100.0 * row["pressure_bar_abs"], volume_share=0.0) == pytest.approx(row["boiling_c"], abs=0.01)


def test_mixes_against_raoult_on_reference_vapour_pressures(reference: Reference) -> None:
    for row in reference("mix_boiling.csv"):
        own = boiling_c(100.0 * row["pressure_bar_abs"], volume_share=row["glycol_volume_share"])
        assert own == pytest.approx(row["raoult_c"], abs=0.05)
        # Two activity-coefficient methods stay within the stated method error of 0.5 K (0.6 at the richest corner).
        assert own == pytest.approx(row["unifac_c"], abs=0.6)
        assert own == pytest.approx(row["dortmund_c"], abs=0.5)


def test_caps_at_three_heights(reference: Reference) -> None:
    for row in reference("cap_boiling.csv"):
        ambient_kpa = standard_pressure_pa(row["elevation_m"]) / 1000.0
        sealed, vented = sealed_and_vented_c(ambient_kpa, 100.0 * row["cap_bar_gauge"], row["glycol_volume_share"])
        assert sealed == pytest.approx(row["boiling_c"], abs=0.05)
        assert vented <= sealed


def test_a_coolant_standard_boils_where_it_says() -> None:
    # ASTM D3306 asks 108 C (226 F = 107.8 C) of the 50 % dilution: from memory, the standard itself was not read.
    assert boiling_c(101.325, volume_share=0.5) == pytest.approx(107.8, abs=0.05)


def test_volume_and_mass_are_kept_apart() -> None:
    # 50 % by volume is 52.7 % by mass: plain algebra on the densities.
    assert mass_share(0.5) == pytest.approx(0.5272, abs=2e-4)
    assert boiling_c(101.325, mass=0.527) == pytest.approx(boiling_c(101.325, volume_share=0.5), abs=0.02)
    assert boiling_c(101.325, mass=0.5) == pytest.approx(107.08, abs=0.05)


def test_a_leaking_cap_and_height_cost_what_the_reference_says() -> None:
    sealed_0, vented_0 = sealed_and_vented_c(101.325, 110.0, 0.5)
    assert sealed_0 - vented_0 == pytest.approx(23.0, abs=0.1)
    for elevation_m, loss in ((1500.0, 2.75), (3000.0, 5.27)):
        sealed, _ = sealed_and_vented_c(standard_pressure_pa(elevation_m) / 1000.0, 110.0, 0.5)
        assert sealed_0 - sealed == pytest.approx(loss, abs=0.05)


@pytest.mark.parametrize(
    ("kpa", "shares"), [(10.0, {"volume_share": 0.5}), (900.0, {"volume_share": 0.5}), (100.0, {"volume_share": 0.9})]
)
def test_outside_the_range_is_refused(kpa: float, shares: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="outside"):
        boiling_c(kpa, **shares)


def test_one_share_and_only_one() -> None:
    with pytest.raises(ValueError, match="either"):
        boiling_c(100.0)
    with pytest.raises(ValueError, match="either"):
        boiling_c(100.0, volume_share=0.5, mass=0.5)


@given(st.floats(60.0, 300.0), st.floats(0.0, 0.75), st.floats(1.0, 50.0), st.floats(0.01, 0.05))
def test_more_pressure_and_more_glycol_boil_later(kpa: float, share: float, more_kpa: float, more: float) -> None:
    base = boiling_c(kpa, volume_share=share)
    assert boiling_c(kpa + more_kpa, volume_share=share) > base
    assert boiling_c(kpa, volume_share=share + more) > base
