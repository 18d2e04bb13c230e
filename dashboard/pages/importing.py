"""The page of one import: recordings laid over each other to be accepted, a refusal with what more can be said, or
what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import ids, texts
from dashboard.components import adding, parts
from dashboard.texts import imports as said
from ridelog.figures.joint import joint
from ridelog.figures.theme import GRAPH_CONFIG
from ridelog.words import alignment as words

if TYPE_CHECKING:
    import plotly.graph_objects as go

    from dashboard.adding.jobs import Job
    from dashboard.look import Look
    from ridelog.ingest_alignment import Alignment, Lying

STEPS_S = ("-10", "-1", "-0.1", "+0.1", "+1", "+10")


def shell(job_id: str) -> html.Div:
    """The page before its import is looked up: who knows of it fills it in."""
    return html.Div(
        [
            parts.back_link(),
            dcc.Store(id=ids.IMPORT_JOB, data=job_id),
            dcc.Store(id=ids.IMPORT_SEEN),
            html.Div(html.P(texts.JOB_STATES["working"], className="small"), id=ids.IMPORT_BODY),
            html.P(id=ids.IMPORT_SAID, role="status", className="said", tabIndex="-1"),
        ],
        className="import",
    )


def gone() -> html.Section:
    """The page of an import that is no longer listed."""
    return parts.message(said.TITLE, [said.GONE])


def body(job: Job, found: Alignment | None, formats: Sequence[str], look: Look) -> html.Div:
    """What stands on the page. `found` where recordings wait to be joined."""
    if job.state == "joining" and found is not None:
        return joining(found, look)
    inside: list[object] = [html.H1(said.TITLE, className="page"), adding.card(job)]
    if job.state == "refused" and all(file.received for file in job.files):
        inside.append(_more(job, formats))
    return html.Div(inside)


def joining(found: Alignment, look: Look) -> html.Div:
    """The recordings, each against the one it was compared with."""
    kept = found.recordings[found.kept]
    others = [(number, one) for number, one in enumerate(found.recordings) if number != found.kept]
    return html.Div(
        [
            html.H1(said.JOIN_TITLE, className="page"),
            html.P(said.JOIN_LEAD if found.known else said.JOIN_OPEN, className="headline"),
            html.P([html.B(kept.name), " ", said.JOIN_STAYS]),
            *(_recording(number, one, found, look) for number, one in others),
            html.P(said.JOIN_AGAIN, className="small") if len(others) > 1 else None,
            html.Div(
                [
                    html.Button(said.JOIN_ACCEPT, id=ids.JOIN_ACCEPT, n_clicks=0, type="button", className="main"),
                    html.Button(said.JOIN_APART, id=ids.join_else("apart"), n_clicks=0, type="button"),
                    html.Button(
                        said.JOIN_CALL_OFF, id=ids.join_else("call_off"), n_clicks=0, type="button", className="quiet"
                    ),
                ],
                className="tools",
            ),
        ],
    )


def _recording(number: int, one: Lying, found: Alignment, look: Look) -> html.Section:
    kept = found.recordings[found.kept]
    beside = found.recordings[one.against if one.against is not None else found.kept]
    facts = [(said.JOIN_BEGINS, words.starts(kept.name, one.start_s))]
    if one.by == "measured":
        facts.append((said.JOIN_PACE, words.pace(one.drift_ppm)))
    if one.error_s is not None and one.confidence is not None:
        facts.append((said.JOIN_SURE, words.certainty(one.confidence, one.error_s, one.overlap_s, one.what)))
    else:
        facts.append((said.JOIN_SURE, words.OWN_WORD if one.by == "told" else words.UNCHECKED))
    facts.append((said.JOIN_WHY, one.reason))
    plot: object = html.P(said.JOIN_NOTHING)
    if one.own is not None and one.beside is not None:
        what = said.PLOT.format(own=f"{one.own.words}, {one.name}", beside=f"{one.beside.words}, {beside.name}")
        figure = picture(one, 0.0, look)
        plot = html.Div(
            [
                html.P(
                    [
                        html.Span([html.I(className="swatch line-own"), f"{one.own.words}, {one.name}"]),
                        html.Span([html.I(className="swatch line-beside"), f"{one.beside.words}, {beside.name}"]),
                    ],
                    className="legend",
                ),
                html.Div(
                    dcc.Graph(
                        id=ids.join(ids.JOIN_PLOT, number), figure=figure, config=GRAPH_CONFIG,
                        style={"height": f"{figure.layout.height}px"},
                    ),
                    className="plot", role="img", **{"aria-label": what},
                ),
            ]
        )  # fmt: skip
    return parts.card(
        one.name,
        html.Dl([html.Div([html.Dt(name), html.Dd(text)]) for name, text in facts], className="facts"),
        plot,
        _mover(number, one, kept.name),
        name=f"recording-{number}",
    )


def _mover(number: int, one: Lying, kept: str) -> html.Div:
    field = ids.join(ids.JOIN_AT, number)
    buttons = [
        html.Button(
            said.step(by), id=ids.join_step(number, by), n_clicks=0, type="button",
            **{"aria-label": said.step_said(by, one.name)},
        )
        for by in STEPS_S
    ]  # fmt: skip
    buttons.append(html.Button(said.JOIN_FOUND, id=ids.join_step(number, "found"), n_clicks=0, type="button"))
    places: list[object] = []
    if len(one.places_s) > 1:
        places = [
            html.Span(said.JOIN_PLACES),
            *(
                html.Button(said.place(place), id=ids.join_step(number, f"to {place:.3f}"), n_clicks=0, type="button")
                for place in one.places_s[:4]
            ),
        ]
    return html.Div(
        [
            html.Label(said.JOIN_AT.format(kept=kept), htmlFor=ids.as_text(field)),
            dcc.Input(id=field, type="text", value=f"{one.start_s:.3f}", debounce=0.4, autoComplete="off"),
            dcc.Store(id=ids.join(ids.JOIN_WAS, number), data=f"{one.start_s:.3f}"),
            html.Div(buttons, className="tools", role="group", **{"aria-label": f"{said.JOIN_STEPS}: {one.name}"}),
            html.Div(places, className="tools", role="group", **{"aria-label": said.JOIN_PLACES}) if places else None,
            html.P(id=ids.join(ids.JOIN_TOLD, number), role="status", className="small"),
        ],
        className="fields mover",
    )


def picture(one: Lying, shift_s: float, look: Look) -> go.Figure:
    """A recording, moved from where it was found, over the one it was compared with. Both must have a curve."""
    if one.own is None or one.beside is None:
        raise ValueError("nothing can be drawn")
    return joint(one.own, one.beside, shift_s, units=look.units, dark=look.dark, ticks=4 if look.touch else 8)


def _more(job: Job, formats: Sequence[str]) -> html.Section:
    """Fields for what the refusals ask for; all of them where they ask for nothing in particular."""
    asked = {name for refusal in job.refusals for name in refusal.asks}
    fields: list[object] = []
    for name, label, part, value in (
        ("timezone", said.MORE_ZONE, ids.MORE_ZONE, job.told.timezone),
        ("start", said.MORE_START, ids.MORE_START, job.told.start),
        ("column", said.MORE_COLUMN, ids.MORE_COLUMN, None),
    ):
        shown = name in asked
        fields.append(
            html.Div(
                [
                    html.Label(label, htmlFor=part),
                    dcc.Input(id=part, type="text", value=value or "", autoComplete="off"),
                ],
                hidden=not shown,
            )
        )
    for name, label, part, options, value in (
        ("column", said.MORE_HOLDS, ids.MORE_HOLDS, [("", said.MORE_HOLDS_OPEN), *said.HOLDS], ""),
        ("format", said.MORE_FORMAT, ids.MORE_FORMAT,
         [("", said.MORE_FORMAT_OPEN), *((one, one) for one in formats)], job.told.format or ""),
    ):  # fmt: skip
        fields.append(
            html.Div(
                [
                    html.Label(label, htmlFor=part),
                    dcc.Dropdown(
                        id=part, options=[{"value": one, "label": shown} for one, shown in options], value=value,
                        clearable=False,
                    ),
                ],
                hidden=name not in asked,
            )
        )  # fmt: skip
    send = html.Button(said.MORE_SEND, id=ids.MORE_SEND, n_clicks=0, type="button", className="main")
    apart = html.Button(said.JOIN_APART, id=ids.join_else("apart"), n_clicks=0, type="button")
    tools = [send, *([apart] if job.told.together and len(job.files) > 1 else [])]
    return parts.card(
        said.MORE_TITLE if asked else texts.JOB_RETRY, html.Div(fields, className="fields"),
        html.Div(tools, className="tools"), name="more",
    )  # fmt: skip
