"""Rides beside rides: at the same load and air, and by place on the ground both rode."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dash import dcc, html

from dashboard import ids, texts
from dashboard.components import parts
from dashboard.config import ride_path
from ridelog.figures.by_place import by_place
from ridelog.figures.theme import GRAPH_CONFIG
from ridelog.report.sentences import moment, shown
from ridelog.words import compare as words
from ridelog.words import compare_tables
from ridelog.words import places as place_words
from ridelog.words.display import duration
from ridelog.words.terms import question_words

if TYPE_CHECKING:
    from dashboard.look import Look
    from dashboard.provider import CompareView, RideItem
    from ridelog.analysis.passes_records import StretchRow

OPEN_TABLES = 3
"""Tables that stand open; the others wait behind their titles."""


def layout(view: CompareView, look: Look) -> html.Div:
    """The picker, and what was asked for."""
    found = view.comparison
    inside: list[object] = []
    if found is None:
        inside.append(html.P(view.said or texts.COMPARE_HINT, className="card" if view.said else ""))
    else:
        first, *rest = found.summary
        inside += [
            html.H2(compare_tables.title(found), className="over"),
            html.P(shown(first), className="answer", id="answer"),
            parts.bullets([shown(one) for one in rest]),
        ]
    inside += _places(view, look)
    if found is not None:
        inside += _tables(view)
    return html.Div(
        [html.H1(texts.COMPARE, className="page"), _picker(view), *inside, parts.cautions()], className="compare"
    )


def _picker(view: CompareView) -> html.Section:
    options = [{"label": _ride_words(item), "value": item.id} for item in view.items]
    services = [
        html.Li(
            dcc.Link(
                texts.compare_service(bike, day, what), href="/compare?" + urlencode({"bike": bike, "service": day})
            )
        )
        for bike, day, what in view.services
    ]
    build = None
    if len(view.rides) == 1:
        asked = urlencode({"rides": view.rides[0], "build": "1"})
        build = html.P(dcc.Link(texts.COMPARE_BUILD, href=f"/compare?{asked}"))
    return parts.card(
        texts.COMPARE_WHICH,
        html.Label(texts.COMPARE_RIDES, htmlFor=ids.COMPARE_RIDES),
        dcc.Dropdown(
            id=ids.COMPARE_RIDES,
            options=options,
            value=list(view.rides),
            multi=True,
            placeholder=texts.COMPARE_PLACEHOLDER,
        ),
        build,
        html.Details([html.Summary(texts.COMPARE_SERVICES), html.Ul(services)]) if services else None,
        name="which",
    )


def _service(bike: str, day: str) -> str:
    return "/compare?" + urlencode({"bike": bike, "service": day})


def _ride_words(item: RideItem) -> str:
    when = moment(item.start_utc, item.timezone, item.start_local) or texts.NO_DAY
    return f"{when}, {item.bike or texts.NO_BIKE}, {duration(item.duration_s)}, {item.id}"


def _places(view: CompareView, look: Look) -> list[object]:
    """Ground that the rides share, each with its picture and its passes."""
    ground = view.ground
    if ground is None:
        return []
    inside: list[object] = [parts.bullets([shown(one) for one in ground.summary])]
    for row in ground.stretches:
        inside += [html.H3(place_words.kind(row)), html.P(shown(place_words.passed(row))), *_stretch(row, view, look)]
    if ground.stretches:
        notes = (place_words.NOTE_ON_HEAT, place_words.COMPARED_NOTE)
        inside += [html.P(shown(one), className="small") for one in notes]
    inside += [html.P(shown(one), className="small") for one in place_words.untold(ground.cannot_tell)]
    return [parts.card(texts.COMPARE_PLACES, *inside, name="places")]


def _stretch(row: StretchRow, view: CompareView, look: Look) -> list[object]:
    figure = by_place(row, view.traces, display=look.units, dark=look.dark)
    parts_: list[object] = []
    if figure is not None:
        graph = dcc.Graph(figure=figure, config=GRAPH_CONFIG, style={"height": f"{figure.layout.height}px"})
        parts_.append(html.Div(graph, role="group", className="plot", **{"aria-label": place_words.kind(row)}))
    passes = [tuple(shown(cell) for cell in place_words.pass_cells(one)) for one in row.passes]
    columns = [one.capitalize() for one in place_words.pass_columns(row.kind)]
    parts_.append(parts.plain_table(columns, passes, place_words.kind(row)))
    if row.compared:
        cells = [tuple(shown(cell) for cell in place_words.compared_cells(one, row.kind)) for one in row.compared]
        heads = [one.capitalize() for one in place_words.compared_columns(row.kind)]
        parts_.append(parts.plain_table(heads, cells, texts.COMPARE_PASSES))
    return parts_


def _tables(view: CompareView) -> list[object]:
    found = view.comparison
    if found is None:
        return []
    made: list[object] = []
    for number, table in enumerate(compare_tables.tables(found)):
        rows = [tuple(shown(cell) for cell in row) for row in table.rows]
        drawn = parts.plain_table(table.columns, rows, table.title)
        if number < OPEN_TABLES:
            made.append(parts.card(shown(table.title), drawn, name=f"table-{number}"))
        else:
            made.append(html.Details([html.Summary(shown(table.title)), drawn], className="card"))
    lines = [shown(one) for one in compare_tables.riding_lines(found)]
    if lines:
        made.append(parts.card(texts.COMPARE_RIDING, parts.bullets(lines), name="riding"))
    doubts = [[html.B(question_words(one.question)), f" {shown(one.reason)}."] for one in found.cannot_tell]
    if doubts:
        made.append(parts.card(texts.COMPARE_OPEN, parts.bullets(doubts), name="open"))
    if found.left_out:
        left = parts.bullets([shown(one) for one in found.left_out])
        made.append(parts.card(texts.COMPARE_LEFT_OUT, left, name="left-out"))
    said = [words.METHOD, *found.cautions] if found.settle else list(found.cautions)
    made.append(html.Div([html.P(shown(one), className="small") for one in said]))
    rides = [html.Li(dcc.Link(ride, href=ride_path(ride))) for ride in view.rides]
    if rides:
        made.append(html.Details([html.Summary(texts.COMPARE_TO_RIDES), html.Ul(rides)]))
    return made
