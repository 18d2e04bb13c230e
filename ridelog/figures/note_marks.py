"""Notes on the strip: a small mark with the note's number, in a lane of its own; what it says shows on hovering.

Numbers count the ride's notes in order of time. Notes that lie too close to stand beside each other share one mark.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ridelog.figures.stack_panels import View
from ridelog.figures.theme import INK, PAPER, SOFT_INK
from ridelog.results import TimelineNote
from ridelog.told import quoted, shortened
from ridelog.words.notes import elapsed

NOTE_LANE = 2.0

APART, APART_TOUCH = 0.024, 0.075
"""So close, as a share of the view, marks would touch."""

SHOWN, WIDE = 4, 70
"""Notes of one mark whose words show on hovering, and characters of each."""


@dataclass(frozen=True)
class Mark:
    """One or several notes next to each other: the moment of the mark, the first and last number, the notes."""

    at_s: float
    first: int
    last: int
    notes: tuple[TimelineNote, ...]

    @property
    def label(self) -> str:
        """`3`, or `3–5`."""
        return str(self.first) if self.first == self.last else f"{self.first}–{self.last}"


def marks(notes: Sequence[TimelineNote], view: View) -> list[Mark]:
    """The marks of a view, from early to late. `notes` are all of the ride, in order of time."""
    apart_s = view.span_s * (APART_TOUCH if view.touch else APART)
    found: list[Mark] = []
    for number, note in enumerate(notes, 1):
        if not view.start_s <= note.at_s <= view.end_s:
            continue
        before = found[-1] if found else None
        if before is not None and note.at_s - before.notes[-1].at_s < apart_s:
            together = (*before.notes, note)
            found[-1] = Mark((together[0].at_s + note.at_s) / 2, before.first, number, together)
        else:
            found.append(Mark(note.at_s, number, number, (note,)))
    return found


def trace(found: Sequence[Mark], axes: dict[str, str]) -> dict[str, Any]:
    """The marks as points: they answer the pointer, and stand behind their numbers."""
    return {
        "type": "scatter",
        "name": "note",
        "mode": "markers",
        "x": [mark.at_s for mark in found],
        "y": [NOTE_LANE] * len(found),
        "marker": {"symbol": "square", "size": 15, "color": INK},
        "text": [_told(mark) for mark in found],
        "hovertemplate": "%{text}<extra></extra>",
        **axes,
    }


def labels(found: Sequence[Mark], y_axis: str) -> list[dict[str, Any]]:
    """The numbers."""
    return [
        {
            "text": f"<b>{mark.label}</b>", "xref": "x", "x": mark.at_s, "yref": y_axis, "y": NOTE_LANE,
            "showarrow": False, "font": {"size": 11, "color": PAPER}, "bgcolor": INK, "borderpad": 2,
        }
        for mark in found
    ]  # fmt: skip


def lines(found: Sequence[Mark], bottom: float) -> list[dict[str, Any]]:
    """A thin line through all panels at the moment of each note."""
    return [
        {
            "type": "line", "xref": "x", "x0": note.at_s, "x1": note.at_s, "yref": "paper", "y0": bottom, "y1": 1,
            "layer": "below", "line": {"color": SOFT_INK, "width": 1, "dash": "dot"},
        }
        for mark in found
        for note in mark.notes[:SHOWN]
    ]  # fmt: skip


def _told(mark: Mark) -> str:
    # What people wrote must not act as a tag of the label.
    said = [
        f"{number}: {elapsed(note.at_s)} {quoted(html.escape(shortened(note.text, WIDE), quote=False))}"
        for number, note in enumerate(mark.notes[:SHOWN], mark.first)
    ]
    more = len(mark.notes) - SHOWN
    return "<br>".join([*said, *([f"and {more} more"] if more > 0 else [])])
