"""The sample logs against what their simulator knows: every true stretch found where it is, none made up, verdicts
right.

The truth comes from `sample_logs`, which simulates rider, bike, ground and cooling in its own way and shares no code
with the analysis.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from ridelog.advice import parse_advice
from ridelog.analyze import analyze
from ridelog.bike import Bike, read_bike
from ridelog.ingest import ImportOptions, read_rides
from ridelog.intervals import Interval, iou
from ridelog.results import Analysis, Segment, to_json
from ridelog.ride import Ride

HERE = Path(__file__).resolve().parent.parent / "sample_logs"
ENTRIES: list[dict[str, Any]] = tomllib.loads((HERE / "manifest.toml").read_text(encoding="utf-8"))["ride"]
TRUTH = {one["name"]: one for one in json.loads((HERE / "truth.json").read_text(encoding="utf-8"))["rides"]}


SHEET = parse_advice((HERE / "default.advice.toml").read_text(encoding="utf-8"), "default.advice.toml")


@dataclass(frozen=True)
class Sample:
    """One sample ride, imported and analyzed, beside its truth."""

    ride: Ride
    bike: Bike
    result: Analysis
    truth: dict[str, Any]


@pytest.fixture(scope="module", params=ENTRIES, ids=lambda entry: entry["name"])
def sample(request: pytest.FixtureRequest) -> Sample:
    entry = request.param
    bike = read_bike(HERE / "bikes" / f"{entry['bike']}.bike.toml")
    options = ImportOptions(
        bike=bike,
        bike_id=bike.id,
        ambient_c=entry.get("ambient_c"),
        start=datetime.fromisoformat(entry["start"]) if "start" in entry else None,
        timezone=entry.get("timezone"),
    )
    (ride,) = read_rides([HERE / name for name in entry["files"]], options, together=entry.get("together", False))
    result, _ = analyze(ride, bike, SHEET)
    return Sample(ride, bike, result, TRUTH[entry["name"]])


def span(section: dict[str, Any] | Segment) -> list[Interval]:
    if isinstance(section, Segment):
        return [Interval(section.start_s, section.end_s)]
    return [Interval(section["start_s"], section["end_s"])]


def found_for(sample: Sample, section: dict[str, Any]) -> Segment | None:
    same = [one for one in sample.result.segments if one.kind == section["kind"]]
    return max(same, key=lambda one: iou(span(one), span(section)), default=None)


def test_every_true_stretch_is_found_and_judged(sample: Sample) -> None:
    for section in sample.truth["sections"]:
        found = found_for(sample, section)
        assert found is not None, section
        assert iou(span(found), span(section)) >= 0.7, (section, found)
        assert found.verdict == section["expected_verdict"], (section, found)


def test_none_is_made_up(sample: Sample) -> None:
    for found in sample.result.segments:
        same = [one for one in sample.truth["sections"] if one["kind"] == found.kind]
        assert max((iou(span(found), span(one)) for one in same), default=0.0) >= 0.7, found


def test_edges_are_true_to_the_ground(sample: Sample) -> None:
    # A median over 21 s finds a stretch; its edges have to be better than that.
    for section in sample.truth["sections"]:
        if section["kind"] in ("heavy_drag", "wide_open"):
            found = found_for(sample, section)
            assert found is not None
            assert found.start_s == pytest.approx(section["start_s"], abs=5.0)
            assert found.end_s == pytest.approx(section["end_s"], abs=5.0)


def test_map_use_on_each_stretch(sample: Sample) -> None:
    for section in sample.truth["sections"]:
        found = found_for(sample, section)
        assert found is not None
        if not sample.truth["map_logged"]:
            assert (found.conservative_share, found.switched_after_s) == (None, None)
            continue
        assert found.conservative_share == pytest.approx(section["conservative_share"], abs=0.06)
        if section["switched_after_s"] is not None:
            assert found.switched_after_s is not None
            assert found.switched_after_s == pytest.approx(section["switched_after_s"], abs=4.0)
        elif section["kind"] in ("heavy_drag", "wide_open"):
            assert found.switched_after_s is None


def test_drag_and_power_are_within_their_bounds(sample: Sample) -> None:
    for section in sample.truth["sections"]:
        found = found_for(sample, section)
        assert found is not None
        if section["kind"] == "heavy_drag":
            # The truth is the ground alone; a slipping tyre costs up to a quarter more.
            assert found.drag_low is not None
            assert found.drag_high is not None
            assert found.drag_low <= 1.12 * section["drag"] <= found.drag_high
        if section["mean_power_w"] > 1000.0:
            assert found.mean_power_w == pytest.approx(section["mean_power_w"], rel=0.2)


def test_time_above_lies_in_its_band(sample: Sample) -> None:
    # Truth is the coolant itself, before a sensor's lag and steps: a few seconds a crossing are the lag's.
    for exposure in sample.result.exposure:
        true_s = sample.truth["above_s"][f"{exposure.threshold_c:.0f}"]
        lag_s = 3.0 * max(exposure.excursions, 1)
        assert exposure.observed_low_s - lag_s <= true_s
        assert true_s <= exposure.observed_high_s + exposure.unknown_s + lag_s


def test_distance_and_duration(sample: Sample) -> None:
    assert sample.result.ride.duration_s == pytest.approx(sample.truth["duration_s"], abs=0.5)
    positions = sample.ride.channels["lat_deg"].coverage
    if positions > 0.99:
        assert sample.result.ride.distance_m == pytest.approx(sample.truth["distance_m"], rel=0.005)
    assert sample.result.ride.moving_s is not None
    assert sample.result.ride.moving_s <= sample.result.ride.duration_s


def test_words_fit_the_numbers(sample: Sample) -> None:
    result = sample.result
    to_json(result)
    first = result.summary[0]
    if "coolant_c" not in sample.ride.channels:
        assert "no usable coolant" in first
    elif result.exposure[-1].observed_s > 0.0:
        assert "was above 115 C (limit)" in first
    else:
        assert "stayed under the limit of 115 C" in first
    if not sample.truth["map_logged"]:
        assert not any("standard map" in text for text in result.summary)
    assert all(one.reason for one in result.segments)
    missed = [one for one in result.segments if one.verdict in ("missed", "late")]
    assert any("the log shows the standard map" in text for text in result.summary) == bool(missed)
