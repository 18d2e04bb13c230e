"""The hottest places while rides are still being looked at: the page looks again until they are known."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.look import look_of
from dashboard.pages.places import content
from dashboard.provider import Provider


def register(app: Dash, provider: Provider) -> None:
    """Tie the clock to the page."""

    @app.callback(
        Output(ids.PLACES_BOX, "children"),
        Input(ids.PLACES_CLOCK, "n_intervals"),
        State(ids.PLACES_BIKE, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def again(ticks: int | None, bike: str | None, screen: Any) -> Any:
        if not ticks:
            raise PreventUpdate
        return content(provider.places_of(bike), look_of(screen))
