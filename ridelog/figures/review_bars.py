"""Shares of the advised time on the conservative map with their bands: one mark a group, months in order of time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import plotly.graph_objects as go

from ridelog.figures.theme import CONSERVATIVE, INK, SOFT_INK, axis, base_layout, drawn
from ridelog.review_groups import Group
from ridelog.words import figures as said
from ridelog.words.terms import duration

ROW_PX, EDGE_PX = 34, 62


def share_bars(groups: Sequence[Group], names: Sequence[str], *, dark: bool = False) -> go.Figure:
    """A row a group: a dot at its share, its band as a line; open dots rest on the range of a few rides, and a group
    whose share can't be told has a word instead."""
    told = [(group, name) for group, name in zip(groups, names, strict=True) if group.share is not None]
    unknown = [name for group, name in zip(groups, names, strict=True) if group.share is None]
    shares, lows, highs = (
        [100.0 * (getattr(group, part) or 0.0) for group, _ in told] for part in ("share", "low", "high")
    )
    data: list[dict[str, Any]] = [
        {
            "type": "scatter", "mode": "markers", "x": shares, "y": [name for _, name in told],
            "error_x": {
                "type": "data", "symmetric": False, "thickness": 2, "width": 5, "color": SOFT_INK,
                "array": [high - share for high, share in zip(highs, shares, strict=True)],
                "arrayminus": [share - low for low, share in zip(lows, shares, strict=True)],
            },
            "marker": {
                "size": 12, "color": CONSERVATIVE, "line": {"color": INK, "width": 1.5},
                "symbol": ["circle-open" if group.method == "range" else "circle" for group, _ in told],
            },
            "hovertext": [_said(group) for group, _ in told], "hovertemplate": "%{y}: %{hovertext}<extra></extra>",
        }
    ]  # fmt: skip
    notes = [
        {"x": 0, "y": name, "xanchor": "left", "text": "can't tell", "showarrow": False, "font": {"color": SOFT_INK}}
        for name in unknown
    ]
    layout = base_layout(EDGE_PX + ROW_PX * len(names))
    layout.update(
        margin={"l": 8, "r": 12, "t": 8, "b": 40}, annotations=notes, hovermode="closest", dragmode=False,
        xaxis=axis(range=[-3, 103], title={"text": said.FOLLOWED_TITLE}, fixedrange=True),
        yaxis=axis(
            type="category", categoryorder="array", categoryarray=list(reversed(names)), automargin=True,
            fixedrange=True, range=[-0.6, len(names) - 0.4],
        ),
    )  # fmt: skip
    return drawn(data, layout, dark=dark)


def _said(group: Group) -> str:
    share, low, high = (round(100.0 * (value or 0.0)) for value in (group.share, group.low, group.high))
    return said.followed((share, low, high), group.rides, duration(group.advised_s))
