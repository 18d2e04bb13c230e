"""What the settings' form does: the browser keeps what was chosen."""

from __future__ import annotations

from dash import Dash, Input, Output, State

from dashboard import ids

_KEEP = """
function(units, theme, hide, trim, before) {
    const told = {units: units, theme: theme, hide_course: (hide || []).includes("course"), trim_m: trim || 0};
    return JSON.stringify(told) === JSON.stringify(before) ? window.dash_clientside.no_update : told;
}
"""


def register(app: Dash) -> None:
    """Tie the form to the browser's store."""
    app.clientside_callback(
        _KEEP,
        Output(ids.PREFS, "data"),
        Input(ids.PREF_UNITS, "value"),
        Input(ids.PREF_THEME, "value"),
        Input(ids.PREF_HIDE, "value"),
        Input(ids.PREF_TRIM, "value"),
        State(ids.PREFS, "data"),
        prevent_initial_call=True,
    )
