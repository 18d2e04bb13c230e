"""The panel of imports kept up to date, and its buttons."""

from __future__ import annotations

import hashlib
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update

from dashboard import ids, texts
from dashboard.adding.desk import Desk
from dashboard.adding.jobs import OPEN
from dashboard.components import adding
from ridelog.errors import RidelogError


def register(app: Dash, desk: Desk) -> None:
    """Tie the panel to the desk behind it."""

    @app.callback(
        Output(ids.ADD_JOBS, "children"),
        Output(ids.ADD_SHOWN, "data"),
        Output(ids.ADD_CLOCK, "disabled"),
        Output(ids.ADD_OPEN, "children"),
        Output(ids.ADDED, "data"),
        Input(ids.ADD_TICK, "data"),
        Input(ids.ADD_CLOCK, "n_intervals"),
        State(ids.ADD_SHOWN, "data"),
        State(ids.ADDED, "data"),
    )
    def look(_tick: Any, _clock: Any, shown: str | None, added: int | None) -> tuple[Any, ...]:
        found, doing, counts = desk.listed()
        going = sum(number for state, number in counts.items() if state in OPEN)
        mark = hashlib.sha256(repr((found, doing, counts)).encode()).hexdigest()
        rides = sum(len(job.added) for job in found)
        button = texts.ADD if not going else f"{texts.ADD} ({going})"
        return (
            no_update if mark == shown else adding.job_list(found, doing, counts),
            no_update if mark == shown else mark,
            not going,
            no_update if mark == shown else button,
            no_update if rides == added else rides,
        )

    @app.callback(
        Output(ids.ADD_TICK, "data", allow_duplicate=True),
        Output(ids.ADD_SAID, "children"),
        Input({"type": ids.ADD_ACT, "job": ALL, "act": ALL}, "n_clicks"),
        Input({"type": ids.ADD_ANSWER, "job": ALL, "option": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def press(_acts: Any, _answers: Any) -> tuple[Any, Any]:
        pressed = ctx.triggered_id
        # A button that has just been drawn also counts as a change.
        if not isinstance(pressed, dict) or not any(one["value"] for one in ctx.triggered):
            return no_update, no_update
        try:
            if pressed["type"] == ids.ADD_ANSWER:
                desk.answer(str(pressed["job"]), int(pressed["option"]))
            else:
                desk.act(str(pressed["job"]), str(pressed["act"]))
        except RidelogError as error:
            return desk.tick(), error.one_line()
        return desk.tick(), ""

    @app.callback(Output(ids.ADD_BIKE, "children"), Input(ids.ADD_TICK, "data"))
    def bikes(_tick: Any) -> Any:
        return adding.bikes(desk.bikes())
