"""Pages for addresses that lead nowhere, and for faults."""

from __future__ import annotations

from dash import html

from dashboard.components import parts
from ridelog.errors import RidelogError


def no_such_ride(ride_id: str) -> html.Div:
    """A ride the library does not hold."""
    return html.Div(
        [
            parts.back_link(),
            parts.message(
                "This ride is not in the library",
                [
                    f"No ride of this library has the id {ride_id[:80]}.",
                    "It may have been removed, or the link may be cut. The list shows what is there.",
                ],
            ),
        ]
    )


def no_such_page(path: str) -> html.Div:
    """An address no page has."""
    return html.Div(
        [
            parts.back_link(),
            parts.message(
                "There is no such page", [f"Nothing is kept at {path[:120]}.", "The links above lead to all there is."]
            ),
        ]
    )


def trouble(error: RidelogError) -> html.Div:
    """An error of the project's own: its words."""
    return html.Div([parts.back_link(), parts.message("This can't be shown", [error.one_line()])])


def fault() -> html.Div:
    """A fault of the program itself."""
    return html.Div(
        [
            parts.back_link(),
            parts.message(
                "The dashboard could not make this page",
                [
                    "This is a fault of the program, not of your log; nothing was changed or lost.",
                    "The window that runs the dashboard names it. Load the page again, or read the ride with:",
                    html.Code("ridelog analyze RIDE"),
                ],
            ),
        ]
    )
