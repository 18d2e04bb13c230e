"""The course seen from above, drawn without map tiles: no request leaves the machine, no position is handed on.

Positions become metres east and north of the ride's middle by the equirectangular projection with the earth's two
radii of curvature at the ride's mean latitude (WGS 84; J. P. Snyder, "Map Projections: A Working Manual", USGS
Professional Paper 1395, 1987, equations 4-18 to 4-20). The figure holds no latitude or longitude.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import plotly.graph_objects as go

from ridelog.figures.downsample import hole_after_s
from ridelog.figures.series import RideLines
from ridelog.figures.theme import COOLANT_SCALE, INK, KIND_STYLES, PAPER, SOFT_INK, base_layout, drawn
from ridelog.results import Analysis, FloatArray, Segment
from ridelog.words import figures as said
from ridelog.words.display import METRIC, Display, clock, round_length
from ridelog.words.terms import KIND_WORDS, segment_words

HEIGHT_PX = 430
POINTS = 3000
_TRACK = "#9aa2aa"
_EQUATOR_M = 6_378_137.0
_ECCENTRICITY_SQUARED = 0.00669437999014

ColorBy = Literal["stretches", "coolant"]


@dataclass(frozen=True)
class Course:
    """The course in local metres; `t_s` rising, NaN in `east_m` and `north_m` where the position is not known.

    `hole_s` is the step in time that is a hole; `size_m` the longer side of the box around the course.
    """

    t_s: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    hole_s: float
    size_m: float


def local_metres(lat_deg: FloatArray, lon_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Degrees to metres east and north of the middle of the points.

    Good to 0.1 % of distances up to 50 km from the middle at latitudes under 60 degrees (tests compare with a
    geodesic). Longitudes may cross the date line. Inputs finite, of equal length, not empty.
    """
    middle = np.radians(float(lat_deg.mean()))
    bend = 1.0 - _ECCENTRICITY_SQUARED * np.sin(middle) ** 2
    meridian_m = _EQUATOR_M * (1.0 - _ECCENTRICITY_SQUARED) / bend**1.5
    across_m = _EQUATOR_M / np.sqrt(bend)
    east_deg = (lon_deg - lon_deg[0] + 180.0) % 360.0 - 180.0
    east = np.radians(east_deg - east_deg.mean()) * across_m * np.cos(middle)
    north = np.radians(lat_deg - lat_deg.mean()) * meridian_m
    return np.asarray(east, dtype=np.float64), np.asarray(north, dtype=np.float64)


def course(lines: RideLines) -> Course | None:
    """The positions of a ride, None where it has none. A position needs both numbers at one time."""
    return lines.once("course", lambda: _course(lines))


def _course(lines: RideLines) -> Course | None:
    lat, lon = lines.get("lat_deg"), lines.get("lon_deg")
    if lat is None or lon is None:
        return None
    t, at_lat, at_lon = np.intersect1d(lat.t_s, lon.t_s, assume_unique=True, return_indices=True)
    lat_deg, lon_deg = lat.y[at_lat], lon.y[at_lon]
    known = np.isfinite(lat_deg) & np.isfinite(lon_deg)
    if int(known.sum()) < 2:
        return None
    east, north = np.full(t.size, np.nan), np.full(t.size, np.nan)
    east[known], north[known] = local_metres(lat_deg[known], lon_deg[known])
    size_m = max(float(np.ptp(east[known])), float(np.ptp(north[known])), 20.0)
    return Course(t, east, north, hole_after_s(t), size_m)


def course_map(
    analysis: Analysis,
    lines: RideLines,
    *,
    color_by: ColorBy = "stretches",
    selected: int | None = None,
    display: Display = METRIC,
    touch: bool = False,
    dark: bool = False,
    part: tuple[float, float] | None = None,
) -> go.Figure | None:
    """The map, coloured by flagged stretch or by coolant; None where the ride has no positions. `part`: from and to, in
    seconds, of what another picture shows, drawn in ink."""
    track = course(lines)
    if track is None:
        return None
    data: list[dict[str, Any]] = [_path(track, None, "course", {"color": _TRACK, "width": 2})]
    notes: list[dict[str, Any]] = []
    data.extend(_marked(track, analysis, selected, part))
    if color_by == "coolant":
        data.extend(_by_coolant(track, lines, display))
    else:
        for kind in KIND_STYLES:
            found = _by_kind(track, kind, analysis.segments)
            if found is not None:
                data.append(found)
        notes.extend(_stretch_numbers(track, analysis.segments))
    data.extend(_ends(track))
    layout = frame(track, display, touch, notes, right_px=76 if color_by == "coolant" else 10)
    return drawn(data, layout, dark=dark)


MARKED_FROM = 1
"""Where `marked` stands among the traces of the map."""


def marked(
    analysis: Analysis,
    lines: RideLines,
    *,
    selected: int | None = None,
    dark: bool = False,
    part: tuple[float, float] | None = None,
) -> list[dict[str, Any]]:
    """What of the map changes with the view: the chosen stretch and the part another picture shows, as traces that are
    there, without points, where nothing is marked. Empty where the ride has no positions."""
    track = course(lines)
    if track is None:
        return []
    traces: list[dict[str, Any]] = drawn(_marked(track, analysis, selected, part), {}, dark=dark).to_dict()["data"]
    return traces


def _marked(
    track: Course, analysis: Analysis, selected: int | None, part: tuple[float, float] | None
) -> list[dict[str, Any]]:
    nowhere = (np.inf, np.inf)
    chosen = selected if selected is not None and 0 <= selected < len(analysis.segments) else None
    return [
        _selected(track, chosen, analysis.segments[chosen])
        if chosen is not None
        else _path(track, nowhere, "", {"color": INK, "width": 13}),
        _path(track, part if part is not None else nowhere, "shown in the picture", {"color": INK, "width": 3}),
    ]


def _path(
    track: Course, stretch: tuple[float, float] | None, name: str, line: dict[str, Any], most: int = POINTS
) -> dict[str, Any]:
    t, east, north = _pick(track, stretch, most)
    return {
        "type": "scatter", "mode": "lines", "x": east.astype(np.float32), "y": north.astype(np.float32), "name": name,
        "line": line, "connectgaps": False, "customdata": [clock(s) for s in t.tolist()],
        "hovertemplate": "%{customdata}<extra>" + name + "</extra>",
    }  # fmt: skip


def _pick(
    track: Course, stretch: tuple[float, float] | None, most: int = POINTS
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points evenly apart along the course, not in time: a standstill needs one. NaN where the log has a hole."""
    t, east, north = track.t_s, track.east_m, track.north_m
    if stretch is not None:
        inside = slice(*np.searchsorted(t, stretch))
        t, east, north = t[inside], east[inside], north[inside]
    known = np.isfinite(east)
    t, east, north = t[known], east[known], north[known]
    if t.size < 2:
        return t, east, north
    long_step = np.diff(t) > track.hole_s
    gone = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))))
    if t.size > most:
        keep = np.searchsorted(gone, np.linspace(0.0, gone[-1], most))
        edges = np.flatnonzero(long_step)
        keep = np.unique(np.concatenate((keep, [0, t.size - 1], edges, edges + 1)))
    else:
        keep = np.arange(t.size)
    breaks = np.flatnonzero(long_step[keep[1:] - 1] & (np.diff(keep) == 1)) + 1
    return (
        np.insert(t[keep], breaks, t[keep][breaks]),
        np.insert(east[keep], breaks, np.nan),
        np.insert(north[keep], breaks, np.nan),
    )


def _by_kind(track: Course, kind: str, segments: tuple[Segment, ...]) -> dict[str, Any] | None:
    # all stretches together get the points of one line; a hundred passes of a place need no more than one
    most = max(12, POINTS // len(segments)) if segments else POINTS
    parts = [_path(track, (s.start_s, s.end_s), KIND_WORDS[kind], {}, most) for s in segments if s.kind == kind]
    parts = [part for part in parts if part["x"].size > 1]
    if not parts:
        return None
    gap = np.array([np.nan], dtype=np.float32)
    style = KIND_STYLES[kind]
    joined = dict(parts[0])
    joined["x"] = np.concatenate([piece for part in parts for piece in (part["x"], gap)])
    joined["y"] = np.concatenate([piece for part in parts for piece in (part["y"], gap)])
    joined["customdata"] = [text for part in parts for text in (*part["customdata"], "")]
    joined["line"] = {"color": style.color, "width": 6}
    return joined


def _by_coolant(track: Course, lines: RideLines, display: Display) -> list[dict[str, Any]]:
    coolant = lines.get("coolant_c")
    if coolant is None:
        return []
    t, east, north = _pick(track, None, 1500)
    known = np.isfinite(coolant.y)
    at, values = coolant.t_s[known], coolant.y[known]
    here = np.interp(t, at, values)
    right = np.clip(np.searchsorted(at, t), 0, at.size - 1)
    left = np.clip(right - 1, 0, at.size - 1)
    inside = (t >= at[0]) & (t <= at[-1]) & (at[right] - at[left] <= coolant.hole_s)
    show = np.isfinite(east) & (inside | (at[right] == t))
    factor, offset = display.temperature_scale()
    shown = here[show] * factor + offset
    return [
        {
            "type": "scatter", "mode": "markers", "x": east[show].astype(np.float32),
            "y": north[show].astype(np.float32), "name": "coolant", "customdata": [clock(s) for s in t[show].tolist()],
            "marker": {
                "size": 7, "color": shown.astype(np.float32), "colorscale": COOLANT_SCALE, "showscale": True,
                "colorbar": {"title": {"text": f"Coolant<br>{display.temperature_unit}"}, "thickness": 12, "len": 0.8,
                             "outlinewidth": 0},
            },
            "hovertemplate": said.at_moment(display),
        }
    ]  # fmt: skip


def _selected(track: Course, index: int, segment: Segment) -> dict[str, Any]:
    """A dark edge along the stretch; drawn under the colours, so that they stay readable."""
    return _path(
        track, (segment.start_s, segment.end_s), f"{index + 1}: {segment_words(segment)}", {"color": INK, "width": 13}
    )


def _stretch_numbers(track: Course, segments: tuple[Segment, ...], most: int = 200) -> list[dict[str, Any]]:
    """The numbers of the table beside their stretches; passes of the same place share one label."""
    near_m = 0.05 * track.size_m
    groups: list[tuple[str, float, float, list[int]]] = []
    for index, segment in enumerate(segments[:most]):
        inside = slice(*np.searchsorted(track.t_s, [segment.start_s, segment.end_s]))
        east, north = track.east_m[inside], track.north_m[inside]
        known = np.flatnonzero(np.isfinite(east))
        if known.size == 0:
            continue
        middle = known[known.size // 2]
        x, y = float(east[middle]), float(north[middle])
        for kind, at_x, at_y, numbers in groups:
            if kind == segment.kind and np.hypot(x - at_x, y - at_y) < near_m:
                numbers.append(index + 1)
                break
        else:
            groups.append((segment.kind, x, y, [index + 1]))
    middle_m = float(np.nanmax(track.east_m) + np.nanmin(track.east_m)) / 2
    return [number_note(x, y, numbers, 1 if x < middle_m else -1) for _, x, y, numbers in groups]


def number_note(x: float, y: float, numbers: list[int], inward: int) -> dict[str, Any]:
    """Numbers beside a place. `inward` is the side the label stands at: right (1) or left (-1), towards the middle,
    where there is room."""
    text = ", ".join(map(str, numbers[:4])) + (f" +{len(numbers) - 4}" if len(numbers) > 4 else "")
    return {
        "text": f"<b>{text}</b>",
        "x": x,
        "y": y,
        "showarrow": False,
        "font": {"size": 11, "color": INK},
        "bgcolor": PAPER,
        "bordercolor": SOFT_INK,
        "borderwidth": 1,
        "borderpad": 1,
        "xanchor": "left" if inward > 0 else "right",
        "xshift": 8 * inward,
        "yshift": 9,
    }


def _ends(track: Course) -> list[dict[str, Any]]:
    known = np.flatnonzero(np.isfinite(track.east_m))
    first, last = int(known[0]), int(known[-1])
    apart_m = np.hypot(track.east_m[last] - track.east_m[first], track.north_m[last] - track.north_m[first])
    if apart_m < 0.04 * track.size_m:
        return [_end(track, "Start and end", first, "diamond", "bottom center")]
    return [
        _end(track, "Start", first, "triangle-up", "top center"),
        _end(track, "End", last, "square", "bottom center"),
    ]


def _end(track: Course, name: str, at: int, symbol: str, place: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers+text",
        "x": [float(track.east_m[at])],
        "y": [float(track.north_m[at])],
        "text": [name],
        "textposition": place,
        "textfont": {"size": 12, "color": INK},
        "name": name,
        "marker": {"symbol": symbol, "size": 12, "color": PAPER, "line": {"color": INK, "width": 2}},
        "hovertemplate": f"{name}, {clock(float(track.t_s[at]))}<extra></extra>",
        "cliponaxis": False,
    }


def frame(
    track: Course, display: Display, touch: bool, notes: list[dict[str, Any]], right_px: int
) -> dict[str, Any]:  # fmt: skip
    """Equal scale on both axes, a scale bar and north, no grid: only places relative to each other mean something."""
    low_x, high_x = float(np.nanmin(track.east_m)), float(np.nanmax(track.east_m))
    low_y, high_y = float(np.nanmin(track.north_m)), float(np.nanmax(track.north_m))
    size = track.size_m
    pad = 0.09 * size
    unit_m, unit = (
        (display.long_distance_m(), display.distance_unit)
        if size > 3 * display.long_distance_m()
        else (display.short_distance_m(), display.short_distance_unit)
    )
    length = round_length(max(high_x - low_x, 0.5 * size) / 4 / unit_m)
    x0, y0 = low_x, low_y - pad
    bar = {
        "type": "line", "x0": x0, "x1": x0 + length * unit_m, "y0": y0, "y1": y0, "line": {"color": INK, "width": 3}
    }  # fmt: skip
    words = {"showarrow": False, "font": {"size": 11, "color": INK}}
    notes = [
        *notes,
        {**words, "text": f"{length:g} {unit}", "x": x0, "y": y0, "xanchor": "left", "yanchor": "top", "yshift": -3},
        {**words, "text": "<b>N</b><br>↑", "xref": "paper", "yref": "paper", "x": 1, "y": 1, "xanchor": "right",
         "yanchor": "top", "font": {"size": 13, "color": INK}},
    ]  # fmt: skip
    hidden = {"visible": False, "showgrid": False, "zeroline": False, "fixedrange": touch}
    return {
        **base_layout(HEIGHT_PX),
        "xaxis": {**hidden, "range": [low_x - pad, high_x + pad], "constrain": "domain"},
        "yaxis": {
            **hidden,
            "range": [low_y - 2 * pad, high_y + pad],
            "scaleanchor": "x",
            "scaleratio": 1,
            "constrain": "domain",
        },
        "margin": {"l": 10, "r": right_px, "t": 10, "b": 10},
        "shapes": [bar],
        "annotations": notes,
        "hovermode": "closest",
        "dragmode": False if touch else "pan",
    }
