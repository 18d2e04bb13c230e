"""Wrong number of pulses a turn, told by the bike's gearing."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import values, with_channel

from ridelog.bike import Bike, read_bike
from ridelog.quality import find_marks
from ridelog.ride import QualityMark, Ride

HERE = Path(__file__).resolve().parents[2] / "sample_logs"
BIKES = {
    entry["name"]: entry["bike"]
    for entry in tomllib.loads((HERE / "manifest.toml").read_text(encoding="utf-8"))["ride"]
}
TEETH = (0.85, 0.92, 1.0, 1.08, 1.15)
"""Other sprockets than the bike file's."""


def bike_of(name: str) -> Bike:
    return read_bike(HERE / "bikes" / f"{BIKES[name]}.bike.toml")


def marks(ride: Ride, rpm_per_mps: tuple[float, ...] | None) -> list[QualityMark]:
    found = find_marks(ride.samples, ride.channels, ride.gaps, rpm_per_mps)
    return [mark for mark in found if mark.kind == "pulse_count"]


@pytest.mark.parametrize("name", sorted(BIKES))
def test_twice_and_half(sample_rides: dict[str, Ride], name: str) -> None:
    ride, ratios = sample_rides[name], bike_of(name).rpm_per_mps
    assert marks(ride, ratios) == []
    rpm = values(ride, "engine_rpm")
    for factor, word in ((2.0, "twice"), (0.5, "half")):
        wrong = with_channel(ride, "engine_rpm", np.minimum(rpm * factor, 15_990.0))
        (mark,) = marks(wrong, ratios)
        assert (mark.channel, mark.action) == ("engine_rpm", "kept")
        assert f"is {word} what" in mark.detail
        assert marks(wrong, None) == []


@pytest.mark.parametrize("name", ["01-standard-in-sand", "04-clean-radiators", "08-long-ride"])
@pytest.mark.parametrize("teeth", TEETH)
def test_other_sprockets_are_no_pulses(sample_rides: dict[str, Ride], name: str, teeth: float) -> None:
    ride, ratios = sample_rides[name], bike_of(name).rpm_per_mps
    assert marks(ride, tuple(teeth * ratio for ratio in ratios)) == []
