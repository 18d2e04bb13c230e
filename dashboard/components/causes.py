"""Ranked causes with what speaks for and against each, from the document of a diagnosis: of today or of a case."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import html

from dashboard import texts
from dashboard.components import parts
from ridelog.report.sentences import sentence, shown
from ridelog.words.causes import CAUSE_WORDS, chance

FIRST = 4
"""Causes that stand open to the eye; the rest behind one more press."""

LEAST = 0.05
"""A cause less likely than this is no part of those."""


def ranked(causes: Sequence[Mapping[str, Any]], *, open_first: bool, told_apart: Sequence[str] = ()) -> html.Div:
    """The causes, the likeliest first, each opening to its evidence. `causes` as `Diagnosis.to_json` has them;
    `told_apart`: checks that stand on the page by themselves and are not said twice."""
    first = [one for one in causes[:FIRST] if one["probability"] >= LEAST] or list(causes[:1])
    rest = causes[len(first) :]
    listed = [
        _cause(number, _besides(one, told_apart), is_open=open_first and number == 1)
        for number, one in enumerate(first, 1)
    ]
    if rest:
        small = [html.Li(f"{_name(one)}: {chance(one['probability'])}") for one in rest]
        listed.append(html.Details([html.Summary(texts.CAUSES_REST), html.Ul(small)], className="cause"))
    return html.Div(listed, className="causes")


def _besides(one: Mapping[str, Any], told_apart: Sequence[str]) -> dict[str, Any]:
    same = tuple(one.get("check_next", ())) == tuple(told_apart)
    return {name: value for name, value in one.items() if not (same and name == "check_next")}


def _name(one: Mapping[str, Any]) -> str:
    words = CAUSE_WORDS.get(one["cause"], str(one["cause"]).replace("_", " "))
    return words[:1].upper() + words[1:]


def _cause(number: int, one: Mapping[str, Any], *, is_open: bool) -> html.Details:
    share = float(one["probability"])
    odds = chance(share)
    head = html.Summary(
        [
            html.Span(f"{number}. {_name(one)}", className="name"),
            # the words say it; the bar is for the eye alone
            html.Span(
                html.Span(style={"width": f"{100.0 * share:.0f}%"}), className="odds-bar", **{"aria-hidden": "true"}
            ),
            html.Span(odds, className="odds"),
        ]
    )
    return html.Details([head, html.Div(_evidence(one), className="evidence")], open=is_open, className="cause")


def _evidence(one: Mapping[str, Any]) -> list[object]:
    told: list[object] = []
    for title, name in (
        (texts.CAUSES_FOR, "for"),
        (texts.CAUSES_AGAINST, "against"),
        (texts.CAUSES_CHECK, "check_next"),
    ):
        if name not in one:
            continue
        sentences = one[name]
        told.append(html.H3(title))
        told.append(parts.bullets([sentence(text) for text in sentences]) if sentences else html.P(texts.CAUSES_NONE))
    return told


def summary(sentences: Sequence[str]) -> list[html.P]:
    """The answer of a diagnosis in its sentences, the first of them large."""
    return [html.P(shown(text), className="headline" if number == 0 else "") for number, text in enumerate(sentences)]
