"""Which part of a ride is shown after what a reader did."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
from dash.exceptions import PreventUpdate
from hypothesis import given
from hypothesis import strategies as st
from plotly.io.json import to_json_plotly

from dashboard import ids
from dashboard.callbacks.zooming import Action, action_of, clicked_stretch, moved, next_view
from dashboard.look import Look
from dashboard.pages.ride_picture import map_of, marks_of, picture
from dashboard.ride_address import SHORTEST_S, fit
from ridelog.figures.ride_stack import View

WHOLE = View(0.0, 3000.0)


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


def test_a_row_shows_its_stretch_with_what_is_around_it(view: Any) -> None:
    after = next_view(view, WHOLE, Action(ids.row(0)))
    assert after is not None
    assert after.selected == 0
    assert after.start_s < 300
    assert after.end_s > 520
    assert after.span_s < 600


def test_a_row_that_is_not_there_changes_nothing(view: Any) -> None:
    assert next_view(view, WHOLE, Action(ids.row(99))) is None
    assert next_view(view, WHOLE, Action("another component")) is None


def test_a_drag_shows_what_it_spans(view: Any) -> None:
    after = next_view(view, WHOLE, Action(relayout={"xaxis.range[0]": 700.5, "xaxis.range[1]": 600.25}))
    assert after == View(600.25, 700.5)


@pytest.mark.parametrize(
    "relayout", [{}, {"autosize": True}, {"dragmode": "pan"}, {"yaxis.range[0]": 1, "yaxis.range[1]": 2}]
)
def test_a_redraw_changes_nothing(view: Any, relayout: dict[str, Any]) -> None:
    assert next_view(view, WHOLE, Action(relayout=relayout)) is None


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -1e300, 1e300])
def test_a_range_that_can_t_be_is_brought_back(view: Any, bad: float) -> None:
    after = next_view(view, WHOLE, Action(relayout={"xaxis.range[0]": bad, "xaxis.range[1]": 10.0}))
    assert after is not None
    assert 0 <= after.start_s < after.end_s <= 3000


def test_buttons(view: Any) -> None:
    here = View(1000.0, 1200.0, 2)
    moved = {
        name: next_view(view, here, Action(name)) for name in (ids.WHOLE, ids.EARLIER, ids.LATER, ids.CLOSER, ids.WIDER)
    }
    assert moved == {
        ids.WHOLE: WHOLE,
        ids.EARLIER: View(900.0, 1100.0, 2),
        ids.LATER: View(1100.0, 1300.0, 2),
        ids.CLOSER: View(1050.0, 1150.0, 2),
        ids.WIDER: View(900.0, 1300.0, 2),
    }


@given(st.floats(allow_nan=True), st.floats(allow_nan=True), st.floats(1.0, 1e6))
def test_every_view_lies_inside_the_ride(start: float, end: float, whole_s: float) -> None:
    after = fit(View(start, end), whole_s)
    assert -1e-6 <= after.start_s < after.end_s <= whole_s * (1 + 1e-9) + 1e-6
    assert after.span_s >= min(SHORTEST_S, whole_s) * 0.999


def test_a_click_on_the_strip_finds_its_stretch() -> None:
    on_line = {"customdata": "0:05:00", "x": 300.0}
    assert clicked_stretch({"points": [on_line, {"customdata": 4}]}) == 4
    assert clicked_stretch({"points": [on_line]}) is None
    assert clicked_stretch({"points": [{"customdata": True}]}) is None
    assert clicked_stretch(None) is None


def test_a_click_shows_the_stretch(view: Any) -> None:
    after = next_view(view, WHOLE, Action(click={"points": [{"customdata": 3}]}))
    assert after is not None
    assert after.selected == 3
    assert next_view(view, WHOLE, Action(click={"points": [{"customdata": "0:01:00"}]})) is None


def test_a_zoom_brings_new_points_and_not_only_a_new_range(view: Any) -> None:
    whole, near = picture(view, WHOLE, Look()), picture(view, View(100.0, 160.0), Look())
    per_second = [sum(1 for x in f.data[1].x if 100 <= x <= 160) for f in (whole, near)]
    assert per_second[1] > 10 * per_second[0] or per_second[1] >= 60
    assert list(near.layout.xaxis.range) == [100.0, 160.0]


def test_the_map_marks_the_selected_stretch(view: Any) -> None:
    chosen = replace(WHOLE, selected=1)
    outlined = {trace.name: len(trace.x) for trace in map_of(view, "stretches", chosen, Look()).data}
    assert any(name.startswith("2: ") and points > 1 for name, points in outlined.items() if name)
    assert any(trace.name == "coolant" for trace in map_of(view, "coolant", WHOLE, Look()).data)


def test_the_map_shows_the_part_in_view(view: Any) -> None:
    def points(shown: View) -> int:
        found = map_of(view, "stretches", shown, Look()).data
        return next(len(trace.x) for trace in found if trace.name == "shown in the picture")

    assert points(View(100.0, 400.0)) > 1
    assert points(WHOLE) == 0


def test_a_new_view_moves_the_marks_of_the_map_and_sends_nothing_else_of_it(view: Any) -> None:
    part = View(100.0, 400.0, 1)
    change = moved(marks_of(view, part, Look())).to_plotly_json()["operations"]
    whole = map_of(view, "stretches", part, Look()).to_dict()["data"]
    assert [one["location"] for one in change] == [["data", 1], ["data", 2]]
    assert to_json_plotly([one["params"]["value"] for one in change]) == to_json_plotly(whole[1:3])
    with pytest.raises(PreventUpdate):
        moved([])


def test_a_press_is_not_lost_among_redraws() -> None:
    # on a slow phone the picture's first redraw and a press on a stretch come in one message
    redraw, row = "stack.relayoutData", '{"index":2,"type":"stretch-row"}.n_clicks'
    for changed in ([redraw, row], [row, redraw], ["stack.clickData", redraw, row]):
        assert action_of(changed, {"autosize": True}, {"points": []}) == Action(ids.row(2))
    assert action_of([redraw, "view-closer.n_clicks"], {"autosize": True}, None) == Action(ids.CLOSER)
    assert action_of([redraw], {"autosize": True}, {"points": [1]}) == Action(relayout={"autosize": True})
    assert action_of(["stack.clickData"], {"autosize": True}, {"points": []}) == Action(click={"points": []})


def test_touch_is_kept_over_a_zoom(view: Any) -> None:
    after = next_view(view, replace(WHOLE, touch=True), Action(ids.row(1)))
    assert after is not None
    assert after.touch
    assert picture(view, after, Look()).layout.dragmode is False
