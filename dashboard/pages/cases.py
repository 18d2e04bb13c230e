"""Cases: the list, and the form that opens one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.pages import outcomes
from ridelog.report.sentences import moment
from ridelog.told import quoted, shortened
from ridelog.words import cases as words
from ridelog.words.display import duration
from ridelog.words.terms import CONDITION_WORDS

if TYPE_CHECKING:
    from dashboard.casebook import ComplaintRow, RideChoice
    from dashboard.look import Look

SAID_SHOWN = 120
"""Characters of the rider's words in the list."""


def layout(found: Sequence[ComplaintRow], record: Mapping[str, int]) -> html.Div:
    """The list, or what a case is for where there is none."""
    new = html.P(dcc.Link(texts.CASES_NEW, href=config.new_case_path()), className="doing")
    head = [html.H1(texts.CASES, className="page"), html.P(texts.CASES_WHAT, className="small")]
    if not found:
        return html.Div([*head, parts.card(texts.CASES_ALL, html.P(texts.CASES_NONE), new, name="all-cases")])
    table = html.Table(
        [
            html.Caption(texts.CASES_ALL, className="hidden"),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in texts.CASES_COLUMNS])),
            html.Tbody([_row(one) for one in found]),
        ]
    )
    box = html.Div(
        table, className="scroll rides cards card", role="region", tabIndex="0", **{"aria-label": texts.CASES_ALL}
    )
    below = [html.P(words.record(record), className="small"), outcomes.card(found)]
    return html.Div([*head, new, box, *below], className="cases")


def _row(one: ComplaintRow) -> html.Tr:
    cells = (
        one.bike or "–",
        quoted(shortened(one.said, SAID_SHOWN)),
        words.state(one.closed_utc),
        str(len(one.rides)),
        words.cause_words(one.cause) if one.cause is not None else "–",
    )
    named = zip(texts.CASES_COLUMNS[1:], cells, strict=True)
    return html.Tr(
        [
            html.Th(dcc.Link(one.id, href=config.case_path(one.id)), scope="row"),
            # on a phone the table is drawn as cards, and the column's name stands beside its text
            *(html.Td(html.Span(cell), **{"data-name": name}) for name, cell in named),
        ]
    )


def opening(
    bikes: Sequence[str], look: Look, *, bike: str | None, ride: str | None, rides: Sequence[RideChoice], today: date
) -> html.Div:
    """The form. `ride` is the one it was opened from, `bike` its bike (or the only one there is), `rides` those of that
    bike."""
    head = [
        html.Div(dcc.Link(f"← {texts.CASES_ALL}", href=config.CASES), className="above"),
        html.H1(texts.CASES_NEW, className="page"),
        html.P(texts.CASES_WHAT, className="small"),
    ]
    if not bikes:
        to = dcc.Link(texts.BIKES_NEW["bike"], href=config.new_profile_path("bike"))
        return html.Div([*head, html.P(texts.CASES_NO_BIKE), html.P(to)], className="message")
    lost = None
    if ride is not None and bike is None:
        lost = html.P([texts.CASE_BIKE_OF, html.Code(f"ridelog edit {ride} --bike BIKE")])
    ticked = [ride] if ride is not None and ride in {one.id for one in rides} else []
    return html.Div(
        [
            *head,
            html.Div(
                [
                    lost,
                    html.Fieldset(
                        [
                            html.Legend(texts.CASE_BIKE),
                            dcc.RadioItems(id=ids.CASE_BIKE, options=list(bikes), value=bike, className="choice many"),
                        ]
                    ),
                    html.Label([html.Span(texts.CASE_DAY),
                                dcc.Input(id=ids.CASE_DAY, type="text", value=today.isoformat(), autoComplete="off")]),
                    html.Label([html.Span(texts.CASE_SAID), dcc.Textarea(id=ids.CASE_WORDS, value="", rows=4)]),
                    choices(rides, look, ticked, none=texts.CASE_NO_RIDES if bike else texts.CASE_CHOOSE_BIKE),
                    html.P(id=ids.CASE_SAID, role="alert", className="said"),
                    html.Div(
                        html.Button(texts.CASE_OPEN, id=ids.CASE_OPEN, n_clicks=0, type="button", className="main"),
                        className="tools",
                    ),
                    freezing(ids.CASE_DONE),
                ],
                className="card fields",
            ),
        ],
        className="cases",
    )  # fmt: skip


def choices(rides: Sequence[RideChoice], look: Look, ticked: Sequence[str] = (), none: str = "") -> html.Fieldset:
    """Rides to attach; `none` is said where there are none to choose from."""
    return html.Fieldset(
        [
            html.Legend(texts.CASE_RIDES),
            dcc.Checklist(
                id=ids.CASE_RIDES, options=options(rides, look), value=list(ticked), className="choice listed"
            ),
            html.P(none if not rides else "", id=ids.CASE_CHOICE, className="small"),
        ]
    )


def options(rides: Sequence[RideChoice], look: Look) -> list[dict[str, str]]:
    """Rides as they are offered: day, duration, peak, condition."""
    return [{"label": _told(one, look), "value": one.id} for one in rides]


def _told(one: RideChoice, look: Look) -> str:
    when = moment(one.start_utc, one.timezone, one.start_local) or texts.NO_DAY
    peak = look.units.peak_text(one.peak_c) if one.peak_c is not None else texts.NO_PEAK
    condition = [CONDITION_WORDS[one.condition]] if one.condition in ("healthy", "faulty") else []
    return ", ".join((when, duration(one.duration_s), peak, *condition))


def freezing(name: str) -> dcc.Loading:
    """A sign that rides are being analyzed; `name` is the store whose change ends it."""
    return dcc.Loading(
        dcc.Store(id=name),
        target_components={name: "data"},
        delay_show=200,
        custom_spinner=html.P(texts.CASE_FREEZING, className="working", role="status"),
    )
