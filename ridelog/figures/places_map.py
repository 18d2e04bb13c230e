"""Hot places from above, among all the ground that was ridden: no tiles, no position on earth (see course_map)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from ridelog.figures.course_map import Course, frame, local_metres, number_note
from ridelog.figures.theme import INK, KIND_STYLES, STANDARD, drawn
from ridelog.results import FloatArray
from ridelog.words.display import METRIC, Display

WIDEST_M = 60_000.0
"""Places further apart than this make no map that shows one."""

ROOM, LEAST_ROOM_M = 0.35, 800.0
"""Ground is drawn around the places: so much of their extent, and not less."""

MOST = 6000
"""Cells of ground that are drawn."""


def places_map(
    ground_deg: FloatArray,
    places: Sequence[tuple[tuple[float, float], str, str]],
    *,
    display: Display = METRIC,
    touch: bool = False,
    dark: bool = False,
) -> go.Figure | None:
    """Numbered places over the ground ridden, (n, 2) degrees. `places`: latitude and longitude, kind of stretch ("" for
    none), words for hovering, in the order of their numbers. None where they lie too far apart, or there is none."""
    if ground_deg.shape[0] < 2 or not places:
        return None
    at = np.array([place for place, _, _ in places])
    east, north = local_metres(
        np.concatenate([at[:, 0], ground_deg[:, 0]]), np.concatenate([at[:, 1], ground_deg[:, 1]])
    )
    count = len(places)
    size_m = max(float(np.ptp(east[:count])), float(np.ptp(north[:count])))
    if size_m > WIDEST_M:
        return None
    room_m = max(LEAST_ROOM_M, ROOM * size_m)
    seen = np.ones(east.size, dtype=np.bool_)
    for way in (east, north):
        seen &= (way >= way[:count].min() - room_m) & (way <= way[:count].max() + room_m)
    ground = np.flatnonzero(seen)[count:]
    ground = ground[:: -(-max(ground.size, 1) // MOST)]
    data: list[dict[str, Any]] = [
        _dots("ground ridden", east[ground], north[ground], {"size": 4, "color": STANDARD, "symbol": "square"}),
        _dots(
            "hot places", east[:count], north[:count],
            {
                "size": 15, "line": {"color": INK, "width": 2},
                "color": [KIND_STYLES[kind].color if kind in KIND_STYLES else STANDARD for _, kind, _ in places],
            },
            [words for _, _, words in places],
        ),
    ]  # fmt: skip
    inside = np.concatenate([np.arange(count), ground])
    east, north = east[inside], north[inside]
    size_m = max(float(np.ptp(east)), float(np.ptp(north)), 20.0)
    track = Course(np.arange(east.size, dtype=np.float64), east, north, np.inf, size_m)
    notes = _numbers(east[:count], north[:count], 0.06 * size_m, float(east.max() + east.min()) / 2)
    return drawn(data, frame(track, display, touch, notes, right_px=10), dark=dark)


def _dots(
    name: str, east: FloatArray, north: FloatArray, marker: dict[str, Any], told: list[str] | None = None
) -> dict[str, Any]:
    more = {"hoverinfo": "skip"} if told is None else {"text": told, "hovertemplate": "%{text}<extra></extra>"}
    return {
        "type": "scatter", "mode": "markers", "x": east.astype(np.float32), "y": north.astype(np.float32),
        "name": name, "marker": marker, **more,
    }  # fmt: skip


def _numbers(east: FloatArray, north: FloatArray, near_m: float, middle_m: float) -> list[dict[str, Any]]:
    """Labels, those of places next to each other together."""
    groups: list[tuple[float, float, list[int]]] = []
    for number, (x, y) in enumerate(zip(east.tolist(), north.tolist(), strict=True), 1):
        for at_x, at_y, numbers in groups:
            if np.hypot(x - at_x, y - at_y) < near_m:
                numbers.append(number)
                break
        else:
            groups.append((x, y, [number]))
    return [number_note(x, y, numbers, 1 if x < middle_m else -1) for x, y, numbers in groups]
