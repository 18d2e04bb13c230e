"""The editor of bikes and sheets: checking, looking ahead, saving."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, no_update

from dashboard import config, ids, texts
from dashboard.pages import bikes
from dashboard.provider import Provider
from ridelog.errors import NotInLibrary, RidelogError

if TYPE_CHECKING:
    from dashboard.provider import Kind


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
        Output(ids.PROFILE, "data"),
        Input(ids.PROFILE_SAVE, "n_clicks"),
        State(ids.PROFILE_TEXT, "value"),
        State(ids.PROFILE, "data"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, text: str | None, profile: dict[str, Any]) -> tuple[Any, Any, Any]:
        return saved(provider, text or "", profile) if clicks else (no_update, no_update, no_update)

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


def saved(provider: Provider, text: str, profile: dict[str, Any]) -> tuple[Any, Any, Any]:
    """Save a text unless another was saved since this page saw it: what is said, what stands for what would change, and
    what the page remembers."""
    kind = profile["kind"]
    try:
        name = provider.check_profile(kind, text)
        there = _mark_there(provider, kind, name)
        if name == profile["name"] and there and there not in (profile.get("seen"), bikes.mark_of(text)):
            return texts.EDIT_MEANWHILE.format(name), no_update, {**profile, "seen": there}
        name = provider.save_profile(kind, text)
        there = _mark_there(provider, kind, name)
    except RidelogError as error:
        return error.one_line(), no_update, no_update
    if name == profile["name"]:
        return texts.EDIT_SAVED, None, {**profile, "seen": there}
    link = dcc.Link(texts.EDIT_OPEN, href=config.profile_path(kind, name))
    return [f"{texts.EDIT_SAVED} ", link], None, no_update


def _mark_there(provider: Provider, kind: Kind, name: str) -> str:
    """Of the text in the library, "" where it holds none."""
    try:
        return bikes.mark_of(provider.profile_text(kind, name))
    except NotInLibrary:
        return ""


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
