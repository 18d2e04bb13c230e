"""From the address to the page."""

from __future__ import annotations

import logging
from typing import Any
from urllib.parse import unquote

from dash import Dash, Input, Output, State, ctx, no_update

from dashboard import config, ids
from dashboard.pages import lost, ride, rides
from dashboard.provider import Provider
from ridelog.errors import NotInLibrary, RidelogError
from ridelog.report.tables import title

log = logging.getLogger(__name__)

# path and kind of screen in one step, so that the page is drawn once
_SCREEN = """
function(path) {
    return {path: path || "/", touch: window.matchMedia("(pointer: coarse)").matches};
}
"""
_TITLE = """
function(title) {
    document.title = title;
    // a reader of the page by ear starts at its top, not at a link that is gone
    document.getElementById("content").focus({preventScroll: true});
}
"""


def register(app: Dash, provider: Provider) -> None:
    """Tie address, page and window title together."""
    app.clientside_callback(_SCREEN, Output(ids.SCREEN, "data"), Input(ids.URL, "pathname"))
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
        return page(provider, path, touch=bool((screen or {}).get("touch")))


def _parts(path: str | None) -> list[str]:
    return [unquote(part) for part in (path or "/").split("/") if part]


def leads_somewhere(provider: Provider, path: str) -> bool:
    """False for an address that no page has, and for a ride the library does not hold."""
    parts = _parts(path)
    if len(parts) != 2 or parts[0] != "ride":
        return not parts
    try:
        return provider.holds(parts[1])
    except RidelogError:
        return True  # the library is in trouble; what is the matter stands on the page


def page(provider: Provider, path: str | None, *, touch: bool = False) -> tuple[Any, str]:
    """Page and window title for an address. Every failure is a page that says what to do."""
    parts = _parts(path)
    try:
        if not parts:
            return rides.layout(provider.rides(config.LATEST)), f"Rides · {config.NAME}"
        if len(parts) == 2 and parts[0] == "ride":
            view = provider.view_of(parts[1])
            return ride.layout(view, touch=touch), f"{title(view.ride)} · {config.NAME}"
    except RidelogError as error:
        # a library that holds the ride and still says so lacks its bike
        if isinstance(error, NotInLibrary) and not leads_somewhere(provider, path or "/"):
            return lost.no_such_ride(parts[1]), f"Not found · {config.NAME}"
        return lost.trouble(error), f"Can't be shown · {config.NAME}"
    except Exception:
        log.exception("the page %s could not be made", path)
        return lost.fault(), f"Fault · {config.NAME}"
    return lost.no_such_page("/".join(["", *parts])), f"Not found · {config.NAME}"
