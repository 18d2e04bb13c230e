"""The map without tiles: distances, gaps, and that no position leaves it."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plotly.io.json import to_json_plotly
from pyproj import Geod

from ridelog.figures.course_map import MARKED_FROM, course, course_map, local_metres, marked
from ridelog.words.display import clock

_EARTH = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


@given(st.floats(-60, 60), st.floats(-180, 180), st.floats(0, 360), st.floats(500, 50_000))
def test_distances_agree_with_a_geodesic(lat: float, lon: float, azimuth: float, far_m: float) -> None:
    # reference: pyproj's geodesic on the WGS 84 ellipsoid (Karney, J. Geodesy 87, 2013)
    lon2, lat2, _ = _EARTH.fwd(lon, lat, azimuth, far_m)
    east, north = local_metres(np.array([lat, lat2]), np.array([lon, lon2]))
    drawn_m = float(np.hypot(east[1] - east[0], north[1] - north[0]))
    assert drawn_m == pytest.approx(far_m, rel=1e-3)


def test_a_course_over_the_date_line_is_not_torn() -> None:
    east, _ = local_metres(np.array([-17.0, -17.0]), np.array([179.99, -179.99]))
    far_m = _EARTH.inv(179.99, -17.0, -179.99, -17.0)[2]
    assert east[1] - east[0] == pytest.approx(far_m, rel=1e-3)


def test_the_hole_is_not_bridged(view: Any, fakes: ModuleType) -> None:
    figure = course_map(view.analysis, view.lines)
    assert figure is not None
    track = figure.data[0]
    assert np.isnan(track.x).sum() == 1
    steps = np.hypot(np.diff(track.x), np.diff(track.y))
    jump_m = 11 * fakes.GAP.length_s / 2
    assert np.nanmax(steps) < jump_m


def test_both_axes_have_one_scale(view: Any) -> None:
    figure = course_map(view.analysis, view.lines)
    assert figure is not None
    assert figure.layout.yaxis.scaleanchor == "x"
    assert figure.layout.yaxis.scaleratio == 1
    bar = figure.layout.shapes[0]
    words = [note.text for note in figure.layout.annotations]
    assert f"{(bar.x1 - bar.x0) / 1000:g} km" in words
    assert {"Start", "End"} <= {trace.name for trace in figure.data}


def test_no_latitude_or_longitude_is_in_the_figure(view: Any) -> None:
    figure = course_map(view.analysis, view.lines)
    assert figure is not None
    assert abs(float(np.nanmean(figure.data[0].x))) < 10_000
    assert "41.0" not in figure.to_json()


def test_stretches_are_coloured_and_numbered_and_the_selected_one_marked(view: Any) -> None:
    plain = course_map(view.analysis, view.lines)
    chosen_one = course_map(view.analysis, view.lines, selected=0)
    assert plain is not None
    assert chosen_one is not None
    assert {"Deep-drag ground", "Wide open", "Slow climb"} <= {trace.name for trace in plain.data}
    chosen = view.analysis.segments[0]
    outlined = [trace for trace in chosen_one.data if str(trace.name).startswith("1: ")]
    assert len(outlined) == 1
    assert len(outlined[0].x) > 1
    assert outlined[0].customdata[0] == clock(chosen.start_s)
    assert [len(trace.x) for trace in plain.data[MARKED_FROM : MARKED_FROM + 2]] == [0, 0]
    assert any(note.text == "<b>1</b>" for note in plain.layout.annotations)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("selected", [None, 1])
@pytest.mark.parametrize("part", [None, (100.0, 400.0)])
def test_marks_drawn_alone_are_those_of_the_whole_map(
    view: Any, dark: bool, selected: int | None, part: tuple[float, float] | None
) -> None:
    for color_by in ("stretches", "coolant"):
        figure = course_map(view.analysis, view.lines, color_by=color_by, selected=selected, dark=dark, part=part)
        assert figure is not None
        alone = marked(view.analysis, view.lines, selected=selected, dark=dark, part=part)
        there = figure.to_dict()["data"][MARKED_FROM : MARKED_FROM + len(alone)]
        assert to_json_plotly(alone) == to_json_plotly(there)
        assert [len(trace.x) > 0 for trace in figure.data[1:3]] == [selected is not None, part is not None]


def test_coolant_is_only_shown_where_it_was_logged(view: Any, fakes: ModuleType) -> None:
    figure = course_map(view.analysis, view.lines, color_by="coolant")
    assert figure is not None
    marks = next(trace for trace in figure.data if trace.name == "coolant")
    assert 80 < float(np.min(marks.marker.color)) < float(np.max(marks.marker.color)) < 125
    assert len(marks.x) == len(marks.marker.color)


def test_a_ride_without_positions_has_no_map(fakes: ModuleType) -> None:
    view = fakes.make_view(channels={"coolant_c", "gps_speed_mps"})
    assert course(view.lines) is None
    assert marked(view.analysis, view.lines, selected=0) == []
    assert course_map(view.analysis, view.lines) is None


def test_a_bike_that_never_moved_is_a_dot_with_a_scale(fakes: ModuleType) -> None:
    from dataclasses import replace

    import polars as pl

    from ridelog.figures.series import RideLines

    view = fakes.make_view(120.0, gap=False)
    still = view.ride.samples.with_columns(pl.lit(41.0).alias("lat_deg"), pl.lit(1.0).alias("lon_deg"))
    figure = course_map(replace(view.analysis, segments=()), RideLines(replace(view.ride, samples=still), view.traces))
    assert figure is not None
    low, high = figure.layout.xaxis.range
    assert high > low


def test_passes_of_the_same_place_share_a_label(fakes: ModuleType) -> None:
    from dataclasses import replace

    view = fakes.make_view(7200.0, rate_hz=5.0, gap=False)
    one = view.analysis.segments[0]
    laps = tuple(replace(one, start_s=300.0 + 2400 * n, end_s=420.0 + 2400 * n) for n in range(3))
    figure = course_map(replace(view.analysis, segments=laps), view.lines)
    assert figure is not None
    assert "<b>1, 2, 3</b>" in [note.text for note in figure.layout.annotations]
    assert [trace.name for trace in figure.data if trace.mode == "markers+text"] == ["Start and end"]


def test_hundreds_of_stretches_do_not_swell_the_map(fakes: ModuleType) -> None:
    from dataclasses import replace

    view = fakes.make_view(36_000.0, rate_hz=5.0, gap=False)
    one = view.analysis.segments[0]
    many = tuple(replace(one, start_s=100.0 * n, end_s=100.0 * n + 60.0) for n in range(350))
    figure = course_map(replace(view.analysis, segments=many), view.lines)
    assert figure is not None
    assert sum(len(trace.x) for trace in figure.data) < 12_000
