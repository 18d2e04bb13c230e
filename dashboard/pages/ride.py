"""The page of one ride: the answer, the numbers behind it, the samples behind those."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from dash import dcc, html
from plotly.graph_objects import Figure

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.components.stretches import stretch_table
from dashboard.look import Look
from dashboard.pages import behind
from dashboard.pages import notes as note_pages
from dashboard.provider import RideView
from ridelog.figures.course_map import course_map
from ridelog.figures.ride_stack import View, absent_panels, ride_stack, whole
from ridelog.figures.theme import GRAPH_CONFIG
from ridelog.report import basis, heat_chain, heat_model, tables
from ridelog.words import riding as riding_words
from ridelog.words.checks import check_lines
from ridelog.words.display import clock

if TYPE_CHECKING:
    from dashboard.casebook import NoteItem


def layout(view: RideView, look: Look, notes: Sequence[NoteItem] = ()) -> html.Div:
    """The whole page, in a box that is filled anew when a note changes what is told."""
    return html.Div(
        dcc.Loading(
            html.Div(content(view, look, notes), id=ids.RIDE_PAGE, className="ride"),
            target_components={ids.RIDE_PAGE: "children"},
            delay_show=200,
            custom_spinner=html.P(texts.NOTES_ANEW, className="working", role="status"),
            overlay_style={"visibility": "visible", "opacity": 0.5},
        )
    )


def content(
    view: RideView,
    look: Look,
    notes: Sequence[NoteItem] = (),
    *,
    shown: View | None = None,
    said: Sequence[str] = (),
    draft: Mapping[str, str] | None = None,
) -> list[object]:
    """What stands on it. `shown`: the part of the ride in view; `said` of a note that was just written; `draft`: a new
    note as far as it was typed."""
    ride, analysis = view.ride, view.analysis
    seen = shown or whole(analysis, touch=look.touch)
    return [
        dcc.Store(id=ids.RIDE, data=ride.id),
        dcc.Store(id=ids.VIEW, data=view_data(seen)),
        dcc.Store(id=ids.NOTE_PICK),
        _links(ride.id, look),
        html.H1(tables.title(ride)),
        html.P(tables.answer(analysis), className="answer", id="answer"),
        parts.bullets(tables.rest(analysis)) if len(analysis.summary) > 1 else None,
        _not_logged(tables.missing_text(set(ride.channels))),
        html.P(texts.UNITS_NOTE, className="small") if look.units.name == "imperial" else None,
        parts.key_figures(tables.key_figures(analysis, look.units)),
        html.Div([_picture(view, seen, look), _side(view, look)], className="work"),
        html.Div([behind.card(view), note_pages.card(notes, said, draft)], className="pair behind-pair"),
        _stretches(view, look, seen.selected),
        html.Div([_heat(view), _what_if(view)], className="pair heat-pair"),
        _explained(view),
        *_riding(view),
        html.Div([_cannot_tell(view), _import(view)], className="pair"),
        _basis(view),
        parts.cautions(),
    ]


def _links(ride_id: str, look: Look) -> html.Div:
    """The way back, and what can be taken away."""
    units = look.units.name
    files = [
        html.A(texts.FILE_WORDS[ending], href=config.file_path(ride_id, ending, look.trim_m), download="")
        for ending in texts.FILE_WORDS
    ]
    more = html.Details([html.Summary(texts.DOWNLOADS), html.Div([*files, _trimmed(look)])], className="files")
    return html.Div(
        [
            parts.back_link(),
            html.Div(
                [
                    html.A(texts.CUSTOMER_PAGE, href=config.report_path(ride_id, units, annex=False), download=""),
                    html.A(texts.REPORT, href=config.report_path(ride_id, units), download=""),
                    more,
                ],
                className="take",
            ),
        ],
        className="above",
    )


def _trimmed(look: Look) -> html.P:
    said = texts.trimmed(look.trim_m) if look.trim_m else texts.NOT_TRIMMED
    return html.P([said, " ", dcc.Link(texts.SETTINGS, href="/settings")], className="small")


def view_data(view: View) -> dict[str, object]:
    """What the page remembers of its view."""
    return {"start_s": view.start_s, "end_s": view.end_s, "selected": view.selected, "scroll": False}


def _not_logged(missing: str) -> html.P | None:
    words = f"Not logged: {missing}. What rests on it is not told below."
    return html.P(words, className="small") if missing else None


def picture(view: RideView, shown: View, look: Look) -> Figure:
    """The stacked picture of one view."""
    return ride_stack(
        view.analysis, view.lines, view.bike, view.advice, view=shown, display=look.units,
        points=config.STACK_POINTS, dark=look.dark,
    )  # fmt: skip


def _picture(view: RideView, shown: View, look: Look) -> html.Section:
    figure = picture(view, shown, look)
    how = "Drag across the picture, or press a stretch's number, to look closer. Click a moment to note it."
    if shown.touch:
        how = "Touch a stretch's number in the table to look closer, or a moment to note it."
    return parts.card(
        "The ride against time",
        parts.legend(tables.legend(view.analysis, view.traces)),
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
        _plot(
            ids.STACK,
            figure,
            "Coolant, heat in and out, speed, throttle, terrain drag and flagged stretches against elapsed time",
        ),
        *(html.P(sentence, className="small") for sentence in absent_panels(view.analysis, view.lines)),
        name="picture",
    )


def _plot(name: str, figure: Figure, said: str) -> html.Div:
    """A figure in a box that has its height before it is drawn, so that nothing jumps."""
    graph = dcc.Graph(id=name, figure=figure, config=GRAPH_CONFIG, style={"height": f"{figure.layout.height}px"})
    return html.Div(graph, role="group", className="plot", **{"aria-label": said})


def _button(name: str, text: str, said: str) -> html.Button:
    return html.Button(text, id=name, n_clicks=0, type="button", title=said, **{"aria-label": said})


def _side(view: RideView, look: Look) -> html.Div:
    figure = course_map(view.analysis, view.lines, display=look.units, touch=look.touch, dark=look.dark)
    if look.hide_course:
        course = parts.card("The course", html.P(texts.COURSE_HIDDEN), name="course")
    elif figure is None:
        course = parts.card("The course", html.P("The log holds no positions, so there is no map."), name="course")
    else:
        course = parts.card(
            "The course",
            _map_color(has_coolant=view.lines.get("coolant_c") is not None),
            _plot(ids.MAP, figure, "The course from above, without positions on earth"),
            name="course",
        )  # fmt: skip
    return html.Div([course, _exposure(view, look)], className="side")


def _map_color(*, has_coolant: bool) -> dcc.RadioItems:
    coolant = {
        "label": "Coolant" if has_coolant else "Coolant (not logged)",
        "value": "coolant",
        "disabled": not has_coolant,
    }
    options = [{"label": "Stretches", "value": "stretches"}, coolant]
    return dcc.RadioItems(id=ids.MAP_COLOR, options=options, value="stretches", inline=True, className="choice")


def _exposure(view: RideView, look: Look) -> html.Section:
    heads, rows = tables.exposure_by_threshold(view.analysis, look.units)
    title = "Time above each threshold"
    if len(heads) < 2:
        return parts.card(
            title, html.P("Coolant was not logged, so no time above a temperature can be told."), name="exposure"
        )
    return parts.card(
        title,
        parts.plain_table(heads, rows, title, class_name="across"),
        html.P("“The sensor allows” is the range left open by the sensor's smallest step and by values it repeats.",
               className="small"),
        name="exposure",
    )  # fmt: skip


def _stretches(view: RideView, look: Look, selected: int | None = None) -> html.Section:
    count = len(view.analysis.segments)
    if count == 0:
        return parts.card(
            "Flagged stretches", html.P("No stretch of this ride met a rule of the advice sheet."), name="stretches"
        )
    more = None
    if count > config.STRETCHES:
        words = f"Show all {count} stretches; the first {config.STRETCHES} are here"
        more = html.Button(words, id=ids.MORE, n_clicks=0, type="button", className="more")
    return parts.card(
        "Flagged stretches",
        html.Div([stretches_of(view, look, config.STRETCHES, selected), more], id=ids.TABLE),
        html.P(tables.STRETCHES_NOTE, className="small"),
        name="stretches",
    )


def stretches_of(view: RideView, look: Look, most: int | None = None, selected: int | None = None) -> html.Div:
    """The table of the first `most` stretches, of all where None."""
    return stretch_table(tables.segment_rows(view.analysis, look.units)[:most], selected)


def _heat(view: RideView) -> html.Section:
    """What the heat balance found in plain words, or why there is none."""
    rows = [html.Div([html.Dt(name), html.Dd(text)]) for name, text in tables.heat_rows(view.analysis)]
    return parts.card("Heat balance", html.Dl(rows, className="facts"), name="heat")


def _what_if(view: RideView) -> html.Section:
    title = "Had the conservative map been on where advised"
    rows = tables.what_if_rows(view.analysis)
    if not rows:
        asked = any(segment.advised_map == "conservative" for segment in view.analysis.segments)
        words = "This can't be told: there is no heat balance of this ride." if asked else "No stretch called for it."
        return parts.card(title, html.P(words), name="what-if")
    return parts.card(
        title,
        parts.plain_table(tables.WHAT_IF_COLUMNS, rows, title, class_name="across"),
        html.P(tables.what_if_note(view.analysis), className="small"),
        name="what-if",
    )


def _explained(view: RideView) -> html.Section:
    """One figure followed back to its samples, and the model behind all of them."""
    chosen = heat_chain.hottest(view.analysis.segments)
    inside: list[object] = []
    if chosen is not None:
        inside.append(html.Details([html.Summary("How a stretch's settle temperature came about"),
                                    html.Div(chain_of(view, chosen), id=ids.CHAIN)]))  # fmt: skip
    model = [
        parts.plain_table(("", ""), heat_model.EQUATIONS, "Equations of the heat balance", class_name="equations"),
        parts.plain_table(
            heat_model.SYMBOL_COLUMNS, heat_model.symbol_rows(view.analysis.heat), "Symbols of the heat balance"
        ),
        html.P(heat_model.SYMBOL_NOTE, className="small"),
    ]
    for title, sentences in heat_model.SECTIONS:
        model += [html.H3(title), parts.bullets(sentences)]
    inside.append(html.Details([html.Summary("The model, its symbols, and what it can't tell"), *model]))
    return parts.card("How the heat balance is figured", *inside, name="model")


def chain_of(view: RideView, index: int | None) -> list[object]:
    """The chain of one stretch; of the hottest where none is chosen or its settle temperature is not told."""
    segments = view.analysis.segments
    told = index is not None and 0 <= index < len(segments) and segments[index].settle_c is not None
    at = index if told else heat_chain.hottest(segments)
    found = heat_chain.chain(segments[at], view.traces, view.bike) if at is not None else None
    if at is None or found is None:
        return [html.P("No settle temperature is told for this ride.")]
    said = f"Stretch {at + 1}, from {clock(segments[at].start_s)}. "
    said += "Press another's number in the table to see its own."
    return [
        html.P(said, className="small"),
        parts.plain_table(heat_chain.CHAIN_COLUMNS, heat_chain.chain_rows(found), "From samples to settle temperature"),
        html.P(["The columns named are those of the ",
                html.A("balance's steps as a table", href=config.steps_path(view.ride.id), download=""),
                ", one row for every four seconds: the figures above can be worked out from it again."],
               className="small"),
    ]  # fmt: skip


def _riding(view: RideView) -> list[html.Section]:
    """How it was ridden and set up; nothing where the result has no such facts."""
    rows = [html.Div([html.Dt(name), html.Dd(text)]) for name, text in tables.riding_rows(view.analysis)]
    if not rows:
        return []
    note = html.P(riding_words.OIL, className="small")
    return [parts.card(riding_words.TITLE, html.Dl(rows, className="facts"), note, name="riding")]


def _cannot_tell(view: RideView) -> html.Section:
    rows = tables.cannot_tell_rows(view.analysis)
    inside = (
        parts.bullets([[html.B(question), " ", reason] for question, reason in rows])
        if rows
        else html.P("Nothing asked of this log was left open.")
    )
    checks = check_lines(view.analysis.facts)
    below: list[object] = [html.H3("Checks of the bike file"), parts.bullets(checks)] if checks else []
    return parts.card("What could not be told, and why", inside, *below, name="cannot-tell")


def _import(view: RideView) -> html.Section:
    notes = tables.note_sentences(view.ride)
    quality = tables.quality_rows(view.analysis)
    inside: list[object] = [
        parts.bullets(notes) if notes else html.P("The file was read as it stands: nothing was repaired or left out.")
    ]
    if quality:
        inside += [html.H3("Doubtful data"), parts.plain_table(tables.QUALITY_COLUMNS, quality, "Doubtful data")]
    return parts.card("What the import found", *inside, name="import")


def _basis(view: RideView) -> html.Section:
    rows = basis.basis_rows(view.analysis, view.ride)
    return parts.card(
        "What the figures rest on",
        parts.plain_table(("", ""), rows, "What the figures rest on", class_name="basis"),
        html.H3("Defaults used"),
        _defaults(view),
        html.H3("Channels"),
        parts.plain_table(tables.CHANNEL_COLUMNS, tables.channel_rows(view.analysis), "Channels of the log"),
        name="basis",
    )


def _defaults(view: RideView) -> html.Div | html.P:
    """The defaults in words; their keys, which only who writes the files needs, behind a click."""
    groups = basis.defaults(view.analysis)
    if not groups:
        return html.P("None: every key was given.")
    return html.Div(
        [
            html.Details([html.Summary(group.words), html.P(", ".join(group.keys), className="small")])
            for group in groups
        ]
    )
