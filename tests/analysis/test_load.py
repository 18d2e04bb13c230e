"""Brake power from engine speed and throttle: what any such law has to keep."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.load import brake_power_w, full_torque_nm
from ridelog.bike import parse_bike
from ridelog.constants import SEA_LEVEL_DENSITY_KG_PER_M3

BIKE = parse_bike('schema = 1\nid = "x"\n', "x")
CURVE = (BIKE.power_curve_rpm, BIKE.power_curve_kw)


def power(rpm: float, opening: float, density: float = SEA_LEVEL_DENSITY_KG_PER_M3) -> float:
    return float(brake_power_w(np.array([rpm]), np.array([opening]), *CURVE, density)[0])


def test_wide_open_is_the_bike_files_curve() -> None:
    for rpm, kilowatt in zip(*CURVE, strict=True):
        assert power(rpm, 1.0) == pytest.approx(1000.0 * kilowatt)


@given(st.floats(1500.0, 9500.0), st.floats(0.0, 0.98), st.floats(0.005, 0.02))
def test_more_throttle_is_more_power(rpm: float, opening: float, more: float) -> None:
    assert power(rpm, opening + more) > power(rpm, opening)


def test_small_openings_and_low_revs_are_steep() -> None:
    def share(rpm: float, opening: float) -> float:
        return power(rpm, opening) / power(rpm, 1.0)

    assert share(3000.0, 0.25) > 0.25
    assert share(3000.0, 0.25) > share(8200.0, 0.25)


def test_a_shut_throttle_brakes() -> None:
    assert power(7000.0, 0.0) < 0.0
    assert power(0.0, 0.0) == 0.0


def test_thin_air_takes_charge_not_friction() -> None:
    thin = 0.9 * SEA_LEVEL_DENSITY_KG_PER_M3
    assert power(7000.0, 1.0, thin) < 0.9 * power(7000.0, 1.0)
    assert power(7000.0, 0.0, thin) == power(7000.0, 0.0)


def test_beyond_the_curve_power_dies() -> None:
    last = CURVE[0][-1]
    torque = full_torque_nm(np.array([last, 1.08 * last, 1.2 * last]), *CURVE)
    assert torque[0] > torque[1] > torque[2] == 0.0


def test_not_known_stays_not_known() -> None:
    rpm, opening = np.array([np.nan, 5000.0, np.nan]), np.array([0.5, np.nan, 0.0])
    assert np.isnan(brake_power_w(rpm, opening, *CURVE)).all()
