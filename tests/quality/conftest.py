"""The sample rides as imported, to put faults into."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride

HERE = Path(__file__).resolve().parents[2] / "sample_logs"


@pytest.fixture(scope="session")
def sample_rides() -> dict[str, Ride]:
    """All sample rides by name, the one from two devices joined."""
    rides = {}
    for entry in tomllib.loads((HERE / "manifest.toml").read_text(encoding="utf-8"))["ride"]:
        (ride,) = read_rides(
            [HERE / name for name in entry["files"]],
            ImportOptions(timezone="UTC"),
            together=entry.get("together", False),
        )
        rides[entry["name"]] = ride
    return rides
