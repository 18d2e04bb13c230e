"""What the figures of a ride rest on: what can't be told, what the import found, doubtful data, defaults, channels."""

from __future__ import annotations

from dash import dcc, html

from dashboard import config, texts
from dashboard.components import parts
from dashboard.ride_address import with_margin
from dashboard.views import RideView
from ridelog.figures.quality_marks import distinct
from ridelog.report import tables
from ridelog.report.sentences import start_text
from ridelog.results import Mark
from ridelog.words import basis
from ridelog.words.checks import check_lines


def cannot_tell(view: RideView) -> html.Section:
    rows = tables.cannot_tell_rows(view.analysis)
    inside = (
        parts.bullets([[html.B(question), " ", reason] for question, reason in rows])
        if rows
        else html.P("Nothing asked of this log was left open.")
    )
    checks = check_lines(view.analysis.facts)
    below: list[object] = [html.H3("Checks of the bike file"), parts.bullets(checks)] if checks else []
    return parts.card("What could not be told, and why", inside, *below, name="cannot-tell")


def import_report(view: RideView) -> html.Section:
    """What was repaired or left out as the file was read."""
    notes = tables.note_sentences(view.ride)
    nothing = html.P("The file was read as it stands: nothing was repaired or left out.")
    return parts.card("What the import found", parts.bullets(notes) if notes else nothing, name="import")


def doubtful(view: RideView) -> html.Section | None:
    """Every doubtful stretch, each with a link that shows it in the picture; nothing where there is none."""
    marks = distinct(view.analysis.quality)
    if not marks:
        return None
    rows = tables.quality_rows(view.analysis)
    lines = [_doubt(view.ride.id, mark, row) for mark, row in zip(marks, rows, strict=True)]
    listed: list[object] = [_doubts(lines[: config.DOUBTS])]
    if len(lines) > config.DOUBTS:
        rest = html.Summary(texts.doubts_more(len(lines) - config.DOUBTS))
        listed.append(html.Details([rest, _doubts(lines[config.DOUBTS :])]))
    return parts.card(texts.DOUBTFUL, html.P(texts.DOUBTFUL_HOW, className="small"), *listed, name="doubtful")


def _doubts(lines: list[tuple[object, ...]]) -> html.Div:
    return parts.plain_table(tables.QUALITY_COLUMNS, lines, texts.DOUBTFUL, "cards")


def _doubt(ride_id: str, mark: Mark, row: tuple[str, ...]) -> tuple[object, ...]:
    channel, what, start, end, values, detail = row
    link = dcc.Link(start, href=config.view_path(ride_id, *with_margin(mark.start_s, mark.end_s)))
    return channel, what, link, end, values, detail


def rests_on(view: RideView) -> html.Section:
    rows = basis.basis_rows(view.analysis, view.ride, start_text(view.ride))
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
