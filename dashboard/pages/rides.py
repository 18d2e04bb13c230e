"""The list of rides."""

from __future__ import annotations

from dash import dcc, html

from dashboard import config, texts
from dashboard.components import parts
from dashboard.look import Look
from dashboard.provider import RideItem
from ridelog.report.sentences import moment
from ridelog.report.tables import missing_text
from ridelog.words.display import duration
from ridelog.words.terms import CONDITION_WORDS

_COLUMNS = ("Ride", "Bike", "Duration", "Distance", "Peak coolant", "Condition", "Not logged")


def layout(items: list[RideItem], look: Look) -> html.Div:
    """The page: a table, or what to do where the library is empty."""
    if not items:
        return html.Div(_empty())
    caption = "Rides of the library, latest first"
    return html.Div(
        [
            html.H1("Rides", className="page"),
            html.P(_count(items), className="small"),
            html.Div(
                html.Table(
                    [
                        html.Caption(caption, className="hidden"),
                        html.Thead(html.Tr([html.Th(name, scope="col") for name in _COLUMNS])),
                        html.Tbody([_row(item, look) for item in items]),
                    ]
                ),
                className="scroll rides card",
                role="region",
                tabIndex="0",
                **{"aria-label": caption},
            ),
        ]
    )


def _count(items: list[RideItem]) -> str:
    if len(items) == config.LATEST:
        return f"The latest {len(items)} rides. Older ones: ridelog rides --all"
    return "One ride." if len(items) == 1 else f"{len(items)} rides, latest first."


def _row(item: RideItem, look: Look) -> html.Tr:
    when = moment(item.start_utc, item.timezone, item.start_local) or "day not known"
    files = html.Span(", ".join(item.files), className="small block")
    cells = (
        item.bike or "not named",
        duration(item.duration_s),
        look.units.distance_text(item.distance_m),
        look.units.peak_text(item.peak_c),
        CONDITION_WORDS.get(item.condition, item.condition),
        missing_text(set(item.channels)) or "nothing missing",
    )
    named = zip(_COLUMNS[1:], cells, strict=True)
    return html.Tr(
        [
            html.Th([dcc.Link(when, href=config.ride_path(item.id)), files], scope="row"),
            # on a phone the table is drawn as cards, and the column's name stands beside its figure
            *(html.Td(cell, **{"data-name": name}) for name, cell in named),
        ]
    )


def _empty() -> list[object]:
    return [
        parts.message(
            "No ride here yet",
            [
                texts.EMPTY_DROP,
                texts.EMPTY_TERMINAL,
                html.Code("ridelog import FILE --bike BIKE"),
                texts.EMPTY_DEMO,
                html.Code("ridelog demo"),
            ],
        )
    ]
