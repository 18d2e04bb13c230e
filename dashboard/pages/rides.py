"""The list of rides."""

from __future__ import annotations

from urllib.parse import urlencode

from dash import dcc, html

from dashboard import config, texts
from dashboard.components import parts
from dashboard.look import Look
from dashboard.views import RideItem, RideList
from ridelog.report.sentences import moment
from ridelog.report.tables import missing_text
from ridelog.words.display import duration
from ridelog.words.terms import CONDITION_WORDS

_COLUMNS = ("Ride", "Bike", "Duration", "Distance", "Peak coolant", "Condition", "Not logged")


def layout(shown: RideList, look: Look) -> html.Div:
    """The page: a table, or what to do where there is no ride."""
    if not shown.items and shown.bike is None:
        return html.Div(_empty())
    return html.Div(
        [
            html.H1(texts.RIDES, className="page"),
            _bikes(shown) if len(shown.bikes) > 1 or shown.bike is not None else None,
            *(_listed(shown, look) if shown.items else [html.P(texts.no_rides_of(shown.bike or ""))]),
        ]
    )


def _listed(shown: RideList, look: Look) -> list[object]:
    caption = "Rides of the library, latest first"
    first = (shown.number - 1) * config.LATEST + 1
    whole = shown.number == 1 and not shown.older
    return [
        html.P(texts.rides_count(len(shown.items), first, shown.bike, whole=whole), className="small"),
        html.Div(
            html.Table(
                [
                    html.Caption(caption, className="hidden"),
                    html.Thead(html.Tr([html.Th(name, scope="col") for name in _COLUMNS])),
                    html.Tbody([_row(item, look) for item in shown.items]),
                ]
            ),
            className="scroll rides cards card",
            role="region",
            tabIndex="0",
            **{"aria-label": caption},
        ),
        *([] if whole else [_pages(shown)]),
    ]


def _address(bike: str | None, number: int = 1) -> str:
    asked = {**({"bike": bike} if bike is not None else {}), **({"page": str(number)} if number > 1 else {})}
    return "/" + (f"?{urlencode(asked)}" if asked else "")


def _bikes(shown: RideList) -> html.Nav:
    """Links that narrow the list; the address holds what is chosen."""

    def link(words: str, bike: str | None) -> html.Li:
        here = bike == shown.bike
        return html.Li(html.B(words, **{"aria-current": "page"}) if here else dcc.Link(words, href=_address(bike)))

    named = shown.bikes if shown.bike is None or shown.bike in shown.bikes else (*shown.bikes, shown.bike)
    return html.Nav(
        html.Ul([link(texts.ALL_BIKES, None), *(link(bike, bike) for bike in named)]),
        className="filters",
        **{"aria-label": texts.RIDES_FILTER},
    )


def _pages(shown: RideList) -> html.Nav:
    newer = dcc.Link(texts.RIDES_NEWER, href=_address(shown.bike, shown.number - 1)) if shown.number > 1 else None
    older = dcc.Link(texts.RIDES_OLDER, href=_address(shown.bike, shown.number + 1)) if shown.older else None
    return html.Nav(
        html.Ul([html.Li(one) for one in (newer, older) if one is not None]),
        className="filters",
        **{"aria-label": texts.RIDES_PAGES},
    )


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
