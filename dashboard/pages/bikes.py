"""Bikes and advice sheets: the list, and the editor of one with what a change would make of rides that are there."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from dashboard.ride_address import with_margin
from ridelog.report.sentences import shown
from ridelog.words import flips as flip_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dashboard.provider import Kind, ProfileItem, Version
    from ridelog.flips import Flip, Flips


def layout(bikes: Sequence[ProfileItem], sheets: Sequence[ProfileItem]) -> html.Div:
    """Both lists."""
    return html.Div(
        [
            html.H1(texts.BIKES, className="page"),
            html.Div([_list("bike", bikes), _list("advice", sheets)], className="pair"),
        ],
        className="profiles",
    )


def _list(kind: Kind, items: Sequence[ProfileItem]) -> html.Section:
    listed = [
        html.Li(
            [
                dcc.Link(item.name, href=config.profile_path(kind, item.name)),
                html.Span(item.told, className="small block"),
            ]
        )
        for item in items
    ]
    inside = html.Ul(listed, className="plain") if listed else html.P(texts.BIKES_NONE[kind])
    new = dcc.Link(texts.BIKES_NEW[kind], href=config.new_profile_path(kind))
    return parts.card(texts.BIKES_TITLE[kind], inside, html.P(new, className="doing"), name=kind)


def mark_of(text: str) -> str:
    """Changes with a text: an editor remembers by it which text of the library it has seen."""
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def editor(kind: Kind, name: str, text: str, history: Sequence[Version], *, new: bool = False) -> html.Div:
    """One file, as text: what it says is checked while it is written, and what a change would make is shown before it
    is saved. `new`: the library does not hold it yet."""
    profile = {"kind": kind, "name": name, "seen": "" if new else mark_of(text)}
    return html.Div(
        [
            dcc.Store(id=ids.PROFILE, data=profile),
            html.Div(dcc.Link(f"← {texts.BIKES}", href="/bikes"), className="above"),
            html.H1(name, className="page"),
            html.P(texts.EDIT_HINT[kind], className="small"),
            html.Div(
                [
                    html.Div(
                        [
                            html.Label(texts.EDIT_LABEL, htmlFor=ids.PROFILE_TEXT),
                            dcc.Textarea(id=ids.PROFILE_TEXT, value=text, spellCheck="false", className="file"),
                            html.P(id=ids.PROFILE_SAID, role="status", className="said"),
                            html.Div(_buttons(), className="tools"),
                        ],
                        className="card",
                    ),
                    html.Div(
                        [
                            dcc.Loading(
                                html.Div(id=ids.PROFILE_FLIPS),
                                delay_show=200,
                                custom_spinner=html.P("Analyzing rides …", className="small", role="status"),
                            ),
                            _history(history),
                        ]
                    ),
                ],
                className="pair",
            ),
        ],
        className="profiles",
    )


def _buttons() -> list[html.Button]:
    return [
        html.Button(texts.EDIT_LOOK, id=ids.PROFILE_LOOK, n_clicks=0, type="button"),
        html.Button(texts.EDIT_SAVE, id=ids.PROFILE_SAVE, n_clicks=0, type="button", className="main"),
    ]


def _history(history: Sequence[Version]) -> html.Section:
    if len(history) < 2:
        return parts.card(texts.HISTORY, html.P(texts.HISTORY_NONE), name="history")
    return parts.card(
        texts.HISTORY,
        *(
            html.Details(
                [
                    html.Summary(texts.version_told(one.added, one.replaced)),
                    html.Pre(one.text, tabIndex="0"),
                    html.Button(texts.HISTORY_TAKE, id=ids.earlier(number), n_clicks=0, type="button"),
                ]
            )
            for number, one in enumerate(history)
            if number
        ),
        name="history",
    )


def flips(found: Flips) -> html.Section:
    """What would be told otherwise of rides that are there."""
    inside: list[object] = []
    if not found.looked:
        inside.append(html.P(flip_words.NO_RIDES))
    else:
        inside.append(html.P(texts.flips_head(found.looked, found.left, len(found.flips))))
        if not found.flips:
            inside.append(html.P(flip_words.NOTHING))
    for flip in found.flips:
        day = f"{flip.day:%-d %B %Y}, " if flip.day is not None else ""
        inside += [
            html.H3([day, dcc.Link(flip.ride, href=config.ride_path(flip.ride))]),
            parts.bullets(_said(flip)),
        ]
    inside += [html.P(f"{ride}: {reason}", className="small") for ride, reason in found.failed]
    return parts.card(texts.FLIPS_TITLE, *inside, name="flips")


def _said(flip: Flip) -> list[object]:
    """Its sentences; one that speaks of a part of the ride leads there."""
    spans = flip.spans or (None,) * len(flip.said)
    return [
        shown(sentence)
        if span is None
        else [
            shown(sentence), " ",
            dcc.Link(texts.FLIPS_SHOW, href=config.view_path(flip.ride, *with_margin(*span)),
                     title=shown(sentence)),
        ]
        for sentence, span in zip(flip.said, spans, strict=True)
    ]  # fmt: skip
