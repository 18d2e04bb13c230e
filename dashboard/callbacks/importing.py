"""The page of one import: kept up to date, recordings moved and accepted, a refused log told more of."""

from __future__ import annotations

import math
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, no_update

from dashboard import ids
from dashboard.adding.desk import Desk
from dashboard.adding.joining import Said
from dashboard.look import look_of
from dashboard.pages import importing as page
from dashboard.texts import imports as said
from ridelog.errors import RidelogError

# The field is the one place that holds the number: buttons write into it, the picture follows it.
_MOVE = """
function(clicks, value, was) {
    const none = window.dash_clientside.no_update;
    const asked = window.dash_clientside.callback_context.triggered;
    if (!asked.length || !asked[0].value) { return none; }
    const by = JSON.parse(asked[0].prop_id.split(".n_clicks")[0]).by;
    if (by === "found") { return was; }
    if (by.startsWith("to ")) { return by.slice(3); }
    const now = Number(String(value).trim().replace(",", ".").replace("\\u2212", "-"));
    const from = Number.isFinite(now) && String(value).trim() !== "" ? now : Number(was);
    return (from + Number(by)).toFixed(3);
}
"""


def register(app: Dash, desk: Desk) -> None:
    """Tie the page to the desk."""

    @app.callback(
        Output(ids.IMPORT_BODY, "children"),
        Output(ids.IMPORT_SEEN, "data"),
        Input(ids.IMPORT_JOB, "data"),
        Input(ids.ADD_SHOWN, "data"),
        State(ids.IMPORT_SEEN, "data"),
        State(ids.SCREEN, "data"),
    )
    def look(job_id: str | None, _shown: Any, seen: Any, screen: Any) -> tuple[Any, Any]:
        # What is being filled in stays as it is while the import does.
        try:
            job = desk.job(str(job_id))
            now = [job.state, desk.mark(job.id) if job.state == "joining" else "", job.tries, len(job.added)]
            if now == seen and ctx.triggered_id != ids.IMPORT_JOB:
                return no_update, no_update
            found = desk.alignment(job.id) if job.state == "joining" else None
        except RidelogError:
            return (no_update, no_update) if seen == ["gone"] else (page.gone(), ["gone"])
        return page.body(job, found, desk.formats(), look_of(screen)), now

    app.clientside_callback(
        _MOVE,
        Output({"type": ids.JOIN_AT, "file": MATCH}, "value"),
        Input({"type": ids.JOIN_STEP, "file": MATCH, "by": ALL}, "n_clicks"),
        State({"type": ids.JOIN_AT, "file": MATCH}, "value"),
        State({"type": ids.JOIN_WAS, "file": MATCH}, "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output({"type": ids.JOIN_PLOT, "file": MATCH}, "figure"),
        Output({"type": ids.JOIN_TOLD, "file": MATCH}, "children"),
        Input({"type": ids.JOIN_AT, "file": MATCH}, "value"),
        State({"type": ids.JOIN_AT, "file": MATCH}, "id"),
        State(ids.IMPORT_JOB, "data"),
        State(ids.SCREEN, "data"),
        prevent_initial_call=True,
    )
    def move(value: Any, which: dict[str, Any], job_id: str, screen: Any) -> tuple[Any, Any]:
        start_s = seconds_of(value)
        if start_s is None:
            return no_update, said.NO_NUMBER
        one = desk.alignment(job_id).recordings[int(which["file"])]
        shift_s = start_s - round(one.start_s, 3)
        told = said.AS_FOUND if abs(shift_s) < 5e-4 else said.OWN_NUMBER
        if one.own is None or one.beside is None:
            return no_update, told
        return page.picture(one, shift_s, look_of(screen)), told

    @app.callback(
        Output(ids.IMPORT_SAID, "children"),
        Output(ids.ADD_TICK, "data", allow_duplicate=True),
        Input(ids.JOIN_ACCEPT, "n_clicks"),
        State({"type": ids.JOIN_AT, "file": ALL}, "value"),
        State({"type": ids.JOIN_AT, "file": ALL}, "id"),
        State(ids.IMPORT_JOB, "data"),
        State(ids.IMPORT_SEEN, "data"),
        prevent_initial_call=True,
    )
    def accept(clicks: int, values: list[Any], which: list[dict[str, Any]], job_id: str, seen: Any) -> tuple[Any, Any]:
        if not clicks:
            return no_update, no_update
        try:
            found = desk.alignment(job_id)
            starts: list[float | None] = [None] * len(found.recordings)
            for value, one in zip(values, which, strict=True):
                number = seconds_of(value)
                starts[int(one["file"])] = math.nan if number is None else number
            desk.join(job_id, str((seen or [])[1:2] and seen[1]), starts)
        except RidelogError as error:
            return error.one_line(), no_update
        return "", desk.tick()

    @app.callback(
        Output(ids.IMPORT_SAID, "children", allow_duplicate=True),
        Output(ids.ADD_TICK, "data", allow_duplicate=True),
        Input({"type": ids.JOIN_ELSE, "act": ALL}, "n_clicks"),
        State(ids.IMPORT_JOB, "data"),
        prevent_initial_call=True,
    )
    def otherwise(_clicks: Any, job_id: str) -> tuple[Any, Any]:
        pressed = ctx.triggered_id
        # A button that has just been drawn also counts as a change.
        if not isinstance(pressed, dict) or not any(one["value"] for one in ctx.triggered):
            return no_update, no_update
        try:
            desk.act(job_id, str(pressed["act"]))
        except RidelogError as error:
            return error.one_line(), no_update
        return "", desk.tick()

    @app.callback(
        Output(ids.IMPORT_SAID, "children", allow_duplicate=True),
        Output(ids.ADD_TICK, "data", allow_duplicate=True),
        Input(ids.MORE_SEND, "n_clicks"),
        State(ids.MORE_ZONE, "value"),
        State(ids.MORE_START, "value"),
        State(ids.MORE_FORMAT, "value"),
        State(ids.MORE_COLUMN, "value"),
        State(ids.MORE_HOLDS, "value"),
        State(ids.IMPORT_JOB, "data"),
        prevent_initial_call=True,
    )
    def more(clicks: int, *said_of: Any) -> tuple[Any, Any]:
        if not clicks:
            return no_update, no_update
        *typed, job_id = (one if isinstance(one, str) else None for one in said_of)
        try:
            desk.more(str(job_id), Said(*typed))
        except RidelogError as error:
            return desk.page_words(error), no_update
        return "", desk.tick()


def seconds_of(value: Any) -> float | None:
    """A typed number of seconds, with a comma or a point; None where it is none."""
    try:
        number = float(str(value).strip().replace(",", ".").replace("\u2212", "-"))
    except ValueError:
        return None
    return number if math.isfinite(number) else None
