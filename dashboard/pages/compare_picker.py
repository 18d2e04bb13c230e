"""What to compare: rides, the rides before and after work on a bike, a ride's bike among its build. Every choice is a
link, so that the address holds what is chosen and the way back leads through it."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.components.naming import ride_names
from ridelog.words.display import duration

if TYPE_CHECKING:
    from dashboard.look import Look
    from dashboard.views import CompareView, RideItem


def picker(view: CompareView, look: Look) -> html.Section:
    """What is chosen, what can be added, and work on bikes to compare around."""
    names = ride_names(view.items)
    inside: list[object] = []
    if view.rides:
        inside += [html.P(texts.COMPARE_CHOSEN, className="small"), _chosen(view.rides, names)]
    if len(view.rides) == 1:
        asked = urlencode({"rides": view.rides[0], "build": "1"})
        inside.append(html.P(dcc.Link(texts.COMPARE_BUILD, href=f"/compare?{asked}")))
    inside.append(_to_add(view, names, look))
    if view.services:
        links = [
            dcc.Link(
                texts.compare_service(bike, day, what), href="/compare?" + urlencode({"bike": bike, "service": day})
            )
            for bike, day, what in view.services
        ]
        listed = html.Ul([html.Li(link) for link in links], className="plain")
        inside.append(html.Details([html.Summary(texts.COMPARE_SERVICES), listed]))
    return parts.card(texts.COMPARE_WHICH, *inside, name="which", class_name="no-print")


def _chosen(rides: tuple[str, ...], names: dict[str, str]) -> html.Ol:
    rows = []
    for number, ride in enumerate(rides):
        name = names.get(ride, ride)
        without = tuple(one for one in rides if one != ride)
        acts: list[object] = [_act(texts.COMPARE_OUT, name, without)]
        if number:
            acts.append(_act(texts.COMPARE_FIRST, name, (ride, *without)))
        rows.append(html.Li([dcc.Link(name, href=config.ride_path(ride)), html.Span(acts, className="acts")]))
    return html.Ol(rows, className="chosen-rides")


def _act(words: str, name: str, rides: tuple[str, ...]) -> dcc.Link:
    # who hears the links one by one is told which ride each is about
    return dcc.Link([words, html.Span(f": {name}", className="hidden")], href=_address(rides), className="small")


def _address(rides: tuple[str, ...]) -> str:
    return config.compare_path(*rides) if rides else "/compare"


def _to_add(view: CompareView, names: dict[str, str], look: Look) -> html.Details:
    """The rides that can be chosen, by bike; that of the first ride chosen stands open."""
    first = next((item.bike for item in view.items if view.rides and item.id == view.rides[0]), None)
    free = [item for item in view.items if item.id not in view.rides]
    bikes = sorted({item.bike for item in free}, key=lambda bike: (bike is None, bike != first, bike or ""))
    groups = [
        html.Details(
            [
                html.Summary(bike or texts.NO_BIKE),
                html.Ul(
                    [_choice(item, names[item.id], view.rides, look) for item in free if item.bike == bike],
                    className="plain",
                ),
            ],
            open=len(bikes) == 1 or (bike is not None and bike == first),
        )
        for bike in bikes
    ]
    words = texts.COMPARE_ADD_MORE if view.rides else texts.COMPARE_ADD
    asked = view.comparison is not None or view.said
    return html.Details(
        [html.Summary(words), html.Div(groups, className="by-bike")], id=ids.COMPARE_RIDES, open=not asked
    )


def _choice(item: RideItem, name: str, rides: tuple[str, ...], look: Look) -> html.Li:
    peak = look.units.peak_text(item.peak_c) if item.peak_c is not None else texts.NO_PEAK
    told = f" {duration(item.duration_s)}, {peak}"
    return html.Li([dcc.Link(name, href=_address((*rides, item.id))), html.Span(told, className="small")])
