"""The editor of bikes and sheets: checking, looking ahead, saving."""

from __future__ import annotations

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, no_update

from dashboard import config, ids, texts
from dashboard.pages import bikes
from dashboard.provider import Provider
from ridelog.errors import RidelogError


def register(app: Dash, provider: Provider) -> None:
    """Tie the editor together."""

    @app.callback(
        Output(ids.PROFILE_SAID, "children"),
        Output(ids.PROFILE_SAVE, "disabled"),
        Output(ids.PROFILE_LOOK, "disabled"),
        Input(ids.PROFILE_TEXT, "value"),
        State(ids.PROFILE, "data"),
    )
    def check(text: str | None, profile: dict[str, str]) -> tuple[Any, bool, bool]:
        return checked(provider, text, profile)

    @app.callback(
        Output(ids.PROFILE_FLIPS, "children"),
        Input(ids.PROFILE_LOOK, "n_clicks"),
        State(ids.PROFILE_TEXT, "value"),
        State(ids.PROFILE, "data"),
        prevent_initial_call=True,
    )
    def look(clicks: int | None, text: str | None, profile: dict[str, Any]) -> Any:
        return bikes.flips(provider.flips(profile["kind"], text or "")) if clicks else no_update

    @app.callback(
        Output(ids.PROFILE_SAID, "children", allow_duplicate=True),
        Output(ids.PROFILE_FLIPS, "children", allow_duplicate=True),
        Input(ids.PROFILE_SAVE, "n_clicks"),
        State(ids.PROFILE_TEXT, "value"),
        State(ids.PROFILE, "data"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, text: str | None, profile: dict[str, Any]) -> tuple[Any, Any]:
        if not clicks:
            return no_update, no_update
        try:
            name = provider.save_profile(profile["kind"], text or "")
        except RidelogError as error:
            return error.one_line(), no_update
        link = dcc.Link(texts.EDIT_OPEN, href=config.profile_path(profile["kind"], name))
        return [f"{texts.EDIT_SAVED} ", link] if name != profile["name"] else texts.EDIT_SAVED, None

    @app.callback(
        Output(ids.PROFILE_TEXT, "value"),
        Input({"type": ids.EARLIER_TEXT, "index": ALL}, "n_clicks"),
        State(ids.PROFILE, "data"),
        prevent_initial_call=True,
    )
    def earlier(_clicks: Any, profile: dict[str, Any]) -> Any:
        pressed = ctx.triggered_id
        if not isinstance(pressed, dict) or not any(one["value"] for one in ctx.triggered):
            return no_update
        history = provider.profile_history(profile["kind"], profile["name"])
        number = int(pressed["index"])
        return history[number].text if 0 <= number < len(history) else no_update


def checked(provider: Provider, text: str | None, profile: dict[str, Any]) -> tuple[str, bool, bool]:
    """What is said of a text, and whether it can't be saved and looked at."""
    if not text or not text.strip():
        return texts.EDIT_EMPTY, True, True
    try:
        name = provider.check_profile(profile["kind"], text)
    except RidelogError as error:
        return error.one_line(), True, True
    if name != profile["name"]:
        return texts.EDIT_OTHER.format(name, profile["name"]), False, False
    return texts.EDIT_VALID, False, False
