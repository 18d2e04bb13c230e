"""What complaints turned out to be, by where the cause lay, on the page of cases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import html

from dashboard.components import parts
from ridelog.report.sentences import shown
from ridelog.words import outcomes as words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dashboard.casebook import ComplaintRow


def card(found: Sequence[ComplaintRow]) -> html.Section:
    """Closed cases by the kind of their cause, and how many are open or closed without one."""
    rows = words.rows([(one.id, one.cause, one.closed_utc is not None) for one in found])
    return parts.card(
        words.TITLE,
        parts.plain_table(words.COLUMNS, rows, words.TITLE),
        html.P(shown(words.NOTE), className="small"),
        name="outcomes",
    )
