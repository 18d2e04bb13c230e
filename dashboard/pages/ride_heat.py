"""The heat balance on the ride's page: what it found, the same ride on the other map, and how a figure came about."""

from __future__ import annotations

from dash import html

from dashboard import config, ids
from dashboard.components import parts
from dashboard.views import RideView
from ridelog.report import heat_chain, tables
from ridelog.words import heat_model
from ridelog.words.display import clock


def heat(view: RideView) -> html.Section:
    """What the heat balance found in plain words, or why there is none."""
    rows = [html.Div([html.Dt(name), html.Dd(text)]) for name, text in tables.heat_rows(view.analysis)]
    return parts.card("Heat balance", html.Dl(rows, className="facts"), name="heat")


def what_if(view: RideView) -> html.Section:
    """The time above each threshold as it was and on the other map, or why that can't be told."""
    title = "Had the conservative map been on where advised"
    rows = tables.what_if_rows(view.analysis)
    why_not = tables.what_if_open(view.analysis)
    if not rows:
        return parts.card(title, html.P(why_not), name="what-if")
    return parts.card(
        title,
        html.P(why_not) if why_not else None,
        parts.plain_table(tables.WHAT_IF_COLUMNS, rows, title, class_name="across"),
        html.P(tables.what_if_note(view.analysis), className="small"),
        name="what-if",
    )


def explained(view: RideView) -> html.Section:
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
