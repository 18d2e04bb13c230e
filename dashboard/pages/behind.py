"""What may be behind a hot ride: the diagnosis on the ride's page."""

from __future__ import annotations

from dash import dcc, html

from dashboard import config, texts
from dashboard.components import causes, parts
from dashboard.provider import RideView
from ridelog.report.sentences import sentence, shown
from ridelog.words.causes import against_what


def card(view: RideView) -> html.Section:
    """The answer, the causes with their evidence, what to look at, and whether the advice was followed."""
    found = view.diagnosis
    document = found.to_json()
    inside: list[object] = list(causes.summary([text for text in found.summary if text != found.advice_reason]))
    if found.fitted or found.conclusion != "not_enough_evidence":
        told = document["ranked"]
        inside.append(
            causes.ranked(told if isinstance(told, list) else [], open_first=True, told_apart=found.check_next)
        )
    else:
        inside.append(html.P(texts.BEHIND_NOTHING_SETTLED, className="small"))
    if found.check_next:
        inside += [html.H3(texts.CHECK_FIRST), html.Ol([html.Li(sentence(text)) for text in found.check_next])]
    inside += [
        html.H3(texts.FOLLOWED),
        html.P([html.B(texts.FOLLOWED_WORDS[found.advice_followed]), " ", shown(found.advice_reason)]),
        html.P(shown(against_what(len(found.baseline.rides), found.baseline.level)), className="small"),
        *(html.P(shown(text), className="small") for text in found.cautions),
        html.P(dcc.Link(texts.BEHIND_OPEN, href=config.new_case_path(view.ride.id)), className="doing"),
    ]
    return parts.card(texts.BEHIND, *inside, name="behind")
