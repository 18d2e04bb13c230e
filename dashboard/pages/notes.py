"""Notes on the ride's page: the list, the form for a new one, and that of one that is corrected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from dash import dcc, html

from dashboard import config, ids, texts
from dashboard.components import parts
from ridelog.told import quoted
from ridelog.words.notes import ABOUT_WORDS, elapsed

if TYPE_CHECKING:
    from dashboard.casebook import NoteItem


def card(
    notes: Sequence[NoteItem], said: Sequence[str] = (), draft: Mapping[str, str] | None = None, *, ride: str
) -> html.Section:
    """All of it. `said`: what was just done; `draft`: a new note as far as it was typed; `ride`: whose notes."""
    items = [_item(note, ride) for note in notes]
    listed = html.Ol(items, className="notes plain") if notes else html.P(texts.NOTES_NONE)
    return parts.card(
        texts.NOTES,
        html.P(" ".join(said), id=ids.NOTES_SAID, role="status", className="said", tabIndex="-1"),
        listed,
        html.H3(texts.NOTE_NEW),
        html.P(texts.NOTES_HOW, className="small"),
        form(draft=draft),
        name="notes",
    )


AROUND_S = 60.0
"""So much is shown before and after the moment of a note."""


def _item(note: NoteItem, ride: str) -> html.Li:
    there = config.view_path(ride, note.at_s - AROUND_S, note.at_s + AROUND_S)
    told = [] if note.about == "other" else [html.Span(f"({ABOUT_WORDS[note.about]})", className="small")]
    clock = [html.Span(note.time_of_day, className="small")] if note.time_of_day != "–" else []
    return html.Li(
        [
            html.Div(
                [
                    html.Span(str(note.mark), className="mark"),
                    dcc.Link(elapsed(note.at_s), href=there, className="moment", title=texts.NOTE_SHOW),
                    *clock,
                    html.Span(quoted(note.text), className="words"),
                    *told,
                ],
                className="note-line",
            ),
            html.Details(
                [
                    html.Summary([texts.NOTE_CHANGE, html.Span(f" {note.mark}", className="hidden")],
                                 id=ids.note(ids.NOTE_CHANGE, note.number), n_clicks=0),
                    html.Div(id=ids.note(ids.NOTE_FORM, note.number)),
                ],
                className="no-print",
            ),
        ]
    )  # fmt: skip


def form(note: NoteItem | None = None, draft: Mapping[str, str] | None = None) -> html.Div:
    """The form of a note: a new one, as far as it was typed (`draft`), or one that is corrected."""
    number = note.number if note is not None else 0
    typed = draft or {}
    if note is not None:
        # + says that it is from the start: without it, 0:12:34 could be the time of day
        typed = {"at": f"+{elapsed(note.at_s)}", "text": note.text, "about": note.told}
    choices = [{"label": texts.NOTE_BY_WORDS, "value": ""}]
    choices += [{"label": words, "value": about} for about, words in ABOUT_WORDS.items()]
    remove = html.Button(texts.NOTE_REMOVE, id=ids.note(ids.NOTE_REMOVE, number), n_clicks=0, type="button")
    return html.Div(
        [
            html.Label([html.Span(texts.NOTE_AT),
                        dcc.Input(id=ids.note(ids.NOTE_AT, number), type="text", value=typed.get("at", ""),
                                  autoComplete="off")]),
            html.Label([html.Span(texts.NOTE_TEXT),
                        dcc.Textarea(id=ids.note(ids.NOTE_TEXT, number), value=typed.get("text", ""), rows=2)]),
            html.Fieldset(
                [
                    html.Legend(texts.NOTE_ABOUT),
                    dcc.RadioItems(id=ids.note(ids.NOTE_ABOUT, number), options=choices,
                                   value=typed.get("about", ""), className="choice many"),
                ]
            ),
            html.P(id=ids.note(ids.NOTE_SAID, number), role="alert", className="said"),
            html.Div(
                [
                    html.Button(texts.NOTE_CORRECT if note else texts.NOTE_SAVE, id=ids.note(ids.NOTE_SAVE, number),
                                n_clicks=0, type="button", className="main"),
                    remove if note else None,
                ],
                className="tools",
            ),
        ],
        className="fields",
    )  # fmt: skip
