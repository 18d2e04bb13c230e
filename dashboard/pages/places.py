"""Where it gets hot: the hottest places over all rides, on a map and in a table, with the way to each ride there."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.components.naming import named, names_of
from dashboard.ride_address import with_margin
from ridelog.advice import KINDS
from ridelog.figures.places_map import places_map
from ridelog.report.sentences import moment, sentence, shown
from ridelog.words import places as words
from ridelog.words import places_hot as hot_words
from ridelog.words.display import clock

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dashboard.look import Look
    from dashboard.views import PlacesView
    from ridelog.analysis.passes_hottest import HotPlace, PlacePass
    from ridelog.places_hot import HotPlaces

KINDS_IN_ORDER = tuple(KINDS)

PASSES = 40
"""Passes of a place that are listed."""


def layout(view: PlacesView, look: Look) -> html.Div:
    """The page, in a box that is filled anew while rides are being looked at."""
    return html.Div(
        [
            html.H1(texts.PLACES_TITLE, className="page"),
            _filters(view),
            dcc.Store(id=ids.PLACES_BIKE, data=view.bike),
            html.Div(content(view, look), id=ids.PLACES_BOX),
        ],
        className="places",
    )


def content(view: PlacesView, look: Look) -> list[object]:
    """What was found, or how far the look is."""
    found = view.found
    if found is None:
        # a box of a kind that what is found does not begin with: the browser puts new elements in its place, instead of
        # making these larger under the reader's eyes
        return [
            html.Section(
                [
                    html.P(sentence(view.doing), role="status"),
                    html.Div(className="going", role="progressbar", **{"aria-label": texts.PLACES_STARTING}),
                    html.P(texts.PLACES_ANEW, className="small"),
                    dcc.Interval(id=ids.PLACES_CLOCK, interval=config.LOOK_MS),
                ],
                **{"aria-label": texts.PLACES_STARTING},
            )
        ]
    names = names_of(view.when)
    first, *rest = found.summary or (texts.PLACES_NONE,)
    inside: list[object] = [html.P(named(first, names), className="answer", id="answer")]
    if rest:
        inside.append(parts.bullets([named(one, names) for one in rest]))
    if look.units.name == "imperial":
        inside.append(html.P(texts.PLACES_UNITS, className="small"))
    if found.places:
        inside += [_map(view, found, look), _table(found, names), _passes(view, found)]
    left = words.untold(found.cannot_tell)
    if left:
        inside.append(
            parts.card(texts.PLACES_LEFT_OUT, parts.bullets([named(one, names) for one in left]), name="left-out")
        )
    return [*inside, parts.cautions()]


def _filters(view: PlacesView) -> html.Nav | None:
    if not view.bikes:
        return None

    def link(name: str, bike: str | None) -> html.Li:
        here = bike == view.bike
        return html.Li(
            html.B(name, **{"aria-current": "page"}) if here else dcc.Link(name, href=config.places_path(bike))
        )

    listed = [link(texts.ALL_BIKES, None), *(link(bike, bike) for bike in view.bikes)]
    return html.Nav(html.Ul(listed), className="filters", **{"aria-label": texts.PLACES_FILTERS})


def _map(view: PlacesView, found: HotPlaces, look: Look) -> html.Section:
    if look.hide_course:
        return parts.card(texts.PLACES_MAP, html.P(texts.COURSE_HIDDEN), name="map")
    told = [
        (place.place_deg, _kind(place), f"{number}: {hot_words.words_of(place)}, {hot_words.passes_hot(place)} hot")
        for number, place in enumerate(found.places, 1)
    ]
    figure = None
    if view.ground_deg is not None:
        figure = places_map(view.ground_deg, told, display=look.units, touch=look.touch, dark=look.dark)
    if figure is None:
        return parts.card(texts.PLACES_MAP, html.P(texts.PLACES_WIDE), name="map")
    kinds = {_kind(place): hot_words.words_of(place) for place in found.places}
    shown_kinds = [(kind or "standard", name) for kind, name in kinds.items()]
    return parts.card(
        texts.PLACES_MAP,
        parts.legend(shown_kinds),
        parts.plot(figure, texts.PLACES_MAP_SAID, ids.PLACES_MAP),
        name="map",
    )


def _kind(place: HotPlace) -> str:
    return KINDS_IN_ORDER[place.kind] if place.kind >= 0 else ""


def _table(found: HotPlaces, names: Mapping[str, str]) -> html.Section:
    heads = [one.capitalize() for one in hot_words.hot_columns(found.bike)]
    rows = []
    for number, place in enumerate(found.places, 1):
        *cells, begins = (named(cell, names) for cell in hot_words.hot_cells(number, place, found.bike))
        there = config.view_path(place.ride, *with_margin(place.start_s, place.start_s))
        rows.append((*cells, dcc.Link(begins, href=there)))
    return parts.card(
        texts.PLACES_TABLE,
        parts.plain_table(heads, rows, texts.PLACES_TABLE, "cards"),
        html.P(shown(hot_words.HOT_NOTE), className="small"),
        name="table",
    )


def _passes(view: PlacesView, found: HotPlaces) -> html.Section:
    """Every pass of every place, each a link to that moment of its ride."""
    return parts.card(
        texts.PLACES_PASSES,
        *(
            html.Details(
                [
                    html.Summary(
                        [
                            texts.place_head(number, hot_words.words_of(place)),
                            html.Span(f", {texts.passes_of(place.passes)}", className="small"),
                        ]
                    ),
                    html.Ol([_pass(view, one) for one in _in_order(view, place)[:PASSES]], className="plain passes"),
                    html.P(texts.doubts_more(place.passes - PASSES), className="small")
                    if place.passes > PASSES
                    else None,
                ],
                open=number == 1,
            )
            for number, place in enumerate(found.places, 1)
        ),
        name="passes",
    )


def _in_order(view: PlacesView, place: HotPlace) -> list[PlacePass]:
    """The latest ride first; rides without a day last, by their names."""

    def key(one: PlacePass) -> tuple[bool, float, str]:
        start_utc = view.when.get(one.ride, (None, None, None))[0]
        return start_utc is None, -start_utc.timestamp() if start_utc is not None else 0.0, one.ride

    return sorted(place.listed, key=key)


def _pass(view: PlacesView, one: PlacePass) -> html.Li:
    start_utc, timezone, start_local = view.when.get(one.ride, (None, None, None))
    day = moment(start_utc, timezone, start_local) or one.ride
    hot = texts.PASS_UNKNOWN if one.hot is None else texts.PASS_HOT if one.hot else texts.PASS_NOT
    there = config.view_path(one.ride, *with_margin(one.start_s, one.start_s + one.seconds))
    bike = one.bike or texts.NO_BIKE
    return html.Li(
        [
            dcc.Link(f"{day}, at {clock(one.start_s)}", href=there),
            f", {bike}: ",
            html.B(hot) if one.hot else hot,
        ]
    )
