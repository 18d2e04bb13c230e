"""Notes: the moment picked on the picture, and what the forms write."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, no_update
from dash.exceptions import PreventUpdate

from dashboard import ids, texts
from dashboard.callbacks import focus
from dashboard.components.saying import refusal
from dashboard.look import look_of
from dashboard.pages import notes as pages
from dashboard.pages import ride
from dashboard.pages.ride_picture import view_from
from dashboard.provider import Provider
from ridelog.errors import RidelogError

# A click names the moment by its samples: bars of the strip have their lengths for x. Whole seconds do for a note.
_PICK = """
function(click, figure) {
    const lines = ((click || {}).points || []).filter((one) => (figure.data[one.curveNumber] || {}).type === "scatter");
    if (!lines.length) { return [window.dash_clientside.no_update, window.dash_clientside.no_update]; }
    const all = Math.max(0, Math.floor(Number(lines[0].x)));
    const two = (number) => String(number).padStart(2, "0");
    const told = `${Math.floor(all / 3600)}:${two(Math.floor(all / 60) % 60)}:${two(all % 60)}`;
    return [all, `Note at ${told}`];
}
"""

# The form gets the moment, and the reader is taken to it; a text that stands there stays.
_HERE = """
function(clicks, picked, view) {
    if (!clicks) { return window.dash_clientside.no_update; }
    const middle = Math.floor((view.start_s + view.end_s) / 2);
    const all = picked === null || picked === undefined ? middle : picked;
    const two = (number) => String(number).padStart(2, "0");
    const words = document.getElementById('{"number":0,"type":"note-text"}');
    const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
    words.scrollIntoView({behavior: calm ? "auto" : "smooth", block: "center"});
    words.focus({preventScroll: true});
    return `+${Math.floor(all / 3600)}:${two(Math.floor(all / 60) % 60)}:${two(all % 60)}`;
}
"""


def register(app: Dash, provider: Provider) -> None:
    """Tie picture, list and forms together."""
    app.clientside_callback(
        _PICK,
        Output(ids.NOTE_PICK, "data"),
        Output(ids.NOTE_HERE, "children"),
        Input(ids.STACK, "clickData"),
        State(ids.STACK, "figure"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        _HERE,
        Output(ids.note(ids.NOTE_AT), "value"),
        Input(ids.NOTE_HERE, "n_clicks"),
        State(ids.NOTE_PICK, "data"),
        State(ids.VIEW, "data"),
        prevent_initial_call=True,
    )
    focus.taken_to(app, ids.NOTES_SAID)

    @app.callback(
        Output({"type": ids.NOTE_FORM, "number": MATCH}, "children"),
        Input({"type": ids.NOTE_CHANGE, "number": MATCH}, "n_clicks"),
        State({"type": ids.NOTE_FORM, "number": MATCH}, "children"),
        State(ids.RIDE, "data"),
        prevent_initial_call=True,
    )
    def change(clicks: int | None, there: Any, ride_id: str) -> Any:
        # once: what was typed into it stays where the box is closed and opened again
        if not clicks or there or not isinstance(ctx.triggered_id, Mapping):
            raise PreventUpdate
        number = ctx.triggered_id["number"]
        found = [note for note in provider.notes(ride_id) if note.number == number]
        return pages.form(found[0]) if found else texts.NOTE_GONE

    @app.callback(
        Output(ids.RIDE_PAGE, "children"),
        Output({"type": ids.NOTE_SAID, "number": ALL}, "children"),
        Input({"type": ids.NOTE_SAVE, "number": ALL}, "n_clicks"),
        Input({"type": ids.NOTE_REMOVE, "number": ALL}, "n_clicks"),
        State({"type": ids.NOTE_AT, "number": ALL}, "value"),
        State({"type": ids.NOTE_ABOUT, "number": ALL}, "value"),
        State({"type": ids.NOTE_TEXT, "number": ALL}, "value"),
        State(ids.RIDE, "data"),
        State(ids.VIEW, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def write(*asked: Any) -> tuple[Any, list[Any]]:
        ride_id, seen, screen = asked[-3:]
        pressed = ctx.triggered_id
        if not isinstance(pressed, Mapping) or not any(one["value"] for one in ctx.triggered):
            raise PreventUpdate
        numbers = [one["id"]["number"] for one in ctx.outputs_list[1]]
        typed = {
            part: {one["id"]["number"]: one.get("value") or "" for one in group}
            for part, group in zip(("at", "about", "text"), ctx.states_list, strict=False)
        }
        number = pressed["number"]
        try:
            said = written(
                provider, ride_id, pressed["type"], number, {part: values[number] for part, values in typed.items()}
            )
        except RidelogError as error:
            return no_update, [refusal(error) if one == number else "" for one in numbers]
        draft = {part: values.get(0, "") for part, values in typed.items()} if number else None
        return anew(provider, ride_id, seen, screen, said=said, draft=draft), [no_update] * len(numbers)


def written(provider: Provider, ride_id: str, what: str, number: int, typed: Mapping[str, str]) -> list[str]:
    """Write, correct or remove a note; what is said of it. Raises UsageError, NotInLibrary."""
    if what == ids.NOTE_REMOVE:
        return provider.remove_note(ride_id, number)
    if number:
        return provider.correct_note(ride_id, number, **typed)
    return provider.write_note(ride_id, **typed)


def anew(
    provider: Provider,
    ride_id: str,
    seen: Mapping[str, Any],
    screen: Any,
    *,
    said: list[str],
    draft: Mapping[str, str] | None = None,
) -> Any:
    """The ride's page after a note: notes are evidence, so that all of it may have changed. The view stays, and so does
    a new note that was begun while another was corrected."""
    look = look_of(screen)
    shown = view_from(seen, look)
    view = provider.view_of(ride_id)
    return ride.content(view, look, provider.notes(ride_id), shown=shown, said=said, draft=draft)
