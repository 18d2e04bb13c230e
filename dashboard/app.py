"""The dashboard as an application: layout, callbacks, the report's download, and the guard before all of it."""

from __future__ import annotations

import logging
from typing import Any

from dash import Dash, dcc, html
from flask import Response, request

from dashboard import config, downloads, ids, originals, security, shapes, texts
from dashboard.adding import routes
from dashboard.adding.desk import Desk
from dashboard.callbacks import adding as adding_callbacks
from dashboard.callbacks import bikes, cases, importing, notes, places, routing, settings, zooming
from dashboard.components import adding
from dashboard.provider import Provider
from ridelog.errors import RidelogError

log = logging.getLogger(__name__)

_DOCUMENT = frozenset({"/", "/<path:path>"})
"""Names of the routes by which Dash hands out the document of the page."""

_PAGE = """<!DOCTYPE html>
<html lang="en">
    <head>
        {%metas%}
        <title>{%title%}</title>
        {%favicon%}
        {%css%}
    </head>
    <body>
        {%app_entry%}
        {%config%}
        {%scripts%}
        {%renderer%}
    </body>
</html>"""


def create_app(provider: Provider, *, desk: Desk | None = None, token: str | None = None) -> Dash:
    """The application over one source of rides. With `desk`, logs can be added; with `token`, every request must carry
    it."""
    app = Dash(
        "dashboard",
        title=config.NAME,
        update_title="",
        serve_locally=True,
        use_pages=False,
        suppress_callback_exceptions=True,  # the page of a ride comes and goes
        index_string=_PAGE,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "robots", "content": "noindex"},
        ],
        enable_mcp=False,
        on_error=_tell,
    )
    app.layout = _frame(adds=desk is not None)
    routing.register(app, provider)
    zooming.register(app, provider)
    notes.register(app, provider)
    places.register(app, provider)
    cases.register(app, provider)
    settings.register(app)
    bikes.register(app, provider)
    server = app.server
    if desk is not None:
        adding_callbacks.register(app, desk)
        importing.register(app, desk)
        routes.register(server, desk.inbox, desk.foreman, desk.knows_bike)
    server.config["MAX_CONTENT_LENGTH"] = config.BODY_BYTES
    server.config[config.ANSWERS_NETWORK] = token is not None
    downloads.register(server, provider)
    originals.register(server, provider)
    _tell_lost_addresses(server, provider)
    security.guard(
        server,
        content_policy=security.policy(app.csp_hashes()),
        token=token,
        is_ours=lambda body: shapes.is_ours(body, app.callback_map),
    )
    return app


def _frame(*, adds: bool) -> html.Div:
    """What stands around every page. `adds`: logs can be added."""
    add: list[Any] = []
    if adds:
        add = [
            dcc.Store(id=ids.ADD_TICK),
            dcc.Store(id=ids.ADD_SHOWN),
            dcc.Interval(id=ids.ADD_CLOCK, interval=config.LOOK_MS, disabled=True),
            adding.panel(),
            html.Div(texts.ADD_DROP, className="dropzone", **{"aria-hidden": "true"}),
        ]
    button = html.Button(
        texts.ADD, id=ids.ADD_OPEN, type="button", className="main",
        **{"aria-expanded": "false", "aria-controls": ids.ADD_PANEL},
    )  # fmt: skip
    return html.Div(
        [
            dcc.Location(id=ids.URL, refresh="callback-nav"),
            dcc.Store(id=ids.SCREEN),
            dcc.Store(id=ids.TITLE),
            dcc.Store(id=ids.PREFS, storage_type="local"),
            dcc.Store(id=ids.ADDED),
            html.A("Skip to the page", href="#content", className="skip"),
            html.Header(
                html.Nav(
                    [
                        dcc.Link(config.NAME, href="/", className="name"),
                        dcc.Link(texts.RIDES, href="/"),
                        dcc.Link(texts.COMPARE, href="/compare"),
                        dcc.Link(texts.REVIEW, href="/review"),
                        dcc.Link(texts.PLACES, href=config.PLACES),
                        dcc.Link(texts.CASES, href=config.CASES),
                        dcc.Link(texts.BIKES, href="/bikes"),
                        dcc.Link(texts.SETTINGS, href="/settings"),
                        button if adds else None,
                    ],
                    **{"aria-label": "Pages"},
                )
            ),
            html.Div(id=ids.NOTICE, role="alert", className="notice"),
            *add,
            dcc.Loading(
                html.Main(html.P("Reading …", className="small"), id=ids.CONTENT, tabIndex="-1"),
                target_components={ids.CONTENT: "children"},
                delay_show=200,
                custom_spinner=html.P("Working on it …", className="working", role="status"),
                overlay_style={"visibility": "visible", "opacity": 0.5},
            ),
        ],
        className="frame",
    )


def _tell(error: Exception) -> None:
    """A callback that failed says so on the page; the traceback goes to the log of the server only."""
    from dash import set_props

    if isinstance(error, RidelogError):
        words = error.one_line()
    else:
        log.error("a callback failed", exc_info=error)
        words = "The picture could not be drawn anew: a fault of the program. Load the page again."
    set_props(ids.NOTICE, {"children": words})


def _tell_lost_addresses(server: Any, provider: Provider) -> None:
    """Dash answers every address with the same document; one that leads nowhere gets the status that says so."""

    @server.after_request
    def mark(response: Response) -> Response:
        if (
            request.endpoint in _DOCUMENT
            and response.status_code == 200
            and not routing.leads_somewhere(provider, request.path)
        ):
            response.status_code = 404
        return response
