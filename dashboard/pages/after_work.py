"""Bikes after work on them, on the page of the review."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dash import dcc, html

from dashboard import texts
from dashboard.components import parts
from ridelog.report.sentences import shown
from ridelog.words import after_work as words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ridelog.after_work import AfterWork


def card(rows: Sequence[AfterWork]) -> html.Section:
    """Which were hot again, and each piece of work with a link to its comparison."""
    if not rows:
        return parts.card(words.TITLE, html.P(shown(words.NONE)), name="after-work")
    return parts.card(
        words.TITLE,
        html.P(shown(words.answer(rows))),
        parts.plain_table(words.COLUMNS, [_row(one) for one in rows], words.TITLE, "cards"),
        html.P(shown(words.NOTE), className="small"),
        name="after-work",
    )


def _row(one: AfterWork) -> list[object]:
    day = one.day.isoformat()
    link = dcc.Link(
        texts.compare_service(one.bike, day, one.what),
        href="/compare?" + urlencode({"bike": one.bike, "service": day}),
    )
    return [link, *(shown(cell) for cell in words.cells(one))]
