"""The course strip: flagged stretches coloured and patterned by kind, and under them a ribbon of the map in use."""

from __future__ import annotations

from typing import Any

import numpy as np

from ridelog.figures.theme import CONSERVATIVE, INK, KIND_STYLES, PAPER, STANDARD
from ridelog.intervals import Interval, clip, from_mask
from ridelog.results import Analysis, Segment, Traces
from ridelog.words.terms import KIND_WORDS

STRETCH_LANE = 1.0
MAP_LANE = 0.0
MAP_STATES = {"conservative": "conservative map", "standard": "standard map", "unknown": "map not known"}


def strip_traces(analysis: Analysis, traces: Traces, axes: dict[str, str], seen: Interval) -> list[dict[str, Any]]:
    """One bar trace a kind that occurs, and one a state of the map ribbon, as far as they touch what is `seen`.
    `axes` names the x and y axis to use.

    `customdata` of a stretch is its index in `analysis.segments`, so that a click can be answered.
    """
    found: list[dict[str, Any]] = []
    for kind in KIND_STYLES:
        numbered = [
            (i, s)
            for i, s in enumerate(analysis.segments)
            if s.kind == kind and s.start_s <= seen.end_s and s.end_s >= seen.start_s
        ]
        if numbered:
            found.append(_kind_bars(kind, numbered, axes))
    for state, stretches in map_stretches(traces).items():
        inside = clip(stretches, seen.start_s, seen.end_s)
        if inside:
            found.append(_map_bars(state, inside, axes))
    return found


def map_stretches(traces: Traces) -> dict[str, list[Interval]]:
    """The ribbon: when the conservative map was on, when the standard one, and when the log does not say."""
    logged = traces.series.get("map_conservative")
    if logged is None:
        logged = np.full(traces.t_s.size, np.nan)
    known = np.isfinite(logged)
    on = known & (np.nan_to_num(logged) >= 0.5)
    return {
        "conservative": from_mask(traces.t_s, on, traces.step_s),
        "standard": from_mask(traces.t_s, known & ~on, traces.step_s),
        "unknown": from_mask(traces.t_s, ~known, traces.step_s),
    }


def _kind_bars(kind: str, numbered: list[tuple[int, Segment]], axes: dict[str, str]) -> dict[str, Any]:
    style = KIND_STYLES[kind]
    return {
        "type": "bar",
        "name": KIND_WORDS[kind],
        "orientation": "h",
        "base": [s.start_s for _, s in numbered],
        "x": [s.end_s - s.start_s for _, s in numbered],
        "y": [STRETCH_LANE] * len(numbered),
        "width": 0.96,
        "marker": {
            "color": style.color,
            "line": {"color": INK, "width": [1.0 if s.certainty == "sure" else 0.0 for _, s in numbered]},
            "pattern": {"shape": style.pattern, "fgcolor": INK, "solidity": 0.18, "size": 6},
        },
        "customdata": [i for i, _ in numbered],
        "hovertext": [f"{i + 1}: {KIND_WORDS[kind]}" for i, _ in numbered],
        "hovertemplate": "%{hovertext}<extra></extra>",
        **axes,
    }


def _map_bars(state: str, stretches: list[Interval], axes: dict[str, str]) -> dict[str, Any]:
    looks: dict[str, dict[str, Any]] = {
        "conservative": {"color": CONSERVATIVE, "line": {"width": 0}},
        "standard": {"color": STANDARD, "line": {"width": 0}},
        "unknown": {
            "color": PAPER,
            "line": {"color": STANDARD, "width": 1},
            "pattern": {"shape": "/", "fgcolor": STANDARD, "solidity": 0.2, "size": 5},
        },
    }
    return {
        "type": "bar",
        "name": MAP_STATES[state],
        "orientation": "h",
        "base": [i.start_s for i in stretches],
        "x": [i.length_s for i in stretches],
        "y": [MAP_LANE] * len(stretches),
        # the ribbon is thicker where the conservative map is on, so that grey print tells the two apart
        "width": 0.62 if state == "conservative" else 0.34,
        "marker": looks[state],
        "hovertemplate": MAP_STATES[state] + "<extra></extra>",
        **axes,
    }
