"""Cases: opening, attaching, comparing with today, closing, opening again, printing, removing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard import config, ids, texts
from dashboard.callbacks import focus
from dashboard.components.saying import refusal
from dashboard.look import look_of
from dashboard.pages import case as case_page
from dashboard.pages import cases as pages
from ridelog.cases import frozen_of
from ridelog.errors import RidelogError

if TYPE_CHECKING:
    from dashboard.casebook import ComplaintRow
    from dashboard.provider import Provider

_PRINT = "function(clicks) { if (clicks) { window.print(); } }"


def register(app: Dash, provider: Provider) -> None:
    """Tie both forms and the page of a case together."""
    app.clientside_callback(_PRINT, Input(ids.CASE_PRINT, "n_clicks"), prevent_initial_call=True)
    _opening(app, provider)
    _changing(app, provider)
    _removing(app, provider)

    @app.callback(
        Output({"type": ids.CASE_TODAY, "index": MATCH}, "children"),
        Input({"type": ids.CASE_RIDE, "index": MATCH}, "data"),
        State(ids.CASE, "data"),
    )
    def today(ride_id: str | None, name: str | None) -> Any:
        if ride_id is None or name is None:
            raise PreventUpdate
        return beside_today(provider, name, ride_id)


def _opening(app: Dash, provider: Provider) -> None:
    @app.callback(
        Output(ids.CASE_RIDES, "options"),
        Output(ids.CASE_RIDES, "value"),
        Output(ids.CASE_CHOICE, "children"),
        Input(ids.CASE_BIKE, "value"),
        State(ids.CASE_RIDES, "value"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def offer(bike: str | None, ticked: list[str] | None, screen: Any) -> tuple[Any, Any, str]:
        if not bike:
            raise PreventUpdate
        rides = provider.rides_of(bike)
        there = {one.id for one in rides}
        still = [one for one in ticked or [] if one in there]
        return pages.options(rides, look_of(screen)), still, "" if rides else texts.CASE_NO_RIDES

    @app.callback(
        Output(ids.URL, "pathname"),
        Output(ids.CASE_SAID, "children"),
        Output(ids.CASE_DONE, "data"),
        Input(ids.CASE_OPEN, "n_clicks"),
        State(ids.CASE_BIKE, "value"),
        State(ids.CASE_DAY, "value"),
        State(ids.CASE_WORDS, "value"),
        State(ids.CASE_RIDES, "value"),
        running=[(Output(ids.CASE_OPEN, "disabled"), True, False)],
        prevent_initial_call=True,
    )
    def open_(clicks: int | None, *typed: Any) -> tuple[Any, Any, Any]:
        if not clicks:
            raise PreventUpdate
        bike, day, said, rides = typed
        if not bike:
            return no_update, texts.CASE_BIKE_MISSING, clicks
        try:
            made = provider.open_case(bike, day or "", said or "", rides or [])
        except RidelogError as error:
            return no_update, refusal(error), clicks
        return config.case_path(made.id), "", clicks


def _changing(app: Dash, provider: Provider) -> None:
    @app.callback(
        Output(ids.CASE_PAGE, "children", allow_duplicate=True),
        Output(ids.CASE_ATTACH_SAID, "children"),
        Output(ids.CASE_DONE, "data", allow_duplicate=True),
        Input(ids.CASE_ATTACH, "n_clicks"),
        State(ids.CASE_RIDES, "value"),
        State(ids.CASE_FOUND, "value"),
        State(ids.CASE_CAUSE, "value"),
        State(ids.CASE, "data"),
        State(ids.SCREEN, "data"),
        running=[(Output(ids.CASE_ATTACH, "disabled"), True, False)],
        prevent_initial_call=True,
    )
    def attach(clicks: int | None, *typed: Any) -> tuple[Any, Any, Any]:
        rides, found, cause, name, screen = typed
        if not clicks:
            raise PreventUpdate
        if not rides:
            return no_update, texts.CASE_RIDES_MISSING, clicks
        try:
            made = provider.attach(name, rides)
        except RidelogError as error:
            return no_update, refusal(error), clicks
        return anew(provider, made, screen, {"found": found, "cause": cause}), no_update, no_update

    @app.callback(
        Output(ids.CASE_PAGE, "children", allow_duplicate=True),
        Output(ids.CASE_CLOSE_SAID, "children"),
        Input(ids.CASE_CLOSE, "n_clicks"),
        State(ids.CASE_FOUND, "value"),
        State(ids.CASE_CAUSE, "value"),
        State(ids.CASE, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def close(clicks: int | None, *typed: Any) -> tuple[Any, Any]:
        if not clicks:
            raise PreventUpdate
        found, cause, name, screen = typed
        try:
            return anew(provider, provider.close_case(name, found or "", cause or ""), screen), no_update
        except RidelogError as error:
            return no_update, refusal(error)

    @app.callback(
        Output(ids.CASE_PAGE, "children", allow_duplicate=True),
        Input(ids.CASE_REOPEN, "n_clicks"),
        State(ids.CASE, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def reopen(clicks: int | None, name: str, screen: Any) -> Any:
        if not clicks:
            raise PreventUpdate
        return anew(provider, provider.reopen_case(name), screen)


def _removing(app: Dash, provider: Provider) -> None:
    focus.taken_to(app, ids.CASE_TOLD)

    @app.callback(
        Output(ids.CASE_PAGE, "children", allow_duplicate=True),
        Output(ids.CASE_TOLD, "children"),
        Input({"type": ids.CASE_OUT, "index": ALL}, "n_clicks"),
        State({"type": ids.CASE_RIDE, "index": ALL}, "data"),
        # asked also as a case is closed, whose page has neither
        State(ids.CASE_FOUND, "value", allow_optional=True),
        State(ids.CASE_CAUSE, "value", allow_optional=True),
        State(ids.CASE, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def take_out(clicks: list[int | None], rides: list[str], *typed: Any) -> tuple[Any, Any]:
        pressed = ctx.triggered_id
        if not isinstance(pressed, Mapping) or not any(clicks):
            raise PreventUpdate
        found, cause, name, screen = typed
        number = int(pressed["index"])
        try:
            made = provider.take_out(name, rides[number] if 0 <= number < len(rides) else "")
        except RidelogError as error:
            return no_update, refusal(error)
        said = texts.ride_taken_out(rides[number])
        return anew(provider, made, screen, {"found": found, "cause": cause}, said), no_update

    @app.callback(
        Output(ids.URL, "pathname", allow_duplicate=True),
        Output(ids.CASE_REMOVE_SAID, "children"),
        Input(ids.CASE_REMOVE, "n_clicks"),
        State(ids.CASE, "data"),
        prevent_initial_call=True,
    )
    def remove(clicks: int | None, name: str) -> tuple[Any, Any]:
        if not clicks:
            raise PreventUpdate
        try:
            provider.remove_case(name)
        except RidelogError as error:
            return no_update, refusal(error)
        return config.CASES, no_update


def anew(
    provider: Provider, case: ComplaintRow, screen: Any, draft: Mapping[str, Any] | None = None, said: str = ""
) -> list[Any]:
    """The page of a case after a change."""
    rides = provider.rides_of(case.bike) if case.bike is not None else []
    return case_page.content(case, rides, look_of(screen), draft=draft, said=said)


def beside_today(provider: Provider, name: str, ride_id: str) -> Any:
    """How a ride of a case compares with today."""
    try:
        frozen = next(one for one in frozen_of(provider.case(name)) if one.ride == ride_id)
        return case_page.compared(frozen, provider.today(name, ride_id))
    except StopIteration:
        return texts.CASE_RIDE_GONE
    except RidelogError as error:
        return refusal(error)
