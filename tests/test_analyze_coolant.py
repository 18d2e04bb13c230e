"""Which coolant sensor a ride with two is analyzed by."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "analysis"))

import make_ride

from ridelog.advice import default_advice
from ridelog.analyze import analyze
from ridelog.results import Analysis
from ridelog.ride import QualityMark, Ride

T_S = np.arange(0.0, 600.0, 0.5)
SECOND = np.interp(T_S, [0.0, 300.0, 600.0], [80.0, 118.0, 80.0])


def two(*spans: tuple[float, float], **more: np.ndarray) -> Ride:
    marks = [QualityMark("coolant_c", "stuck", *span, "excluded", "stands still") for span in spans]
    return make_ride.ride(T_S, {"coolant_c": np.full(T_S.size, 70.0), "coolant_c.2": SECOND, **more}, quality=marks)


def told(ride: Ride) -> tuple[Analysis, list[str]]:
    result = analyze(ride, None, default_advice())[0]
    return result, [item.reason for item in result.cannot_tell if item.question == "coolant_sensor"]


def test_a_first_sensor_of_no_use_gives_way_to_the_second() -> None:
    result, (reason,) = told(two((0.0, 600.0)))
    alone, nothing = told(make_ride.ride(T_S, {"coolant_c": SECOND}))
    assert result.exposure == alone.exposure
    assert nothing == []
    assert "coolant_c.2" in reason
    assert result.ride.channels["coolant_c"].source == "coolant_c.2"
    assert [(mark.channel, mark.kind) for mark in result.quality] == [("coolant_c", "stuck")]


def test_marks_of_the_second_sensor_hold() -> None:
    ride = two((0.0, 600.0))
    mark = QualityMark("coolant_c.2", "spike", 250.0, 350.0, "excluded", "x")
    result, _ = told(replace(ride, quality=(*ride.quality, mark)))
    assert result.exposure[0].unknown_s == pytest.approx(100.0, abs=1.5)


def test_two_sensors_are_never_mixed() -> None:
    result, (reason,) = told(two((100.0, 500.0)))
    assert result.exposure[0].peak_c == 70.0
    assert result.exposure[0].unknown_s == pytest.approx(400.0, abs=1.5)
    assert "not mixed" in reason


def test_a_good_first_sensor_stands_without_a_word() -> None:
    result, reasons = told(two())
    assert reasons == []
    assert result.exposure[0].peak_c == 70.0


def test_two_sensors_of_no_use_are_no_coolant() -> None:
    ride = two((0.0, 600.0))
    mark = QualityMark("coolant_c.2", "stuck", 0.0, 600.0, "excluded", "x")
    result, reasons = told(replace(ride, quality=(*ride.quality, mark)))
    assert reasons == []
    assert result.exposure[0].peak_c is None
