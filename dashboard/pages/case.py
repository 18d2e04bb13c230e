"""One case: what was said, what was found of its rides then, how it compares with today, what the workshop found.

Printed by the browser, this page is the case on paper: forms and links away are left out, evidence is open.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import causes, parts
from dashboard.pages.cases import choices, freezing
from ridelog import __version__
from ridelog.cases import NONE_OF_THESE, answer_of, frozen_of, outcome
from ridelog.report.sentences import moment, sentence, shown
from ridelog.words import cases as words
from ridelog.words.causes import CAUSE_WORDS, CAUTIONS, FAMILY_WORDS
from ridelog.words.display import duration

if TYPE_CHECKING:
    from dashboard.casebook import ComplaintRow, RideChoice
    from dashboard.look import Look
    from ridelog.case_findings import Frozen, Today


def layout(case: ComplaintRow, rides: Sequence[RideChoice], look: Look) -> html.Div:
    """The page in a box that is filled anew when the case changes. `rides`: of its bike, to attach."""
    return html.Div(html.Div(content(case, rides, look), id=ids.CASE_PAGE, className="cases"))


def content(
    case: ComplaintRow,
    rides: Sequence[RideChoice],
    look: Look,
    *,
    draft: Mapping[str, Any] | None = None,
    said: str = "",
) -> list[Any]:
    """What stands on it. `draft`: what was typed of the workshop's finding while rides were attached or taken out;
    `said` of what was just done."""
    there = {one.ride for one in case.rides}
    free = [one for one in rides if one.id not in there]
    return [
        dcc.Store(id=ids.CASE, data=case.id),
        html.Div(
            [
                dcc.Link(f"← {texts.CASES_ALL}", href=config.CASES),
                html.Button(texts.CASE_PRINT, id=ids.CASE_PRINT, n_clicks=0, type="button"),
            ],
            className="above",
        ),
        html.H1(texts.case_title(case.id), className="page"),
        html.P(said, id=ids.CASE_TOLD, role="status", className="said", tabIndex="-1"),
        _head(case),
        *(_ride(number, one, is_open=not case.is_closed) for number, one in enumerate(frozen_of(case))),
        *(
            []
            if case.is_closed
            else [html.Div([_attach(case, free, look), _close(draft)], className="pair doing-pair")]
        ),
        _reopen() if case.is_closed else None,
        _remove(),
        parts.card(
            texts.TAKE_CARE, *(html.P(shown(text)) for text in CAUTIONS), name="cautions", class_name="cautions"
        ),
        freezing(ids.CASE_DONE),
    ]


def _head(case: ComplaintRow) -> html.Section:
    """The complaint, the answer over all rides, and what the workshop found."""
    values = (
        case.bike or "–",
        f"{case.day:%-d %B %Y}",
        words.state(case.closed_utc),
        f"{case.opened_utc:%-d %B %Y, %H:%M} UTC",
    )
    facts = html.Dl(
        [html.Div([html.Dt(name), html.Dd(value)]) for name, value in zip(texts.CASE_FACTS, values, strict=True)],
        className="facts",
    )
    found = answer_of(case)
    answer = texts.CASE_NO_RIDE_YET
    if found.conclusion is not None:
        # how likely stands with each ride, as it was told then; a mean of several would be a figure without a band
        answer = words.answer(found.conclusion, None, found.rides)
    inside: list[Any] = [
        html.Figure([html.Figcaption(texts.CASE_RIDER_SAID, className="small"), html.Blockquote(html.P(case.said))]),
        html.P(answer, className="headline"),
        facts,
    ]
    if case.workshop is not None:
        inside += [
            html.H3(texts.CASE_FOUND),
            html.Blockquote(html.P(case.workshop)),
            html.P([html.B(f"{texts.CASE_NAMED} "), _cause(case.cause)]),
            html.P(words.OUTCOME_WORDS[outcome(case)], className="small"),
        ]
    if case.found_before:
        inside.append(html.H3(texts.CASE_BEFORE))
        for one in case.found_before:
            inside += [
                html.Blockquote(html.P(one.workshop)),
                html.P(texts.found_before(_cause(one.cause), one.closed_utc, one.reopened_utc), className="small"),
            ]
    return parts.card(texts.CASE_COMPLAINT, *inside, name="complaint")


def _cause(cause: str | None) -> str:
    return words.cause_words(cause) if cause is not None else texts.CASE_NO_CAUSE


def _ride(number: int, one: Frozen, *, is_open: bool) -> html.Section:
    """What was found of a ride then, with all it rests on, and a place for how it compares with today; of an open case,
    also the way to take it out."""
    document = one.document
    diagnosis, key = document["diagnosis"], document["key"]
    settled = one.conclusion != "not_enough_evidence" or key.get("heat_fitted", False)
    return parts.card(
        texts.case_ride(number + 1, one.frozen_utc),
        dcc.Store(id=ids.case_part(ids.CASE_RIDE, number), data=one.ride),
        html.P([*_when(key), dcc.Link(one.ride, href=config.ride_path(one.ride))], className="small"),
        *causes.summary(diagnosis["summary"]),
        html.P(shown(words.figures(key))),
        *(html.P(shown(text)) for text in words.noted(key)),
        html.H3(texts.CASE_EVIDENCE),
        causes.ranked(diagnosis["ranked"], open_first=False)
        if settled
        else html.P(texts.BEHIND_NOTHING_SETTLED, className="small"),
        html.H3(texts.CASE_TODAY),
        html.Div(
            html.P(texts.CASE_COMPARING, className="small"),
            id=ids.case_part(ids.CASE_TODAY, number),
            **{"aria-live": "polite"},
        ),
        html.Details(
            [
                html.Summary(texts.CASE_BASIS),
                html.P(shown(words.rested_on(document["version"], document["basis"]))),
                parts.plain_table(("", ""), _basis_rows(one), texts.CASE_BASIS, class_name="basis"),
            ]
        ),
        _asked_first(
            texts.CASE_OUT,
            texts.CASE_OUT_WHAT,
            texts.CASE_OUT_NOW,
            ids.case_part(ids.CASE_OUT, number),
            str(number + 1),
        )
        if is_open
        else None,
        name=f"ride-{number + 1}",
    )


def _asked_first(what: str, told: str, now: str, button: Any, hidden: str = "") -> html.Details:
    """Something that loses what is kept: a first press tells what that is, a second one does it. `hidden` tells who
    hears the page which of several it is."""
    return html.Details(
        [
            html.Summary([what, html.Span(f" {hidden}", className="hidden")] if hidden else what),
            html.P(told),
            html.Div(html.Button(now, id=button, n_clicks=0, type="button"), className="tools"),
        ],
        className="losing no-print",
    )


def _remove() -> html.Section:
    inside = _asked_first(texts.CASE_REMOVE, texts.CASE_REMOVE_WHAT, texts.CASE_REMOVE_NOW, ids.CASE_REMOVE)
    said = html.P(id=ids.CASE_REMOVE_SAID, role="alert", className="said")
    return html.Section([inside, said], className="card no-print", **{"aria-label": texts.CASE_REMOVE})


def _when(key: Mapping[str, Any]) -> list[str]:
    """When the ride was, and how long: a case is read long after."""
    start = datetime.fromisoformat(key["start_utc"]) if key.get("start_utc") else None
    return [f"{moment(start, None) or texts.NO_DAY}, {duration(key.get('duration_s'))}, "]


def _basis_rows(one: Frozen) -> list[tuple[str, str]]:
    values = {"version": one.document["version"], **one.document["basis"]}
    return [(told, _value(values[name])) for name, told in texts.BASIS_WORDS.items() if name in values]


def _value(value: Any) -> str:
    if value is None:
        return texts.NONE_GIVEN
    if isinstance(value, list):
        told = [f"{one['name']}: {one['sha256']}" if isinstance(one, dict) else str(one) for one in value]
        return ", ".join(told) or texts.NONE_GIVEN
    return f"{value:g} °C" if isinstance(value, float) else str(value)


def compared(one: Frozen, now: Today) -> list[html.P]:
    """How a ride of a case compares with today."""
    if now.state == "gone":
        return [html.P(words.GONE)]
    if now.state == "same":
        return [html.P(words.SAME)]
    if now.state == "unknown":
        return [html.P(sentence(words.unknown(now.reason or "")))]
    changed = []
    for part in now.changed:
        if part == "version":
            changed.append(words.versions(one.document["version"], __version__))
        elif part == "baseline" and now.now is not None:
            changed.append(words.rides_beside(one.document["basis"]["prior_rides"], now.now["prior_rides"]))
        else:
            changed.append(words.CHANGED_WORDS[part])
    then = words.named(one.conclusion, next(iter(one.holds.values()), None))
    later = words.named(now.conclusion or "", now.holds)
    return [html.P(shown(words.changed(changed, then, later, same_answer=now.conclusion == one.conclusion)))]


def _attach(case: ComplaintRow, free: Sequence[RideChoice], look: Look) -> html.Section:
    inside: list[Any] = [html.P(texts.CASE_ALL_ATTACHED if case.rides else texts.CASE_NO_RIDES)]
    if free:
        inside = [
            choices(free, look),
            html.P(id=ids.CASE_ATTACH_SAID, role="alert", className="said"),
            html.Div(html.Button(texts.CASE_ATTACH_NOW, id=ids.CASE_ATTACH, n_clicks=0, type="button"),
                     className="tools"),
        ]  # fmt: skip
    return parts.card(texts.CASE_ATTACH, html.Div(inside, className="fields"), name="attach", class_name="no-print")


def _close(draft: Mapping[str, Any] | None) -> html.Section:
    typed = draft or {}
    named = [{"label": texts.CASE_NO_CAUSE, "value": ""}]
    named += [{"label": told, "value": name} for name, told in CAUSE_WORDS.items()]
    named += [{"label": texts.some_of_kind(told), "value": name} for name, told in FAMILY_WORDS.items()]
    named.append({"label": words.cause_words(NONE_OF_THESE), "value": NONE_OF_THESE})
    fields = [
        html.Label([html.Span(texts.CASE_FOUND),
                    dcc.Textarea(id=ids.CASE_FOUND, value=typed.get("found") or "", rows=4)]),
        html.Fieldset(
            [
                html.Legend(texts.CASE_CAUSE),
                dcc.RadioItems(
                    id=ids.CASE_CAUSE, options=named, value=typed.get("cause") or "", className="choice listed"
                ),
            ]
        ),
        html.P(id=ids.CASE_CLOSE_SAID, role="alert", className="said"),
        html.Div(html.Button(texts.CASE_CLOSE_NOW, id=ids.CASE_CLOSE, n_clicks=0, type="button", className="main"),
                 className="tools"),
    ]  # fmt: skip
    return parts.card(texts.CASE_CLOSE, html.Div(fields, className="fields"), name="close", class_name="no-print")


def _reopen() -> html.Section:
    return parts.card(
        texts.CASE_REOPEN,
        html.P(texts.CASE_REOPEN_WHAT),
        html.Div(html.Button(texts.CASE_REOPEN, id=ids.CASE_REOPEN, n_clicks=0, type="button"), className="tools"),
        name="reopen",
        class_name="no-print",
    )
