"""Taking the reader to what was just said."""

from __future__ import annotations

from dash import Dash, Input, Output

# Once the page stands: what has the focus now may be about to go. A page that has nothing to say keeps the focus.
_THERE = """
function(said) {
    if (said) { window.setTimeout(() => {
        const box = document.getElementById("%s");
        if (box) { box.focus(); }
    }, 0); }
    return window.dash_clientside.no_update;
}
"""


def taken_to(app: Dash, name: str) -> None:
    """Whenever something is said in the place of that id, the focus goes there. It needs a tab index."""
    # a callback without an output is not run for what comes with a new page
    app.clientside_callback(_THERE % name, Output(name, "data-said"), Input(name, "children"))
