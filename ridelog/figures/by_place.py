"""Passes over the same ground laid over each other by place: coolant against the way along the stretch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import plotly.graph_objects as go

from ridelog.analysis.passes_records import PassRow, StretchRow
from ridelog.figures.downsample import downsample
from ridelog.figures.theme import INK, SOFT_INK, axis, base_layout, drawn
from ridelog.results import FloatArray, Traces
from ridelog.words import places as words
from ridelog.words.display import METRIC, Display

HEIGHT_PX = 330
POINTS = 700
MOST_PASSES = 8
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot")


def by_place(
    row: StretchRow, traces: Mapping[str, Traces], *, display: Display = METRIC, dark: bool = False
) -> go.Figure | None:
    """The coolant of each full pass, of at most MOST_PASSES; None where fewer than two can be drawn. Rides are told
    apart by the stroke, the ride named first is drawn in ink, and each line is named at its end."""
    rides = list(dict.fromkeys(one.ride for one in row.passes))
    data: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    for one in [one for one in row.passes if one.full][:MOST_PASSES]:
        # A loop's passes go on counting its metres from lap to lap; laid over each other they all begin at its start.
        begin_m = row.length_m * round(one.from_m / row.length_m) if row.kind == "loop" else 0.0
        line = _line(one, begin_m, traces.get(one.ride), display)
        if line is None:
            continue
        way, coolant = line
        first = one.ride == rides[0]
        color, dash = INK if first else SOFT_INK, DASHES[rides.index(one.ride) % len(DASHES)]
        name = words.pass_name(one, row.kind)
        data.append(
            {
                "type": "scatter", "mode": "lines", "x": way, "y": coolant, "name": name, "connectgaps": False,
                "line": {"color": color, "width": 2 if first else 1.6, "dash": dash},
                "hovertemplate": f"%{{y:.0f}} {display.temperature_unit}<extra>{name}</extra>",
            }
        )  # fmt: skip
        known = np.flatnonzero(np.isfinite(coolant))
        notes.append(
            {
                "x": float(way[known[-1]]), "y": float(coolant[known[-1]]), "text": str(one.number), "showarrow": False,
                "xanchor": "left", "xshift": 4, "font": {"size": 11, "color": color},
            }
        )  # fmt: skip
    if len(data) < 2:
        return None
    layout = base_layout(HEIGHT_PX)
    layout.update(
        margin={"l": 44, "r": 30, "t": 10, "b": 44}, annotations=notes, hovermode="x unified", dragmode=False,
        xaxis=axis(title={"text": f"along the {row.kind}, {display.distance_unit}"}, fixedrange=True),
        yaxis=axis(title={"text": f"coolant, {display.temperature_unit}"}, fixedrange=True, nticks=6),
        showlegend=True, legend={"orientation": "h", "y": 1.14, "x": 0, "font": {"size": 11, "color": INK}},
    )  # fmt: skip
    return drawn(data, layout, dark=dark)


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
