"""The analysis on open car logs: their known figures, and nothing that a car's log can't tell.

KIT Automotive OBD-II Dataset, DOI 10.35097/1130, CC BY 4.0. Seconds and distances were counted on the rows as written,
each value left to stand until the next row, steps over 2 s left out. GPX files: test files of gpxpy (Apache-2.0).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from ridelog.advice import default_advice
from ridelog.analysis.exposure import Trace, exposures
from ridelog.analyze import analyze
from ridelog.grid import usable
from ridelog.ingest import ImportOptions, read_rides
from ridelog.intervals import Interval, intersection, total_s
from ridelog.results import Analysis, Exposure, Traces, to_json
from ridelog.ride import Ride

pytestmark = pytest.mark.open_data


@dataclass(frozen=True)
class Car:
    """What is true of one log. `above`: seconds whose reading is above, and at or above, a temperature."""

    file: str
    duration_s: float
    distance_m: float
    lowest_c: float
    peak_c: float
    above: dict[float, tuple[float, float | None]]
    holes_s: tuple[float, ...]
    ambient_c: tuple[float, float]


CARS = (
    Car(
        "car_jam_hot.csv",
        3945.35,
        54_330.0,
        29.0,
        94.0,
        {80.0: (3300.6, None), 90.0: (1775.0, 3173.2)},
        (),
        (16.0, 23.0),
    ),
    Car(
        "car_cold_warmup.csv",
        3401.32,
        55_960.0,
        9.0,
        95.0,
        {80.0: (2535.7, None), 90.0: (80.1, 390.6)},
        (),
        (-14.0, -2.0),
    ),
    Car(
        "car_gap524s.csv",
        5138.71,
        101_850.0,
        8.0,
        95.0,
        {80.0: (3822.9, None), 90.0: (600.6, 2391.7)},
        (524.1, 26.4),
        (-50.0, 50.0),
    ),
)
CLUSTERS_RPM_PER_KMH = (16.8, 20.2, 25.7, 37.4, 58.5)


@cache
def analyzed(path: Path) -> tuple[Ride, Analysis, Traces]:
    (ride,) = read_rides([path], ImportOptions())
    return ride, *analyze(ride, None, default_advice())


@pytest.fixture(params=CARS, ids=lambda car: car.file)
def car(request: pytest.FixtureRequest) -> Car:
    return request.param


def test_duration_distance_and_maximum(car: Car, open_data: Path) -> None:
    _, result, _ = analyzed(open_data / "obd" / car.file)
    assert result.ride.duration_s == pytest.approx(car.duration_s, rel=0.005)
    assert result.ride.distance_m == pytest.approx(car.distance_m, rel=0.005)
    assert {e.peak_c for e in result.exposure} == {car.peak_c}
    assert [(e.name, e.threshold_c) for e in result.exposure] == [("warm", 95.0), ("hot", 105.0), ("limit", 115.0)]
    to_json(result)


def own_exposure(ride: Ride, threshold_c: float) -> Exposure:
    coolant, info = usable(ride, "coolant_c"), ride.channels["coolant_c"]
    ((record, _),) = exposures(
        Trace(coolant.t_s, coolant.y, coolant.joined),
        None,
        (("asked", threshold_c),),
        duration_s=ride.duration_s,
        resolution_c=info.resolution,
        held_s=1.0 / info.rate_hz if info.held and info.rate_hz else None,
    )
    return record


def test_exposure(car: Car, open_data: Path) -> None:
    ride, _, _ = analyzed(open_data / "obd" / car.file)
    for threshold_c, (above_s, at_least_s) in car.above.items():
        found = own_exposure(ride, threshold_c)
        assert found.observed_s == pytest.approx(above_s, rel=0.05)
        assert found.observed_low_s <= above_s + 0.1
        assert found.observed_high_s >= (above_s if at_least_s is None else at_least_s)
        assert found.unknown_s == pytest.approx(sum(car.holes_s), abs=3.0)


def test_no_hole_is_bridged(car: Car, open_data: Path) -> None:
    ride, result, traces = analyzed(open_data / "obd" / car.file)
    holes = sorted((gap.length_s for gap in ride.gaps if gap.length_s > 2.0), reverse=True)
    assert holes == pytest.approx(list(car.holes_s), abs=0.1)
    for gap in ride.gaps:
        inside = (traces.t_s > gap.start_s + 0.01) & (traces.t_s < gap.end_s - 0.01)
        for name, values in traces.series.items():
            assert np.isnan(values[inside]).all(), name
        for segment in result.segments:
            assert total_s(intersection([Interval(segment.start_s, segment.end_s)], [gap])) < 1e-5


def test_ambient(car: Car, open_data: Path) -> None:
    _, result, _ = analyzed(open_data / "obd" / car.file)
    assert result.ride.ambient_c is not None
    assert car.ambient_c[0] <= result.ride.ambient_c <= car.ambient_c[1]


def test_no_drag_without_a_bike_file_but_a_reason(car: Car, open_data: Path) -> None:
    _, result, _ = analyzed(open_data / "obd" / car.file)
    assert not any(segment.kind == "heavy_drag" for segment in result.segments)
    reasons = {item.question: item.reason for item in result.cannot_tell}
    assert "bike file" in reasons["heavy_drag"]
    assert result.boiling is None
    assert "boiling" in reasons
    assert all(segment.verdict in ("unknown", "not_advised") for segment in result.segments)


def test_an_intake_flap_is_not_taken_for_a_throttle(car: Car, open_data: Path) -> None:
    # These engines hold the flap at 84 % when idling: read as a throttle it would be wide open for hours.
    _, result, _ = analyzed(open_data / "obd" / car.file)
    assert not any(segment.kind == "wide_open" for segment in result.segments)
    assert any(item.question == "wide_open" and "idles" in item.reason for item in result.cannot_tell)


def learned(open_data: Path, file: str) -> list[float]:
    _, result, _ = analyzed(open_data / "obd" / file)
    assert result.facts is not None
    return list(result.facts["gearing"]["learned_rpm_per_kmh"])


def test_gear_ratios_come_from_the_log_alone(car: Car, open_data: Path) -> None:
    ratios = learned(open_data, car.file)
    assert len(ratios) >= 3
    for ratio in ratios:
        assert min(abs(ratio / known - 1.0) for known in CLUSTERS_RPM_PER_KMH) < 0.02, ratio


def test_logs_of_one_car_agree_on_the_gears_they_share(open_data: Path) -> None:
    every = [learned(open_data, car.file) for car in CARS]
    for i, left in enumerate(every):
        for right in every[i + 1 :]:
            shared = [(a, b) for a in left for b in right if abs(a / b - 1.0) < 0.08]
            assert len(shared) >= 3
            assert all(abs(a / b - 1.0) < 0.02 for a, b in shared)


def test_a_track_without_an_engine(open_data: Path) -> None:
    # The timed part of the file: 513 points, 6.26 km.
    ride, result, _ = analyzed(open_data / "gpx" / "hill_some_untimed.gpx")
    assert ride.samples.height == 513
    assert result.ride.distance_m == pytest.approx(6260.0, rel=0.005)
    assert "no usable coolant" in result.summary[0]
    assert {item.question for item in result.cannot_tell} >= {"exposure", "heavy_drag", "wide_open", "map_in_use"}
