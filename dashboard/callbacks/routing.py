"""From the address to the page."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from dash import Dash, Input, Output, State, ctx, no_update

from dashboard import config, ids, texts
from dashboard.look import Look, look_of
from dashboard.pages import bikes, case, cases, compare, importing, lost, places, review, ride, rides, settings
from dashboard.provider import CompareQuestion, Provider
from dashboard.ride_address import asked_in, view_of
from ridelog.errors import NotInLibrary, RidelogError
from ridelog.report.tables import title

if TYPE_CHECKING:
    from dashboard.provider import Kind

log = logging.getLogger(__name__)

# path, kind of screen and settings in one step, so that the page is drawn once
_SCREEN = """
function(path, search, prefs) {
    const told = prefs || {};
    const night = window.matchMedia("(prefers-color-scheme: dark)").matches;
    const dark = told.theme === "dark" || (told.theme !== "light" && night);
    document.documentElement.dataset.theme = dark ? "dark" : "light";
    const asked = window.dash_clientside.callback_context.triggered.map((one) => one.prop_id);
    // another part of the ride that is on the screen: the page stays, and is shown what the address asks for
    const ride = document.getElementById("ride-page");
    if (ride && ride.dataset.path === path && asked.length === 1 && asked[0] === "url.search") {
        return window.dash_clientside.no_update;
    }
    return {
        path: path || "/", search: search || "", dark: dark, prefs: told,
        touch: window.matchMedia("(pointer: coarse)").matches,
        only_prefs: asked.length === 1 && asked[0] === "prefs.data",
    };
}
"""
_TITLE = """
function(title) {
    document.title = title;
    // a reader of the page by ear starts at its top, not at a link that is gone
    document.getElementById("content").focus({preventScroll: true});
    const part = window.location.hash && document.getElementById(window.location.hash.slice(1));
    if (part) { part.scrollIntoView(); }
}
"""


def register(app: Dash, provider: Provider) -> None:
    """Tie address, page and window title together."""
    app.clientside_callback(_SCREEN, Output(ids.SCREEN, "data"), Input(ids.URL, "pathname"), Input(ids.URL, "search"),
                            Input(ids.PREFS, "data"))  # fmt: skip
    app.clientside_callback(_TITLE, Input(ids.TITLE, "data"), prevent_initial_call=True)

    @app.callback(
        Output(ids.CONTENT, "children"),
        Output(ids.TITLE, "data"),
        Input(ids.SCREEN, "data"),
        Input(ids.ADDED, "data"),
        State(ids.URL, "pathname"),
        prevent_initial_call=True,
    )
    def show(screen: dict[str, Any] | None, added: int | None, path: str) -> tuple[Any, Any]:  # noqa: ARG001
        # A ride that was added changes the list of rides, and nothing of another page.
        if ctx.triggered_id == ids.ADDED and _parts(path):
            return no_update, no_update
        # The form of the settings stays as it is while it is being filled in.
        if (screen or {}).get("only_prefs") and _parts(path) == ["settings"]:
            return no_update, no_update
        return page(provider, path, screen)


def _parts(path: str | None) -> list[str]:
    return [unquote(part) for part in (path or "/").split("/") if part]


@dataclass(frozen=True)
class Asked:
    """What a page is made from: the address in parts and what it asks for, how it is to be seen, what the browser
    keeps."""

    provider: Provider
    parts: list[str]
    look: Look
    prefs: dict[str, Any]
    query: dict[str, str]


def _review(asked: Asked) -> tuple[Any, str]:
    bike = asked.query.get("bike")
    view = asked.provider.review_of(bike, asked.query.get("since"))
    return review.layout(view, asked.look, asked.provider.after_work(bike)), texts.REVIEW


def _compare(asked: Asked) -> tuple[Any, str]:
    query = asked.query
    rides = tuple(part for part in dict.fromkeys(query.get("rides", "").split(",")) if part)
    question = CompareQuestion(rides, query.get("bike"), query.get("service"), query.get("build") == "1")
    return compare.layout(asked.provider.compare_of(question), asked.look), texts.COMPARE


def _rides(asked: Asked) -> tuple[Any, str]:
    number = asked.query.get("page", "1")
    chosen = int(number) if number.isascii() and number.isdigit() and len(number) < 6 else 1
    return rides.layout(asked.provider.ride_list(asked.query.get("bike"), chosen), asked.look), texts.RIDES


def _settings(asked: Asked) -> tuple[Any, str]:
    return settings.layout(asked.look, asked.prefs), texts.SETTINGS


def _ride(asked: Asked) -> tuple[Any, str]:
    view = asked.provider.view_of(asked.parts[1])
    found = view_of(asked.query, view.analysis, touch=asked.look.touch)
    notes = asked.provider.notes(view.ride.id)
    return ride.layout(view, asked.look, notes, shown=found.view, said=found.said), title(view.ride)


def _bikes(asked: Asked) -> tuple[Any, str]:
    return bikes.layout(asked.provider.profiles("bike"), asked.provider.profiles("advice")), texts.BIKES


def _edit(asked: Asked) -> tuple[Any, str]:
    kind: Kind = "bike" if asked.parts[0] == "bikes" else "advice"
    name = asked.parts[1]
    text = asked.provider.profile_text(kind, name)
    return bikes.editor(kind, name, text, asked.provider.profile_history(kind, name)), name


def _new(asked: Asked) -> tuple[Any, str]:
    from ridelog import advice, bike

    kind: Kind = "bike" if asked.parts[1] == "bike" else "advice"
    name = texts.NEW_NAME[kind]
    text = bike.template(name) if kind == "bike" else advice.template(name, date.today())  # noqa: DTZ011 - the user's day
    return bikes.editor(kind, name, text, [], new=True), texts.BIKES_NEW[kind]


def _places(asked: Asked) -> tuple[Any, str]:
    return places.layout(asked.provider.places_of(asked.query.get("bike")), asked.look), texts.PLACES


def _cases(asked: Asked) -> tuple[Any, str]:
    return cases.layout(asked.provider.cases(), asked.provider.case_record()), texts.CASES


def _case(asked: Asked) -> tuple[Any, str]:
    found = asked.provider.case(asked.parts[1])
    rides = asked.provider.rides_of(found.bike) if found.bike is not None else []
    return case.layout(found, rides, asked.look), texts.case_title(found.id)


def _open_case(asked: Asked) -> tuple[Any, str]:
    ride_id = asked.parts[1] if asked.parts[0] == "open-case" else None
    bikes_there = asked.provider.bike_names()
    bike = asked.provider.bike_of(ride_id) if ride_id is not None else None
    if ride_id is None and len(bikes_there) == 1:
        bike = bikes_there[0]
    offered = asked.provider.rides_of(bike) if bike is not None else []
    today = date.today()  # noqa: DTZ011 - the user's day
    return cases.opening(bikes_there, asked.look, bike=bike, ride=ride_id, rides=offered, today=today), texts.CASES_NEW


def _import(asked: Asked) -> tuple[Any, str]:
    return importing.shell(asked.parts[1]), texts.ADD


_PAGES: dict[tuple[str, ...], Callable[[Asked], tuple[Any, str]]] = {
    (): _rides,
    ("settings",): _settings,
    ("bikes",): _bikes,
    ("review",): _review,
    ("places",): _places,
    ("cases",): _cases,
    ("new", "case"): _open_case,
    ("compare",): _compare,
    ("new", "bike"): _new,
    ("new", "advice"): _new,
}
"""Pages by their whole address."""

_NAMED: dict[str, Callable[[Asked], tuple[Any, str]]] = {
    "ride": _ride,
    "bikes": _edit,
    "sheets": _edit,
    "cases": _case,
    "open-case": _open_case,
    "import": _import,
}
"""Pages by the first part of their address, the second being the name of what they show."""


def _holds(provider: Provider, parts: list[str]) -> bool:
    """Is there a thing of that name?"""
    if parts[0] in ("ride", "open-case"):
        return provider.holds(parts[1])
    if parts[0] == "import":
        return True  # what is no longer listed says so itself
    if parts[0] == "cases":
        return parts[1] in {one.id for one in provider.cases()}
    items = provider.profiles("bike" if parts[0] == "bikes" else "advice")
    return parts[1] in {item.name for item in items}


def leads_somewhere(provider: Provider, path: str) -> bool:
    """False for an address that no page has, and for a thing the library does not hold."""
    parts = _parts(path)
    if len(parts) != 2 or parts[0] not in _NAMED:
        return tuple(parts) in _PAGES
    try:
        return _holds(provider, parts)
    except RidelogError:
        return True  # the library is in trouble; what is the matter stands on the page


def page(provider: Provider, path: str | None, screen: Any = None) -> tuple[Any, str]:
    """Page and window title for an address. Every failure is a page that says what to do."""
    parts = _parts(path)
    prefs = (screen or {}).get("prefs") or {}
    asked = Asked(provider, parts, look_of(screen), prefs, asked_in((screen or {}).get("search")))
    made = _PAGES.get(tuple(parts)) or (_NAMED.get(parts[0]) if len(parts) == 2 else None)
    if made is None:
        return lost.no_such_page("/".join(["", *parts])), f"Not found · {config.NAME}"
    try:
        shown, name = made(asked)
    except RidelogError as error:
        # a library that holds the ride and still says so lacks its bike
        if isinstance(error, NotInLibrary) and not leads_somewhere(provider, path or "/"):
            gone = lost.no_such_ride(parts[1]) if parts[0] in ("ride", "open-case") else lost.trouble(error)
            return gone, f"Not found · {config.NAME}"
        return lost.trouble(error), f"Can't be shown · {config.NAME}"
    except Exception:
        log.exception("the page %s could not be made", path)
        return lost.fault(), f"Fault · {config.NAME}"
    return shown, f"{name} · {config.NAME}"
