"""Hot places from above: where they lie to each other, and nothing of where on earth."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.figures.places_map import WIDEST_M, places_map

METRE_DEG = 1.0 / 111_195.0
"""On a sphere of 6,371 km; the map uses the ellipsoid's radii, which differ by under 0.6 %."""


def ring(lat: float, lon: float, radius_m: float = 1500.0) -> np.ndarray:
    angle = np.linspace(0.0, 2.0 * np.pi, 80, endpoint=False)
    east = radius_m * np.cos(angle) * METRE_DEG / np.cos(np.radians(lat))
    return np.column_stack([lat + radius_m * np.sin(angle) * METRE_DEG, lon + east])


@given(lat=st.floats(-60.0, 60.0), lon=st.floats(-180.0, 180.0))
def test_places_lie_as_they_do_on_the_ground_wherever_that_is(lat: float, lon: float) -> None:
    ground = ring(lat, lon)
    one, other = tuple(ground[0]), tuple(ground[40])
    figure = places_map(ground, [(one, "heavy_drag", "one"), (other, "", "two")])
    assert figure is not None
    (hot,) = [trace for trace in figure.data if trace.name == "hot places"]
    assert np.hypot(hot.x[1] - hot.x[0], hot.y[1] - hot.y[0]) == pytest.approx(3000.0, rel=0.01)
    assert {note.text for note in figure.layout.annotations} >= {"<b>1</b>", "<b>2</b>"}


def test_it_tells_no_position() -> None:
    figure = places_map(ring(47.3125, 8.1875), [((47.3125, 8.2), "wide_open", "one")])
    assert figure is not None
    text = json.dumps(figure.to_plotly_json(), default=lambda values: np.asarray(values).tolist())
    assert "47.3" not in text
    assert "8.18" not in text


def test_far_ground_without_a_place_does_not_make_the_map_small() -> None:
    ground = np.vstack([ring(45.0, 5.0), ring(45.5, 5.0)])
    figure = places_map(ground, [(tuple(ground[0]), "", "one")])
    assert figure is not None
    (dots,) = [trace for trace in figure.data if trace.name == "ground ridden"]
    assert float(np.max(dots.y)) < 5000.0


def test_places_too_far_apart_make_no_map() -> None:
    apart = 1.1 * WIDEST_M * METRE_DEG
    assert places_map(ring(45.0, 5.0), [((45.0, 5.0), "", "one"), ((45.0 + apart, 5.0), "", "two")]) is None
    assert places_map(np.empty((0, 2)), [((45.0, 5.0), "", "one")]) is None
    assert places_map(ring(45.0, 5.0), []) is None
