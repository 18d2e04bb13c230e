"""The pictures of the ride's page: the stack with its tools, and the course."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.look import Look
from dashboard.ride_address import query_of
from dashboard.views import RideView
from ridelog.figures.course_map import ColorBy, course_map, marked
from ridelog.figures.ride_stack import View, absent_panels, ride_stack, whole
from ridelog.report import tables

if TYPE_CHECKING:
    from plotly.graph_objects import Figure


def view_data(view: RideView, shown: View, *, step: str = "", scroll: bool = False) -> dict[str, object]:
    """What the page remembers of its view. `step`: how it came about (`press` of a button of which several may follow
    each other, `jump`, "" where the address asked for it); `scroll`: the reader is taken to the picture."""
    return {
        "start_s": shown.start_s, "end_s": shown.end_s, "selected": shown.selected, "what_if": shown.what_if,
        "query": query_of(shown, view.analysis), "step": step, "scroll": scroll,
    }  # fmt: skip


def view_from(remembered: Mapping[str, Any], look: Look) -> View:
    """The view a page remembers."""
    return View(
        remembered["start_s"], remembered["end_s"], remembered["selected"], look.touch,
        bool(remembered.get("what_if")),
    )  # fmt: skip


def picture(view: RideView, shown: View, look: Look) -> Figure:
    """The stacked picture of one view."""
    return ride_stack(
        view.analysis, view.lines, view.bike, view.advice, view=shown, display=look.units,
        points=config.STACK_POINTS, dark=look.dark, what_if=view.what_if if shown.what_if else None,
    )  # fmt: skip


def picture_card(view: RideView, shown: View, look: Look, said: str = "") -> html.Section:
    """The stack with what moves it. `said`: what the address asks for and can't have."""
    figure = picture(view, shown, look)
    how = "Drag across the picture, or press a stretch's number, to look closer. Click a moment to note it."
    if shown.touch:
        how = "Touch a stretch's number in the table to look closer, or a moment to note it."
    return parts.card(
        texts.RIDE_PICTURE,
        html.Div(legend(view, shown), id=ids.LEGEND),
        html.Div(
            [
                _button(ids.WHOLE, "Whole ride", "Show the whole ride"),
                _button(ids.EARLIER, "◀", "Earlier"),
                _button(ids.LATER, "▶", "Later"),
                _button(ids.CLOSER, "+", "Closer"),
                _button(ids.WIDER, "−", "Wider"),
                html.Button(texts.NOTE_HERE, id=ids.NOTE_HERE, n_clicks=0, type="button"),
                html.Span(how, className="small"),
            ],
            className="tools",
            role="group",
            **{"aria-label": "Part of the ride that is shown"},
        ),
        _switch(view, shown),
        html.P(said, id=ids.VIEW_SAID, role="status", className="said"),
        parts.plot(figure, texts.RIDE_PICTURE_SAID, ids.STACK),
        *(html.P(sentence, className="small") for sentence in absent_panels(view.analysis, view.lines)),
        name="picture",
    )


def legend(view: RideView, shown: View) -> html.P:
    """Words for what is drawn."""
    found = tables.legend(view.analysis, view.traces)
    if shown.what_if and view.what_if is not None:
        found = [*found, ("what_if", texts.WHAT_IF_LEGEND)]
    if view.analysis.quality:
        found = [*found, ("doubt", texts.DOUBT_LEGEND)]
    return parts.legend(found)


def _switch(view: RideView, shown: View) -> html.Div:
    """The switch of the other map; the reason in its place where there is nothing to draw. It stays in the page, out of
    sight, so that the rest of the page can count on it."""
    why_not = tables.what_if_open(view.analysis)
    box = dcc.Checklist(
        id=ids.WHAT_IF,
        options=[{"label": texts.WHAT_IF, "value": "on"}],
        value=["on"] if shown.what_if and why_not is None else [],
        className="switch",
    )
    return html.Div(
        [
            html.Div(box, hidden=why_not is not None),
            html.P(why_not, className="small") if why_not is not None else None,
        ],
        className="what-if",
    )


def _button(name: str, text: str, said: str) -> html.Button:
    return html.Button(text, id=name, n_clicks=0, type="button", title=said, **{"aria-label": said})


def course_card(view: RideView, shown: View, look: Look) -> html.Section:
    """The course from above, with the part in view."""
    if look.hide_course:
        return parts.card("The course", html.P(texts.COURSE_HIDDEN), name="course")
    figure = map_of(view, "stretches", shown, look)
    if figure is None:
        return parts.card("The course", html.P("The log holds no positions, so there is no map."), name="course")
    return parts.card(
        "The course",
        _map_color(has_coolant=view.lines.get("coolant_c") is not None),
        parts.plot(figure, "The course from above, without positions on earth", ids.MAP),
        name="course",
    )


def map_of(view: RideView, color_by: ColorBy, shown: View, look: Look) -> Figure | None:
    """The map with the chosen stretch and the part in view marked; None without positions, and where none is to be
    shown."""
    if look.hide_course:
        return None
    return course_map(
        view.analysis, view.lines, color_by=color_by, selected=shown.selected, display=look.units, touch=look.touch,
        dark=look.dark, part=_part(view, shown),
    )  # fmt: skip


def marks_of(view: RideView, shown: View, look: Look) -> list[dict[str, Any]]:
    """The traces of the map that follow the view; the rest of it stays as it is. Empty without a map."""
    if look.hide_course:
        return []
    return marked(view.analysis, view.lines, selected=shown.selected, dark=look.dark, part=_part(view, shown))


def _part(view: RideView, shown: View) -> tuple[float, float] | None:
    part = (shown.start_s, shown.end_s)
    return part if part != (0.0, whole(view.analysis).end_s) else None


def _map_color(*, has_coolant: bool) -> dcc.RadioItems:
    coolant = {
        "label": "Coolant" if has_coolant else "Coolant (not logged)",
        "value": "coolant",
        "disabled": not has_coolant,
    }
    options = [{"label": "Stretches", "value": "stretches"}, coolant]
    return dcc.RadioItems(id=ids.MAP_COLOR, options=options, value="stretches", inline=True, className="choice")
