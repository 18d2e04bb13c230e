"""Passes over the same ground laid over each other by place: coolant against the way along the stretch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import plotly.graph_objects as go

from ridelog.analysis.passes_records import PassRow, StretchRow
from ridelog.figures.downsample import downsample
from ridelog.figures.theme import DARK, INK, SOFT_INK, axis, base_layout, drawn
from ridelog.results import FloatArray, Traces
from ridelog.words import places as words
from ridelog.words.display import METRIC, Display

HEIGHT_PX = 330
POINTS = 700
MOST_PASSES = 8
DASHES = {
    "solid": "", "dash": "9 5", "dot": "2 4", "dashdot": "9 4 2 4", "longdash": "15 6", "longdashdot": "15 4 2 4",
}  # fmt: skip
"""Strokes by the plotting library's names, and as lengths in px for a sample beside words."""
LABEL_PX = 13.0
"""Numbers at the ends of lines stand at least so far apart."""


@dataclass(frozen=True)
class Stroke:
    """How a ride's lines are drawn; of one ride alone, how a lap's is. `key` is the ride's id, or the lap's number."""

    key: str
    dash: str
    color: str
    width: float


def strokes(row: StretchRow, order: Sequence[str] = ()) -> dict[str, Stroke]:
    """By ride, or by number where all passes are of one ride. `order`: rides as they were named; the first is drawn in
    ink and the rest softer."""
    there = list(dict.fromkeys(one.ride for one in row.passes if one.full))
    keys = [ride for ride in order if ride in there] + [ride for ride in there if ride not in order]
    if len(there) == 1:
        keys = [str(one.number) for one in row.passes if one.full]
    dashes = list(DASHES)
    return {
        key: Stroke(key, dashes[n % len(dashes)], SOFT_INK if n else INK, 1.6 if n else 2.2)
        for n, key in enumerate(keys)
    }


def sample_svg(stroke: Stroke, *, dark: bool = False) -> str:
    """A piece of the line, 34 by 10 px, to stand beside its name."""
    color = DARK[stroke.color] if dark else stroke.color
    dash = f' stroke-dasharray="{DASHES[stroke.dash]}"' if DASHES[stroke.dash] else ""
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="34" height="10" viewBox="0 0 34 10">'
        f'<path d="M0 5H34" fill="none" stroke="{color}" stroke-width="{stroke.width:g}"{dash}/></svg>'
    )


def by_place(
    row: StretchRow,
    traces: Mapping[str, Traces],
    *,
    order: Sequence[str] = (),
    display: Display = METRIC,
    dark: bool = False,
) -> go.Figure | None:
    """The coolant of each full pass, of at most MOST_PASSES; None where fewer than two can be drawn. Lines are told
    apart by their `strokes`, and each is numbered at its end."""
    drawn_as = strokes(row, order)
    data: list[dict[str, Any]] = []
    ends: list[tuple[float, float, str, str]] = []
    for one in [one for one in row.passes if one.full][:MOST_PASSES]:
        # A loop's passes go on counting its metres from lap to lap; laid over each other they all begin at its start.
        begin_m = row.length_m * round(one.from_m / row.length_m) if row.kind == "loop" else 0.0
        line = _line(one, begin_m, traces.get(one.ride), display)
        if line is None:
            continue
        way, coolant = line
        stroke = drawn_as[one.ride if one.ride in drawn_as else str(one.number)]
        name = words.pass_name(one, row.kind)
        data.append(
            {
                "type": "scatter", "mode": "lines", "x": way, "y": coolant, "name": name, "connectgaps": False,
                "line": {"color": stroke.color, "width": stroke.width, "dash": stroke.dash},
                "hovertemplate": f"%{{y:.0f}} {display.temperature_unit}<extra>{name}</extra>",
            }
        )  # fmt: skip
        known = np.flatnonzero(np.isfinite(coolant))
        ends.append((float(way[known[-1]]), float(coolant[known[-1]]), str(one.number), stroke.color))
    if len(data) < 2:
        return None
    layout = base_layout(HEIGHT_PX)
    layout.update(
        margin={"l": 44, "r": 30, "t": 10, "b": 44}, annotations=_numbers(ends, data), hovermode="x unified",
        dragmode=False, showlegend=False,
        xaxis=axis(title={"text": f"along the {row.kind}, {display.distance_unit}"}, fixedrange=True),
        yaxis=axis(title={"text": f"coolant, {display.temperature_unit}"}, fixedrange=True, nticks=6),
    )  # fmt: skip
    return drawn(data, layout, dark=dark)


def _numbers(ends: Sequence[tuple[float, float, str, str]], data: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Numbers at the ends of the lines, moved up where one would stand on another."""
    low = min(float(np.nanmin(line["y"])) for line in data)
    high = max(float(np.nanmax(line["y"])) for line in data)
    px = (HEIGHT_PX - 54.0) / max(1.1 * (high - low), 1.0)
    notes: list[dict[str, Any]] = []
    free = -np.inf
    for x, y, number, color in sorted(ends, key=lambda end: end[1]):
        free = max(px * y, free + LABEL_PX)
        notes.append(
            {
                "x": x, "y": y, "text": number, "showarrow": False, "xanchor": "left", "xshift": 4,
                "yshift": free - px * y, "font": {"size": 11, "color": color},
            }
        )  # fmt: skip
    return notes


def _line(
    one: PassRow, begin_m: float, traces: Traces | None, display: Display
) -> tuple[FloatArray, FloatArray] | None:
    """Way in long units and coolant as shown; the way is that ridden, stretched onto the part of the stretch."""
    if traces is None or "coolant_c" not in traces.series or "speed_mps" not in traces.series:
        return None
    inside = (traces.t_s >= one.start_s) & (traces.t_s <= one.end_s)
    coolant, speed = traces.series["coolant_c"][inside], traces.series["speed_mps"][inside]
    ridden = np.cumsum(np.nan_to_num(speed)) * traces.step_s
    if ridden.size < 2 or ridden[-1] <= 0.0 or not np.isfinite(coolant).any():
        return None
    way = one.from_m - begin_m + (one.to_m - one.from_m) * ridden / ridden[-1]
    moving = np.concatenate([[True], np.diff(way) > 0.0])
    shown_way, shown_coolant = downsample(way[moving], coolant[moving], POINTS, hole_s=np.inf)
    if shown_way.size < 2:
        return None
    factor, offset = display.temperature_scale()
    return shown_way / display.long_distance_m(), factor * shown_coolant + offset
