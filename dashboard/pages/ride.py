"""The page of one ride: the answer, the numbers behind it, the samples behind those. Its parts stand in the files named
ride_*.py."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.look import Look
from dashboard.pages import asked, behind, ride_basis, ride_heat, ride_picture, ride_tables
from dashboard.pages import notes as note_pages
from dashboard.views import RideView
from ridelog.figures.ride_stack import View, whole
from ridelog.report import tables
from ridelog.words import key_figures

if TYPE_CHECKING:
    from dashboard.casebook import NoteItem


def layout(
    view: RideView, look: Look, notes: Sequence[NoteItem] = (), *, shown: View | None = None, said: str = ""
) -> html.Div:
    """The whole page, in a box that is filled anew when a note changes what is told. `shown`: the part of the ride the
    address asks for; `said` of what it asks for and can't have."""
    inside = html.Div(
        content(view, look, notes, shown=shown, of_address=said),
        id=ids.RIDE_PAGE,
        className="ride",
        **{"data-path": config.ride_path(view.ride.id)},
    )
    return html.Div(
        dcc.Loading(
            inside,
            target_components={ids.RIDE_PAGE: "children"},
            delay_show=200,
            custom_spinner=html.P(texts.NOTES_ANEW, className="working", role="status"),
            overlay_style={"visibility": "visible", "opacity": 0.5},
        )
    )


def content(
    view: RideView,
    look: Look,
    notes: Sequence[NoteItem] = (),
    *,
    shown: View | None = None,
    said: Sequence[str] = (),
    draft: Mapping[str, str] | None = None,
    of_address: str = "",
) -> list[object]:
    """What stands on it. `shown`: the part of the ride in view; `said` of a note that was just written; `draft`: a new
    note as far as it was typed; `of_address`: what is said of the address."""
    ride, analysis = view.ride, view.analysis
    seen = shown or whole(analysis, touch=look.touch)
    return [
        dcc.Store(id=ids.RIDE, data=ride.id),
        dcc.Store(id=ids.VIEW, data=ride_picture.view_data(view, seen)),
        dcc.Store(id=ids.VIEW_ASKED),
        dcc.Store(id=ids.NOTE_PICK),
        _links(ride.id, look),
        html.H1(tables.title(ride)),
        html.P(tables.answer(analysis), className="answer", id="answer"),
        parts.bullets(tables.rest(analysis)) if len(analysis.summary) > 1 else None,
        _not_logged(tables.missing_text(set(ride.channels))),
        html.P(texts.UNITS_NOTE, className="small") if look.units.name == "imperial" else None,
        parts.key_figures(key_figures.key_figures(analysis, look.units)),
        html.Div([ride_picture.picture_card(view, seen, look, of_address), _side(view, seen, look)], className="work"),
        html.Div([behind.card(view), note_pages.card(notes, said, draft, ride=ride.id)], className="pair behind-pair"),
        ride_tables.stretches(view, look, seen.selected),
        html.Div([ride_heat.heat(view), ride_heat.what_if(view)], className="pair heat-pair"),
        ride_heat.explained(view),
        *ride_tables.riding(view),
        asked.card(view, look),
        ride_basis.doubtful(view),
        html.Div([ride_basis.cannot_tell(view), ride_basis.import_report(view)], className="pair"),
        ride_basis.rests_on(view),
        parts.cautions(),
    ]


def _side(view: RideView, seen: View, look: Look) -> html.Div:
    course = ride_picture.course_card(view, seen, look)
    exposed = html.Div(ride_tables.exposure(view, look, what_if=seen.what_if), id=ids.EXPOSURE)
    return html.Div([course, exposed], className="side")


def _links(ride_id: str, look: Look) -> html.Div:
    """The way back, what else there is of this ride, and what can be taken away."""
    units = look.units.name
    # a course that is not to be shown, or whose ends are left out, is in no file that is taken away
    course = not look.hide_course and not look.trim_m
    files = [
        html.A(texts.FILE_WORDS[ending], href=config.file_path(ride_id, ending, look.trim_m), download="")
        for ending in texts.FILE_WORDS
    ]
    more = html.Details([html.Summary(texts.DOWNLOADS), html.Div([*files, _trimmed(look)])], className="files")
    return html.Div(
        [
            html.Div(
                [
                    parts.back_link(),
                    dcc.Link(texts.COMPARE_WITH, href=config.compare_path(ride_id)),
                    dcc.Link(texts.RIDE_PASSES, href=f"{config.compare_path(ride_id)}#h-places"),
                ],
                className="take",
            ),
            html.Div(
                [
                    html.A(texts.CUSTOMER_PAGE, href=config.report_path(ride_id, units, annex=False), download=""),
                    html.A(texts.REPORT, href=config.report_path(ride_id, units, course=course), download=""),
                    more,
                ],
                className="take",
            ),
        ],
        className="above",
    )


def _trimmed(look: Look) -> html.P:
    said = texts.trimmed(look.trim_m) if look.trim_m else texts.NOT_TRIMMED
    return html.P([said, " ", dcc.Link(texts.SETTINGS, href="/settings")], className="small")


def _not_logged(missing: str) -> html.P | None:
    words = f"Not logged: {missing}. What rests on it is not told below."
    return html.P(words, className="small") if missing else None
