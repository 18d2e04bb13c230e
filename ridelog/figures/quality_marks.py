"""Doubtful stretches of data on the strip: a lane of marks, what is the matter with each on hovering.

Marks that would touch are drawn as one, and none is drawn narrower than the eye can see, so that a spike of a tenth of
a second in a day's ride is still found.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ridelog.figures.stack_panels import View
from ridelog.figures.theme import DOUBT, INK
from ridelog.results import Mark
from ridelog.told import shortened
from ridelog.words import figures as said
from ridelog.words.display import clock
from ridelog.words.terms import ACTION_WORDS, channel_words, quality_words

LEAST = 0.004
"""The narrowest a mark is drawn, as a share of the view; marks nearer to each other than this are one."""

SHOWN, WIDE = 4, 90
"""Doubts of one mark whose words show on hovering, and characters of each."""


@dataclass(frozen=True)
class Doubt:
    """One or several doubtful stretches next to each other."""

    start_s: float
    end_s: float
    marks: tuple[Mark, ...]


def distinct(marks: Sequence[Mark]) -> list[Mark]:
    """In order of time; latitude and longitude are one position in words, so what is said of both alike stands once."""
    told: dict[tuple[object, ...], Mark] = {}
    for mark in sorted(marks, key=lambda one: (one.start_s, one.end_s)):
        said = (channel_words(mark.channel), mark.kind, mark.start_s, mark.end_s, mark.action, mark.detail)
        told.setdefault(said, mark)
    return list(told.values())


def doubts(marks: Sequence[Mark], view: View) -> list[Doubt]:
    """What is drawn of a view, from early to late."""
    apart_s = LEAST * view.span_s
    found: list[Doubt] = []
    for mark in distinct(marks):
        if mark.end_s < view.start_s or mark.start_s > view.end_s:
            continue
        before = found[-1] if found else None
        if before is not None and mark.start_s - before.end_s < apart_s:
            found[-1] = Doubt(before.start_s, max(before.end_s, mark.end_s), (*before.marks, mark))
        else:
            found.append(Doubt(mark.start_s, mark.end_s, (mark,)))
    return found


def trace(found: Sequence[Doubt], view: View, lane: float, axes: dict[str, str]) -> dict[str, Any]:
    """The marks as bars. `customdata` of each: its first and last second, so that a click can be answered."""
    least = LEAST * view.span_s
    widths = [max(one.end_s - one.start_s, least) for one in found]
    return {
        "type": "bar",
        "name": "doubtful data",
        "orientation": "h",
        "base": [(one.start_s + one.end_s - width) / 2 for one, width in zip(found, widths, strict=True)],
        "x": widths,
        "y": [lane] * len(found),
        "width": 0.7,
        "marker": {
            "color": DOUBT,
            "line": {"color": INK, "width": 1},
            "pattern": {"shape": "x", "fgcolor": INK, "solidity": 0.25, "size": 5},
        },
        "customdata": [[one.start_s, one.end_s] for one in found],
        "hovertext": [_told(one) for one in found],
        "hovertemplate": "%{hovertext}<extra></extra>",
        **axes,
    }


def _told(doubt: Doubt) -> str:
    shown = [_sentence(mark) for mark in doubt.marks[:SHOWN]]
    more = len(doubt.marks) - SHOWN
    return "<br>".join([*shown, *([said.more_in_list(more)] if more > 0 else [])])


def _sentence(mark: Mark) -> str:
    # A detail may quote the file; it must not act as a tag of the label.
    detail = html.escape(shortened(mark.detail, WIDE), quote=False)
    action = ACTION_WORDS.get(mark.action, mark.action)
    at = clock(mark.start_s), clock(mark.end_s)
    return said.doubtful(channel_words(mark.channel), quality_words(mark.kind), at, action, detail)
