"""What part of the ride is shown: dragging, the buttons, a stretch of the table or of the strip."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components.stretches import row_class
from dashboard.look import Look, look_of
from dashboard.pages.ride import chain_of, picture, stretches_of, view_data
from dashboard.provider import Provider, RideView
from ridelog.figures.course_map import ColorBy, course_map
from ridelog.figures.ride_stack import View
from ridelog.results import Segment

SHORTEST_S = 2.0
"""No view is narrower than this."""

_SCROLL = """
function(view) {
    if (view && view.scroll) {
        const box = document.getElementById("h-picture");
        const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
        const at = box.getBoundingClientRect();
        if (at.top < 0 || at.top > window.innerHeight * 0.4) {
            box.scrollIntoView({behavior: calm ? "auto" : "smooth", block: "start"});
        }
    }
}
"""


@dataclass(frozen=True)
class Action:
    """What the reader did: a button's or a row's id, or what a drag or a click on the picture reported."""

    component: str | Mapping[str, Any] | None = None
    relayout: Mapping[str, Any] | None = None
    click: Mapping[str, Any] | None = None


def register(app: Dash, provider: Provider) -> None:
    """Tie the picture, its buttons, the table and the map together."""
    buttons = [Input(name, "n_clicks") for name in (ids.WHOLE, ids.EARLIER, ids.LATER, ids.CLOSER, ids.WIDER)]

    @app.callback(
        Output(ids.STACK, "figure"),
        Output(ids.VIEW, "data"),
        Output({"type": ids.ROW, "index": ALL}, "className"),
        Input(ids.STACK, "relayoutData"),
        Input(ids.STACK, "clickData"),
        Input({"type": ids.ROW, "index": ALL}, "n_clicks"),
        *buttons,
        State(ids.RIDE, "data"),
        State(ids.VIEW, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def look(relayout: Any, click: Any, rows: Sequence[int], *rest: Any) -> tuple[Any, Any, list[str]]:
        ride_id, before, screen = rest[-3:]
        if not any(item["value"] for item in ctx.triggered):
            raise PreventUpdate
        view = provider.view_of(ride_id)
        seen = look_of(screen)
        current = View(before["start_s"], before["end_s"], before["selected"], seen.touch)
        action = action_of([item["prop_id"] for item in ctx.triggered if item["value"]], relayout, click)
        after = next_view(view, current, action)
        if after is None:
            raise PreventUpdate
        remembered = view_data(after)
        remembered["scroll"] = isinstance(action.component, Mapping)
        return picture(view, after, seen), remembered, [row_class(i, after.selected) for i in range(len(rows))]

    @app.callback(
        Output(ids.MAP, "figure"),
        Input(ids.MAP_COLOR, "value"),
        Input(ids.VIEW, "data"),
        State(ids.RIDE, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def color(color_by: ColorBy, remembered: Mapping[str, Any], ride_id: str, screen: Any) -> Any:
        return map_of(provider.view_of(ride_id), color_by, remembered["selected"], look_of(screen))

    @app.callback(
        Output(ids.CHAIN, "children"),
        Input(ids.VIEW, "data"),
        State(ids.RIDE, "data"),
        prevent_initial_call=True,
    )
    def chain(remembered: Mapping[str, Any], ride_id: str) -> Any:
        return chain_of(provider.view_of(ride_id), remembered["selected"])

    @app.callback(
        Output(ids.TABLE, "children"),
        Input(ids.MORE, "n_clicks"),
        State(ids.RIDE, "data"),
        State(ids.VIEW, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def all_stretches(clicks: int | None, ride_id: str, remembered: Mapping[str, Any], screen: Any) -> Any:
        if not clicks:
            raise PreventUpdate
        return stretches_of(provider.view_of(ride_id), look_of(screen), selected=remembered["selected"])

    app.clientside_callback(_SCROLL, Input(ids.VIEW, "data"), prevent_initial_call=True)


def action_of(changed: Sequence[str], relayout: Any, click: Any) -> Action:
    """What the reader did, from the properties that changed (`component.property`, ids of rows as JSON).

    The browser may report a press together with a redraw of the picture, and the picture keeps its last drag and its
    last click: so a press counts first, then a click on the picture, then a drag.
    """
    for prop in changed:
        component, _, _ = prop.rpartition(".")
        if component != ids.STACK:
            return Action(json.loads(component) if component.startswith("{") else component)
    if f"{ids.STACK}.clickData" in changed:
        return Action(click=click or {})
    return Action(relayout=relayout or {})


def map_of(view: RideView, color_by: ColorBy, selected: int | None, look: Look) -> Any:
    """The map with the selected stretch marked."""
    figure = course_map(
        view.analysis, view.lines, color_by=color_by, selected=selected, display=look.units, touch=look.touch,
        dark=look.dark,
    )  # fmt: skip
    if figure is None:
        raise PreventUpdate
    return figure


def next_view(view: RideView, current: View, action: Action) -> View | None:
    """The view after an action, None where nothing changes (a redraw, a click beside the stretches)."""
    whole_s = max(view.analysis.ride.duration_s, 1.0)
    segments = view.analysis.segments
    if action.relayout is not None:
        dragged = _range_of(action.relayout)
        return fit(replace(current, start_s=dragged[0], end_s=dragged[1]), whole_s) if dragged else None
    if action.click is not None:
        return around(segments, clicked_stretch(action.click), current, whole_s)
    if isinstance(action.component, Mapping):
        return around(segments, int(action.component["index"]), current, whole_s)
    return _pressed(action.component, current, whole_s)


def _pressed(button: str | None, current: View, whole_s: float) -> View | None:
    """The view after one of the buttons over the picture."""
    span, middle = current.span_s, (current.start_s + current.end_s) / 2
    moves = {
        ids.WHOLE: (0.0, whole_s),
        ids.EARLIER: (current.start_s - span / 2, current.end_s - span / 2),
        ids.LATER: (current.start_s + span / 2, current.end_s + span / 2),
        ids.CLOSER: (middle - span / 4, middle + span / 4),
        ids.WIDER: (middle - span, middle + span),
    }
    if button not in moves:
        return None
    start, end = moves[button]
    selected = None if button == ids.WHOLE else current.selected
    return fit(replace(current, start_s=start, end_s=end, selected=selected), whole_s)


def around(segments: Sequence[Segment], index: int | None, current: View, whole_s: float) -> View | None:
    """A view of one stretch with what came before and after it; None for an index no stretch has."""
    if index is None or not 0 <= index < len(segments):
        return None
    segment = segments[index]
    pad = max(15.0, 0.35 * (segment.end_s - segment.start_s))
    return fit(View(segment.start_s - pad, segment.end_s + pad, index, current.touch), whole_s)


def fit(view: View, whole_s: float) -> View:
    """The view moved and cut so that it lies inside the ride and is not too narrow; all of it where it isn't finite."""
    if not (math.isfinite(view.start_s) and math.isfinite(view.end_s)):
        return replace(view, start_s=0.0, end_s=whole_s)
    middle = (view.start_s + view.end_s) / 2
    span = min(max(view.end_s - view.start_s, SHORTEST_S), whole_s)
    start = min(max(middle - span / 2, 0.0), whole_s - span)
    return replace(view, start_s=start, end_s=start + span)


def clicked_stretch(click: Mapping[str, Any] | None) -> int | None:
    """Index of the stretch a click on the strip hit, None for a click on anything else."""
    for point in (click or {}).get("points", ()):
        index = point.get("customdata")
        if isinstance(index, int) and not isinstance(index, bool):
            return index
    return None


def _range_of(relayout: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """The x range a drag asked for, None where it asked for something else (a new size of the window)."""
    if not relayout:
        return None
    if "xaxis.range[0]" in relayout and "xaxis.range[1]" in relayout:
        low, high = relayout["xaxis.range[0]"], relayout["xaxis.range[1]"]
    elif "xaxis.range" in relayout:
        low, high = relayout["xaxis.range"]
    else:
        return None
    return min(float(low), float(high)), max(float(low), float(high))
