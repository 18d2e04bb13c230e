"""Healthy logs give no marks: the sample rides, whose truth is known, and the open logs."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from faults import marks_of

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride


def test_sample_rides_have_no_false_marks(sample_rides: dict[str, Ride]) -> None:
    told = {name: [(mark.channel, mark.kind) for mark in marks_of(ride)] for name, ride in sample_rides.items()}
    # Ride 11 is made with a late first fix and a coolant channel that is lost over a sand bed.
    assert told.pop("11-dropouts") == [
        ("coolant_c", "dropout"),
        ("gps_speed_mps", "dropout"),
        ("lat_deg", "dropout"),
    ]
    two = told.pop("12-two-devices")
    assert {kind for _, kind in two} <= {"dropout"}  # the devices began and ended apart
    assert not any(told.values()), told


@pytest.mark.open_data
def test_open_logs_have_no_false_marks(open_data: Path) -> None:
    """KIT Automotive OBD-II Dataset (CC BY 4.0), test files of gpxpy (Apache-2.0), togeojson and gpsd (BSD)."""
    read = 0
    for path in sorted(path for path in open_data.rglob("*") if path.suffix in (".csv", ".gpx", ".log")):
        try:
            rides = read_rides([path], ImportOptions())
        except InputRefused:
            continue
        for ride in rides:
            read += 1
            # The intake air of the car logs does jump, to 135 C at 20 C outside and back.
            strange = [mark for mark in marks_of(ride) if mark.channel != "intake_air_c"]
            assert strange == [], path.name
            assert {mark.kind for mark in marks_of(ride)} <= {"impossible_rate", "out_of_range"}
    assert read >= 10
