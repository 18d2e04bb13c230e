"""Two recordings of one ride laid over each other: the whole of what they share, and three close looks.

Both lines are scaled to the same height in every panel, since it is their ups and downs that have to meet, not their
levels.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from ridelog.figures.downsample import downsample
from ridelog.figures.theme import INK, OKABE_ITO, SOFT_INK, axis, base_layout, drawn
from ridelog.intervals import Interval
from ridelog.words import figures as said
from ridelog.words.display import METRIC, Display, clock, time_ticks

if TYPE_CHECKING:
    import plotly.graph_objects as go

    from ridelog.ingest_alignment import Curve
    from ridelog.results import FloatArray

POINTS = 1000
PANEL_PX, HEAD_PX, GAP_PX = 120, 26, 30
CLOSE_S, CLOSE_SLOW_S = 40.0, 900.0
"""Length of a close look: at quick channels, and at temperatures."""
LOOKS = ("Near its beginning", "In the middle", "Near its end")
OWN_COLOR = OKABE_ITO["blue"]
SPREAD_PCT = (1.0, 99.0)


def joint(
    own: Curve, beside: Curve, shift_s: float, *, units: Display = METRIC, dark: bool = False, ticks: int = 7
) -> go.Figure:
    """The picture. `own` is moved by `shift_s` seconds from where it lies; `beside` stays. Times count from the first
    sample of the recording whose clock is kept."""
    sides = [(_times(beside), beside, INK, 2.2), (_times(own) + shift_s, own, OWN_COLOR, 1.4)]
    whole = Interval(min(float(t[0]) for t, *_ in sides), max(float(t[-1]) for t, *_ in sides))
    views = [("All of both", whole), *zip(LOOKS, close_looks(own, beside), strict=False)]
    height = len(views) * (PANEL_PX + HEAD_PX) + (len(views) - 1) * GAP_PX + 34
    layout: dict[str, Any] = {
        **base_layout(height),
        "margin": {"l": 8, "r": 8, "t": 2, "b": 32},
        "hovermode": "x",
        "dragmode": False,
        "annotations": [],
    }
    inner = height - 34
    data: list[dict[str, Any]] = []
    for number, (name, view) in enumerate(views):
        key = "" if number == 0 else str(number + 1)
        top = 1.0 - (number * (PANEL_PX + HEAD_PX + GAP_PX) + HEAD_PX) / inner
        values, _ = time_ticks(view.start_s, view.end_s, ticks)
        layout[f"xaxis{key}"] = axis(
            domain=[0, 1], anchor=f"y{key}", range=[view.start_s, view.end_s], tickvals=values,
            ticktext=[signed_clock(value) for value in values], fixedrange=True, hoverformat=".2f",
        )  # fmt: skip
        layout[f"yaxis{key}"] = axis(
            domain=[max(0.0, top - PANEL_PX / inner), top], anchor=f"x{key}", range=[-0.06, 1.06],
            showticklabels=False, showgrid=False, fixedrange=True, showline=True,
        )  # fmt: skip
        layout["annotations"].append(
            {
                "text": name, "x": 0, "y": top, "xref": "paper", "yref": "paper", "xanchor": "left",
                "yanchor": "bottom", "showarrow": False, "font": {"size": 12, "color": SOFT_INK},
            }
        )  # fmt: skip
        for t_s, curve, color, width in sides:
            data.append(_line(t_s, curve, view, f"x{key}", f"y{key}", color=color, width=width, units=units))
    return drawn(data, layout, dark=dark)


def close_looks(own: Curve, beside: Curve) -> list[Interval]:
    """Where to look closely: of the first, the middle and the last third of what both share as they were found, the
    stretch in which both change most; of something short, all of it once. They stay where they are when a recording is
    moved, so that the eye keeps its hold."""
    length = CLOSE_SLOW_S if own.channel.endswith("_c") else CLOSE_S
    times = [_times(own), _times(beside)]
    start, end = max(float(t[0]) for t in times), min(float(t[-1]) for t in times)
    if end <= start:
        t_s = times[1]
        start, end = float(t_s[0]), float(t_s[-1])
    if end - start < 3.0 * length:
        return [Interval(start, end)]
    thirds = np.linspace(start, end, 4)
    found = []
    for low, high in pairwise(thirds.tolist()):
        starts = np.arange(low, high - length + 1e-9, length / 4.0)
        lively = np.ones(starts.size)
        for t_s, curve in zip(times, (own, beside), strict=True):
            moved = np.abs(np.diff(curve.values, prepend=curve.values[:1]))
            known = np.nan_to_num(moved)
            # one great step, such as a gear change, tells less than many small ones
            total = np.concatenate([[0.0], np.cumsum(np.minimum(known, np.quantile(known, 0.98)))])
            lively *= total[np.searchsorted(t_s, starts + length)] - total[np.searchsorted(t_s, starts)]
        at = float(starts[int(lively.argmax())])
        found.append(Interval(at, at + length))
    return found


def value_text(curve: Curve, units: Display) -> tuple[float, float, str]:
    """Factor and offset from the channel's own unit to the one shown, and that unit."""
    if curve.channel.endswith("_mps"):
        return units.speed_factor(), 0.0, units.speed_unit
    if curve.channel.endswith("_c"):
        return (*units.temperature_scale(), units.temperature_unit)
    ends: Sequence[tuple[str, str]] = (("_rpm", "1/min"), ("_pct", "%"), ("_ms", "ms"), ("_deg", "°"))
    return 1.0, 0.0, next((unit for end, unit in ends if curve.channel.endswith(end)), "")


def signed_clock(seconds: float) -> str:
    """`h:mm:ss`, with a sign before the beginning."""
    return ("-" if seconds < -0.5 else "") + clock(abs(seconds))


def _times(curve: Curve) -> FloatArray:
    return curve.first_s + curve.step_s * np.arange(curve.values.size, dtype=np.float64)


def _line(
    t_s: FloatArray, curve: Curve, view: Interval, x: str, y: str, *, color: str, width: float, units: Display
) -> dict[str, Any]:
    inside = np.empty(0), np.empty(0)
    if t_s[-1] >= view.start_s and t_s[0] <= view.end_s:
        inside = downsample(t_s, curve.values, POINTS, start_s=view.start_s, end_s=view.end_s, hole_s=3 * curve.step_s)
    known = inside[1][np.isfinite(inside[1])]
    low, high = np.percentile(known, SPREAD_PCT) if known.size else (0.0, 1.0)
    factor, offset, unit = value_text(curve, units)
    scaled = np.clip((inside[1] - low) / max(float(high - low), 1e-9), 0.0, 1.0)
    return {
        "type": "scatter", "mode": "lines", "x": inside[0], "y": scaled,
        "customdata": inside[1] * factor + offset, "xaxis": x, "yaxis": y, "line": {"color": color, "width": width},
        "name": curve.words, "hovertemplate": said.value_of(curve.words, unit),
    }  # fmt: skip
