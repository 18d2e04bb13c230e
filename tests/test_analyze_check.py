"""Checks of the bike file against the ride: power over mass, build against elevation, and what the air leaves.

The simulator in tests/plant makes the rides; its machines differ from their bike files by up to 5 % in mass and 3 % in
driveline. Of 87 rides of machines that fit their files and could be judged, none was contradicted: the check is made to
stay silent rather than to be wrong.
"""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from plant import bike_of, simulate

from ridelog.advice import BuildRow, default_advice
from ridelog.analyze import analyze
from ridelog.bike import Bike
from ridelog.results import Analysis, to_json
from ridelog.ride import Ride
from ridelog.words.checks import check_lines


@pytest.fixture(scope="module")
def ride() -> Ride:
    return simulate(9000, "heron-300", machine_seed=400, duration_s=1500.0).ride


BIKE = bike_of("heron-300")


def checked(ride: Ride, bike: Bike | None, **sheet: tuple[BuildRow, ...]) -> Analysis:
    result, _ = analyze(ride, bike, replace(default_advice(), **sheet), ambient_c=20.0)
    json.dumps(to_json(result))  # finite throughout
    return result


def said(result: Analysis, question: str) -> str:
    return " ".join(item.reason for item in result.cannot_tell if item.question == question)


def test_a_file_that_fits_is_let_be(ride: Ride) -> None:
    result = checked(ride, BIKE)
    assert result.facts is not None
    found = result.facts["self_check"]
    assert found["low"] < 1.0 < found["high"]
    assert found["ratio"] == pytest.approx(1.0, abs=0.15)
    assert said(result, "self_check") == ""


@pytest.mark.parametrize("factor", [0.6, 1.5])
def test_a_wrong_curve_is_told_with_what_would_fit(ride: Ride, factor: float) -> None:
    wrong = replace(BIKE, power_curve_kw=tuple(factor * kw for kw in BIKE.power_curve_kw))
    result = checked(ride, wrong)
    assert result.facts is not None
    found = result.facts["self_check"]
    assert found["ratio"] == pytest.approx(1.0 / factor, rel=0.15)
    text = said(result, "self_check")
    assert f"power_curve_kw times {found['ratio']:.2f}" in text
    assert f"total_kg near {BIKE.total_kg / found['ratio']:.0f}" in text
    assert "can't tell which" in text


def test_a_heavier_bike_and_a_weaker_curve_look_alike(ride: Ride) -> None:
    weak = checked(ride, replace(BIKE, power_curve_kw=tuple(kw / 1.6 for kw in BIKE.power_curve_kw)))
    light = checked(ride, replace(BIKE, total_kg=1.6 * BIKE.total_kg))
    assert weak.facts is not None
    assert light.facts is not None
    assert weak.facts["self_check"]["ratio"] == pytest.approx(light.facts["self_check"]["ratio"], rel=0.15)


@pytest.mark.parametrize("lost", ["throttle_pct", "engine_rpm", "elevation_m", "gps_speed_mps"])
def test_without_a_channel_it_says_why_it_cant_check(ride: Ride, lost: str) -> None:
    less = replace(
        ride,
        samples=ride.samples.drop(lost),
        channels={name: info for name, info in ride.channels.items() if name != lost},
    )
    result = checked(less, BIKE)
    assert result.facts is not None
    assert result.facts["self_check"]["ratio"] is None
    assert result.facts["self_check"]["reason"]
    assert said(result, "self_check") == ""


def test_without_a_bike_nothing_is_checked(ride: Ride) -> None:
    result = checked(ride, None)
    assert result.facts is not None
    assert result.facts["build_check"] == {"fits": None, "reason": "no bike file"}


def told(bike: Bike) -> Bike:
    """The same bike with compression, fuel and elevation from its file."""
    return replace(bike, defaults_used=())


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({}, ""),
        ({"compression_ratio": 14.2}, "compression 14.2 is over the 13"),
        ({"fuel_ron": 91.0}, "fuel of 91 RON (85 to 87 AKI) is under the 98 RON"),
        ({"built_for_elevation_m": (1500.0, 3000.0)}, "built for 1500 to 3000 m and ridden at"),
    ],
)
def test_build_against_elevation(ride: Ride, changed: dict[str, object], says: str) -> None:
    result = checked(ride, told(replace(BIKE, **changed)))  # type: ignore[arg-type]
    assert result.facts is not None
    assert result.facts["build_check"]["fits"] is (says == "")
    text = said(result, "build_check")
    assert says in text
    assert ("qualified technician" in text) is (says != "")


def test_the_sheet_s_own_rows_hold(ride: Ride) -> None:
    strict = checked(ride, told(BIKE), builds=(BuildRow(-430.0, 10.0, 90.0),))
    assert "over the 10" in said(strict, "build_check")


def test_a_build_nobody_described_can_t_be_judged(ride: Ride) -> None:
    keys = ("engine.compression_ratio", "engine.fuel_ron", "engine.built_for_elevation_m")
    result = checked(ride, replace(BIKE, defaults_used=keys))
    assert result.facts is not None
    assert result.facts["build_check"]["fits"] is None


def test_octane_is_shown_as_a_band_and_the_air_with_its_doubt(ride: Ride) -> None:
    result = checked(ride, told(BIKE))
    assert result.facts is not None
    # AKI = RON - S / 2, S 8 to 12: 98 RON is 92 to 94.
    assert (result.facts["build_check"]["fuel_aki_low"], result.facts["build_check"]["fuel_aki_high"]) == (92.0, 94.0)
    lines = " ".join(check_lines(result.facts))
    assert "98 RON (92 to 94 AKI)" in lines
    assert "four-strokes" in lines
    assert 0.8 < result.facts["air_check"]["power_share_j1349"] < 1.05


def test_what_the_bike_file_does_not_give_is_not_told_as_given(ride: Ride) -> None:
    said_so = replace(BIKE, defaults_used=("engine.fuel_ron",))
    line = next(line for line in check_lines(checked(ride, said_so).facts) if line.startswith("Build"))
    assert "fuel assumed since the bike file does not say" in line
    assert "compression assumed" not in line
    whole = replace(BIKE, defaults_used=())
    line = next(line for line in check_lines(checked(ride, whole).facts) if line.startswith("Build"))
    assert "assumed" not in line
