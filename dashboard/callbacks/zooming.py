"""What part of the ride is shown: dragging, the buttons, a stretch of the table or of the strip, a mark of doubtful
data, the address; and whether the other map is drawn beside it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dash import ALL, Dash, Input, Output, Patch, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components.stretches import row_class
from dashboard.look import look_of
from dashboard.pages.ride_heat import chain_of
from dashboard.pages.ride_picture import legend, map_of, marks_of, picture, view_data, view_from
from dashboard.pages.ride_tables import exposure, stretches_of
from dashboard.provider import Provider
from dashboard.ride_address import around, around_span, asked_in, fit, view_of
from dashboard.views import RideView
from ridelog.figures.course_map import MARKED_FROM, ColorBy
from ridelog.figures.ride_stack import View, whole

# The reader is taken to the picture where something else on the page asked for the view, and the view goes into the
# address. Presses that follow each other quickly are one step back, not ten. (One function: of two callbacks without an
# output that wait for the same thing, Dash runs the last alone.)
_WRITE = """
function(view) {
    if (view && view.scroll) {
        const box = document.getElementById("h-picture");
        const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
        const at = box.getBoundingClientRect();
        if (at.top < 0 || at.top > window.innerHeight * 0.4) {
            box.scrollIntoView({behavior: calm ? "auto" : "smooth", block: "start"});
        }
    }
    if (view && !view.step) { window.ridelogAsking = false; }
    if (!view || !view.step) { return; }
    const asked = view.query ? "?" + view.query : "";
    const here = window.location;
    const before = window.ridelogStep || {};
    window.ridelogStep = {step: view.step, at: Date.now(), path: here.pathname};
    if (asked === here.search) { return; }
    const same = before.step === "press" && view.step === "press" && before.path === here.pathname;
    const how = same && Date.now() - before.at < 1500 ? "replaceState" : "pushState";
    window.history[how]({}, "", here.pathname + asked);
    // the address of the page knows of steps it did not make by this event only
    window.dispatchEvent(new PopStateEvent("popstate"));
}
"""

# Back, forward, or a link to another part of the same ride: the address asks for a view. (steps.js tells them apart.)
_READ = """
function(search, view) {
    const back = window.ridelogBack === window.location.href;
    window.ridelogBack = null;
    const box = document.getElementById("ride-page");
    const there = box && box.dataset.path === window.location.pathname;
    // while an earlier address is still being answered, the view is not what will be seen
    const same = view && search === (view.query ? "?" + view.query : "") && !window.ridelogAsking;
    if (!there || !view || same) { return window.dash_clientside.no_update; }
    if (!back && view.what_if && !new URLSearchParams(search).has("what-if")) {
        // a link to another part says nothing of the other map: it stays as it is, and the address says so
        const kept = `${window.location.pathname}${search}${search ? "&" : "?"}what-if=on`;
        window.setTimeout(() => {
            window.history.replaceState({}, "", kept);
            window.dispatchEvent(new PopStateEvent("popstate"));
        }, 0);
        return window.dash_clientside.no_update;
    }
    window.ridelogAsking = true;
    return {search: search, at: Date.now()};
}
"""


@dataclass(frozen=True)
class Action:
    """What the reader did: a button's or a row's id, or what a drag or a click on the picture reported, or what the
    address asks for, or the switch of the other map."""

    component: str | Mapping[str, Any] | None = None
    relayout: Mapping[str, Any] | None = None
    click: Mapping[str, Any] | None = None
    search: str | None = None
    what_if: bool | None = None


@dataclass(frozen=True)
class Step:
    """The view after an action, and what is said of it."""

    view: View
    said: str = ""


def register(app: Dash, provider: Provider) -> None:
    """Tie the picture, its buttons, the table, the map and the address together."""
    buttons = [Input(name, "n_clicks") for name in (ids.WHOLE, ids.EARLIER, ids.LATER, ids.CLOSER, ids.WIDER)]

    @app.callback(
        Output(ids.STACK, "figure"),
        Output(ids.VIEW, "data"),
        Output({"type": ids.ROW, "index": ALL}, "className"),
        Output(ids.VIEW_SAID, "children"),
        Output(ids.WHAT_IF, "value"),
        Output(ids.EXPOSURE, "children"),
        Output(ids.LEGEND, "children"),
        Input(ids.STACK, "relayoutData"),
        Input(ids.STACK, "clickData"),
        Input({"type": ids.ROW, "index": ALL}, "n_clicks"),
        Input(ids.VIEW_ASKED, "data"),
        Input(ids.WHAT_IF, "value"),
        *buttons,
        State(ids.RIDE, "data"),
        State(ids.VIEW, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def look(relayout: Any, click: Any, rows: Sequence[int], asked: Any, what_if: Any, *rest: Any) -> tuple[Any, ...]:
        ride_id, before, screen = rest[-3:]
        changed = [item["prop_id"] for item in ctx.triggered if item["value"] or item["prop_id"] == _SWITCHED]
        if not changed:
            raise PreventUpdate
        view, seen = provider.view_of(ride_id), look_of(screen)
        current = view_from(before, seen)
        action = action_of(changed, relayout, click, asked, what_if)
        step = next_step(view, current, action)
        if step is None:
            raise PreventUpdate
        after = step.view
        same = after.what_if == current.what_if
        return (
            picture(view, after, seen),
            view_data(view, after, step=kind_of(action), scroll=_leads_there(action)),
            [row_class(i, after.selected) for i in range(len(rows))],
            step.said,
            no_update if same else (["on"] if after.what_if else []),
            no_update if same else exposure(view, seen, what_if=after.what_if),
            no_update if same else legend(view, after),
        )

    @app.callback(
        Output(ids.MAP, "figure"),
        Input(ids.MAP_COLOR, "value"),
        Input(ids.VIEW, "data"),
        State(ids.RIDE, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def color(color_by: ColorBy, remembered: Mapping[str, Any], ride_id: str, screen: Any) -> Any:
        view, seen = provider.view_of(ride_id), look_of(screen)
        shown = view_from(remembered, seen)
        if ctx.triggered_id == ids.MAP_COLOR:
            return map_of(view, color_by, shown, seen) or no_update
        return moved(marks_of(view, shown, seen))

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

    app.clientside_callback(_WRITE, Input(ids.VIEW, "data"), prevent_initial_call=True)
    app.clientside_callback(
        _READ,
        Output(ids.VIEW_ASKED, "data"),
        Input(ids.URL, "search"),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )


def moved(marks: Sequence[Mapping[str, Any]]) -> Any:
    """The change of the map that shows these marks in place of those before."""
    if not marks:
        raise PreventUpdate
    change = Patch()
    for number, mark in enumerate(marks, MARKED_FROM):
        change["data"][number] = mark
    return change


_SWITCHED = f"{ids.WHAT_IF}.value"


def kind_of(action: Action) -> str:
    """How a view came about, for the address: `press` of a button over the picture, `jump`, "" by the address."""
    if action.search is not None:
        return ""
    return "press" if isinstance(action.component, str) or action.what_if is not None else "jump"


def _leads_there(action: Action) -> bool:
    """Was it asked for from elsewhere on the page, so that the reader is taken to the picture?"""
    return isinstance(action.component, Mapping) or action.search is not None


def action_of(
    changed: Sequence[str], relayout: Any, click: Any, asked: Mapping[str, Any] | None = None, what_if: Any = None
) -> Action:
    """What the reader did, from the properties that changed (`component.property`, ids of rows as JSON).

    The browser may report a press together with a redraw of the picture, and the picture keeps its last drag and its
    last click: so a press counts first, then a click on the picture, then a drag.
    """
    for prop in changed:
        component, _, _ = prop.rpartition(".")
        if component == ids.VIEW_ASKED:
            return Action(search=str((asked or {}).get("search") or ""))
        if component == ids.WHAT_IF:
            return Action(what_if=bool(what_if))
        if component != ids.STACK:
            return Action(json.loads(component) if component.startswith("{") else component)
    if f"{ids.STACK}.clickData" in changed:
        return Action(click=click or {})
    return Action(relayout=relayout or {})


def next_step(view: RideView, current: View, action: Action) -> Step | None:
    """The view after an action, and what is said; None where nothing changes."""
    if action.search is not None:
        asked = view_of(asked_in(action.search), view.analysis, touch=current.touch)
        return Step(asked.view, asked.said)
    after = next_view(view, current, action)
    return Step(after) if after is not None else None


def next_view(view: RideView, current: View, action: Action) -> View | None:
    """The view after an action, None where nothing changes (a redraw, a click beside the stretches)."""
    whole_s = whole(view.analysis).end_s
    if action.what_if is not None:
        return replace(current, what_if=action.what_if) if action.what_if != current.what_if else None
    if action.relayout is not None:
        dragged = _range_of(action.relayout)
        return fit(replace(current, start_s=dragged[0], end_s=dragged[1]), whole_s) if dragged else None
    if action.click is not None:
        span = clicked_span(action.click)
        if span is not None:
            return around_span(view.analysis, *span, current)
        return around(view.analysis, clicked_stretch(action.click), current)
    if isinstance(action.component, Mapping):
        return around(view.analysis, int(action.component["index"]), current)
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


def clicked_span(click: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """First and last second of the mark of doubtful data that a click hit, None for a click on anything else."""
    for point in (click or {}).get("points", ()):
        told = point.get("customdata")
        if isinstance(told, list) and len(told) == 2 and all(isinstance(one, int | float) for one in told):
            return float(told[0]), float(told[1])
    return None


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
