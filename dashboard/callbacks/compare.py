"""The picker of the comparison: what is chosen stands in the address."""

from __future__ import annotations

from dash import Dash, Input, Output, State

from dashboard import ids

_ASK = """
function(rides, search) {
    const asked = new URLSearchParams(search || "");
    const before = asked.get("rides") || "";
    const now = (rides || []).join(",");
    if (now === before || (now === "" && asked.has("service"))) return window.dash_clientside.no_update;
    return now === "" ? "" : "?" + new URLSearchParams({rides: now}).toString();
}
"""


def register(app: Dash) -> None:
    """Tie the picker to the address."""
    app.clientside_callback(
        _ASK,
        Output(ids.URL, "search"),
        Input(ids.COMPARE_RIDES, "value"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
