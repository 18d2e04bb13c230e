"""Tables of the ride's page: flagged stretches, time above thresholds, how it was ridden."""

from __future__ import annotations

from dash import html

from dashboard import config, ids
from dashboard.components import parts
from dashboard.components.stretches import stretch_table
from dashboard.look import Look
from dashboard.views import RideView
from ridelog.report import tables
from ridelog.words import key_figures
from ridelog.words import riding as riding_words


def stretches(view: RideView, look: Look, selected: int | None = None) -> html.Section:
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
        html.P(key_figures.STRETCHES_NOTE, className="small"),
        name="stretches",
    )


def stretches_of(view: RideView, look: Look, most: int | None = None, selected: int | None = None) -> html.Div:
    """The table of the first `most` stretches, of all where None."""
    return stretch_table(tables.segment_rows(view.analysis, look.units)[:most], selected)


def exposure(view: RideView, look: Look, *, what_if: bool = False) -> html.Section:
    """Time above each threshold; `what_if` adds what it would have been on the conservative map."""
    heads, rows = tables.exposure_by_threshold(view.analysis, look.units)
    title = "Time above each threshold"
    if len(heads) < 2:
        return parts.card(
            title, html.P("Coolant was not logged, so no time above a temperature can be told."), name="exposure"
        )
    other = tables.what_if_by_threshold(view.analysis) if what_if else []
    if other:
        rows = [*rows[:1], other, *rows[1:]]
    return parts.card(
        title,
        parts.plain_table(heads, rows, title, class_name="across"),
        html.P(tables.what_if_note(view.analysis), className="small") if other else None,
        html.P("“The sensor allows” is the range left open by the sensor's smallest step and by values it repeats.",
               className="small"),
        name="exposure",
    )  # fmt: skip


def riding(view: RideView) -> list[html.Section]:
    """How it was ridden and set up; nothing where the result has no such facts."""
    rows = [html.Div([html.Dt(name), html.Dd(text)]) for name, text in tables.riding_rows(view.analysis)]
    if not rows:
        return []
    note = html.P(riding_words.OIL, className="small")
    return [parts.card(riding_words.TITLE, html.Dl(rows, className="facts"), note, name="riding")]
