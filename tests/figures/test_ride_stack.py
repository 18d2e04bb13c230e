"""The stacked picture: what is drawn, what is left open, what is left out and said."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from types import ModuleType
from typing import Any

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.figures.course_strip import map_stretches
from ridelog.figures.margin_labels import APART_PX, spread
from ridelog.figures.ride_stack import HEIGHT_PX, View, absent_panels, ride_stack
from ridelog.figures.theme import KIND_STYLES, LABEL_PX
from ridelog.words.display import IMPERIAL


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


@pytest.fixture(scope="module")
def figure(view: Any) -> go.Figure:
    return ride_stack(view.analysis, view.lines, view.bike, view.advice)


def line(figure: go.Figure, name: str) -> Any:
    return next(trace for trace in figure.data if trace.name == name)


def test_there_is_one_time_axis_for_all_panels(figure: go.Figure) -> None:
    assert {trace.xaxis for trace in figure.data} == {"x"}
    assert {key for key in figure.layout.to_plotly_json() if key.startswith("xaxis")} == {"xaxis"}
    assert list(figure.layout.xaxis.range) == [0.0, 3000.0]
    assert figure.layout.xaxis.ticktext[1] == "0:10"


def test_every_stretch_has_a_tint_in_the_one_list_of_shapes(view: Any, figure: go.Figure) -> None:
    tinted = {(shape.x0, shape.x1) for shape in figure.layout.shapes if shape.xref == "x"}
    assert tinted >= {(s.start_s, s.end_s) for s in view.analysis.segments}


def test_a_hole_is_marked_and_not_bridged(fakes: ModuleType, figure: go.Figure) -> None:
    gap = fakes.GAP
    marked = [shape for shape in figure.layout.shapes if (shape.x0, shape.x1) == (gap.start_s, gap.end_s)]
    assert [shape.label.text for shape in marked] == ["no data"]
    for name in ("coolant", "speed", "throttle", "power", "terrain drag"):
        trace = line(figure, name)
        inside = (trace.x > gap.start_s + 0.5) & (trace.x < gap.end_s - 0.5)
        assert np.isnan(trace.y[inside]).any(), name
        assert not np.isfinite(trace.y[inside]).any(), name
        assert trace.connectgaps is False


def test_values_marked_as_left_out_are_not_drawn(fakes: ModuleType, figure: go.Figure) -> None:
    trace = line(figure, "coolant")
    assert not np.isfinite(trace.y[(trace.x >= 1200) & (trace.x < 1202)]).any()


def test_thresholds_and_boiling_are_labelled(figure: go.Figure) -> None:
    words = {note.text.replace("\u00a0", " ") for note in figure.layout.annotations}
    assert {"warm 95", "hot 105", "limit 115", "boils ≥ 107", "rule 0.20"} <= words


@pytest.mark.parametrize("close", [(100.0, 101.0, 102.0), (95.0, 105.0, 115.0), (104.0, 104.5, 105.0, 105.5, 106.0)])
def test_labels_of_levels_never_lie_on_each_other_or_on_the_plot(view: Any, close: tuple[float, ...]) -> None:
    bike = replace(view.bike, thresholds=tuple((f"level {n}", value) for n, value in enumerate(close)))
    figure = ride_stack(view.analysis, view.lines, bike, view.advice)
    low, high = figure.layout.yaxis.range
    panel_px = HEIGHT_PX["coolant"]
    found = [note for note in figure.layout.annotations if note.yref == "y"]
    assert len(found) == len(close) + 1  # and where it boils
    places = sorted((note.y - low) / (high - low) * panel_px for note in found)
    assert min(b - a for a, b in pairwise(places)) >= APART_PX - 0.01
    assert places[0] >= 0
    assert places[-1] <= panel_px + 0.01
    by_value = sorted(found, key=lambda note: note.y)
    assert [float(note.text.rsplit(" ", 1)[1]) for note in by_value] == sorted(
        float(note.text.rsplit(" ", 1)[1]) for note in by_value
    )
    for note in found:
        assert (note.xref, note.x, note.xanchor) == ("paper", 1, "left")
        assert note.xshift + 0.5 * LABEL_PX * len(note.text) <= figure.layout.margin.r


def test_a_level_and_its_label_are_joined(view: Any, figure: go.Figure) -> None:
    leads = {shape.y0: shape.y1 for shape in figure.layout.shapes if shape.xsizemode == "pixel" and shape.yref == "y"}
    assert set(leads) == {95.0, 105.0, 115.0, view.analysis.boiling.vented_c}
    notes = {note.y for note in figure.layout.annotations if note.yref == "y"}
    assert set(leads.values()) == notes


def test_a_long_name_does_not_push_the_plot_aside(view: Any) -> None:
    bike = replace(view.bike, thresholds=(("the radiator of the race bike is warm", 95.0),))
    figure = ride_stack(view.analysis, view.lines, bike, view.advice)
    assert any(note.text == "the radia… 95" for note in figure.layout.annotations)
    assert figure.layout.margin.r < 110


@given(st.lists(st.floats(0.0, 240.0), min_size=1, max_size=30))
def test_places_keep_apart_in_order_and_inside(wanted: list[float]) -> None:
    wanted = sorted(wanted)
    places = spread(wanted, 20.0, 240.0)
    least = min(20.0, 240.0 / max(1, len(wanted) - 1))
    assert all(b - a >= least - 1e-6 for a, b in pairwise(places))
    assert -1e-6 <= places[0] <= places[-1] <= 240.0 + 1e-6
    if all(b - a >= 20.0 for a, b in pairwise(wanted)):
        assert places == pytest.approx(wanted)


def test_no_kind_rests_on_colour_alone(figure: go.Figure) -> None:
    patterns = [style.pattern for style in KIND_STYLES.values()]
    assert len(set(patterns)) == len(patterns)
    assert len({style.color for style in KIND_STYLES.values()}) == len(KIND_STYLES)
    numbers = {note.text for note in figure.layout.annotations}
    assert {f"<b>{n}</b>" for n in range(1, 8)} <= numbers


def test_bars_of_the_strip_carry_the_index_of_their_stretch(view: Any, figure: go.Figure) -> None:
    found: dict[int, float] = {}
    for trace in figure.data:
        if trace.type == "bar" and trace.customdata is not None and trace.name != "doubtful data":
            found.update(zip(list(trace.customdata), list(trace.base), strict=True))
    assert found == {i: s.start_s for i, s in enumerate(view.analysis.segments)}


def test_the_ribbon_covers_the_ride_once(view: Any) -> None:
    stretches = map_stretches(view.traces)
    covered = sum(i.length_s for part in stretches.values() for i in part)
    assert covered == pytest.approx(view.traces.t_s.size * view.traces.step_s)
    assert all(stretches.values())


def test_a_zoom_shows_every_sample(view: Any) -> None:
    shown = View(100.0, 130.0)
    trace = line(ride_stack(view.analysis, view.lines, view.bike, view.advice, view=shown), "throttle")
    logged = view.ride.samples.filter((view.ride.samples["t_s"] >= 100) & (view.ride.samples["t_s"] <= 130))
    assert np.isfinite(trace.y).sum() >= logged.height


def test_the_selected_stretch_is_outlined(view: Any) -> None:
    figure = ride_stack(view.analysis, view.lines, view.bike, view.advice, view=View(0.0, 3000.0, selected=2))
    outlined = [shape for shape in figure.layout.shapes if shape.line.width == 2.5]
    assert [(shape.x0, shape.x1) for shape in outlined] == [(1000.0, 1180.0)]


def test_a_finger_scrolls_the_page(view: Any) -> None:
    figure = ride_stack(view.analysis, view.lines, view.bike, view=View(0.0, 3000.0, touch=True))
    assert figure.layout.dragmode is False
    assert figure.layout.xaxis.fixedrange is True


def test_units_change_the_picture_and_not_its_samples(view: Any) -> None:
    metric = ride_stack(view.analysis, view.lines, view.bike)
    imperial = ride_stack(view.analysis, view.lines, view.bike, display=IMPERIAL)
    assert line(imperial, "coolant").y == pytest.approx(line(metric, "coolant").y * 1.8 + 32, nan_ok=True)
    assert any("Speed, mph" in note.text for note in imperial.layout.annotations)


def test_what_is_not_logged_is_left_out_and_said(fakes: ModuleType) -> None:
    view = fakes.make_view(channels={"engine_rpm", "gps_speed_mps"})
    figure = ride_stack(view.analysis, view.lines, view.bike, view.advice)
    assert {"coolant", "throttle", "terrain drag"}.isdisjoint(trace.name for trace in figure.data)
    assert line(figure, "engine speed") is not None
    told = absent_panels(view.analysis, view.lines)
    assert told[0] == "Coolant is not shown: the log holds no coolant temperature."
    assert any(sentence.startswith("Terrain drag is not shown") for sentence in told)


@pytest.mark.parametrize("channels", [None, {"gps_speed_mps", "engine_rpm"}, {"throttle_pct"}])
def test_the_readout_tells_the_time_once_whatever_is_logged(fakes: ModuleType, channels: set[str] | None) -> None:
    view = fakes.make_view(channels=channels)
    figure = ride_stack(view.analysis, view.lines, view.bike)
    timed = [trace for trace in figure.data if "%{customdata}" in (trace.hovertemplate or "")]
    assert len(timed) == 1
    assert timed[0].customdata[0] == "0:00:00"
    assert len(timed[0].customdata) == len(timed[0].x)


def test_a_ride_with_nothing_but_positions_still_has_a_picture(fakes: ModuleType) -> None:
    view = fakes.make_view(channels={"lat_deg", "lon_deg"})
    figure = ride_stack(view.analysis, view.lines, None)
    assert {trace.type for trace in figure.data} == {"bar"}
    assert len(absent_panels(view.analysis, view.lines)) == 5


def test_ten_hours_stay_small(fakes: ModuleType) -> None:
    view = fakes.make_view(36_000.0)
    figure = ride_stack(view.analysis, view.lines, view.bike, view.advice)
    assert len(figure.to_json()) < 400_000
    assert np.nanmax(line(figure, "coolant").y) == view.ride.samples["coolant_c"].max()


def test_hundreds_of_stretches_are_one_list(fakes: ModuleType, view: Any) -> None:
    from dataclasses import replace

    one = view.analysis.segments[0]
    many = tuple(replace(one, start_s=5.0 * n, end_s=5.0 * n + 3.0) for n in range(600))
    figure = ride_stack(replace(view.analysis, segments=many), view.lines, view.bike, view.advice)
    assert sum(shape.xref == "x" for shape in figure.layout.shapes) == 601
    numbers = [note for note in figure.layout.annotations if note.text.strip("<b>/").isdigit()]
    assert len(numbers) < 60
    near = ride_stack(replace(view.analysis, segments=many), view.lines, view.bike, view=View(100.0, 200.0))
    assert 20 <= sum(shape.xref == "x" for shape in near.layout.shapes) <= 22
    bars = next(trace for trace in near.data if trace.name == "Deep-drag ground")
    assert list(bars.customdata) == list(range(20, 41))
