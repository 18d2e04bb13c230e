"""The heat ledger of the stacked picture, and what the heat balance adds to the coolant: where it would settle, and
what it will have been where the sensor was silent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ridelog.constants import ASSUMED_CAPACITY_KJ_PER_K
from ridelog.figures.series import Line
from ridelog.figures.stack_panels import Draft, Panel
from ridelog.figures.theme import CONSERVATIVE, HEAT_IN, HEAT_OUT, INK, PAPER, SOFT_INK, axis, faint
from ridelog.results import FloatArray
from ridelog.words import figures as said
from ridelog.words.display import Display

if TYPE_CHECKING:
    from ridelog.analyze_heat_use import WhatIfAlong

HEAT_NAMES = ("heat_in_kps",)
BAND_POINTS = 500
LEDGER_BINS = 420
"""Columns of the ledger: each is a mean, so that a column's height times its width is the heat that flowed."""

_KW_AXIS = "y10"
_SETTLE_HEADROOM_C = 25.0


def title(display: Display) -> str:
    """What the ledger shows, with the capacity its kW rest on."""
    rate = "°F/s" if display.name == "imperial" else "K/s"
    return said.heat_title(rate, ASSUMED_CAPACITY_KJ_PER_K)


def ledger(draft: Draft, panel: Panel) -> None:
    """Heat in as an area above the line, heat out as one below it, on one scale, with kW at the right."""
    flows = {name: draft.lines.get(name) for name in ("heat_in_kps", "heat_out_kps")}
    scale = draft.display.temperature_scale()[0]
    rate = "°F/s" if draft.display.name == "imperial" else "K/s"
    span = 0.05
    for name, sign, words, color, pattern in (
        ("heat_in_kps", 1.0, "heat in", HEAT_IN, "/"),
        ("heat_out_kps", -1.0, "heat out", HEAT_OUT, "\\"),
    ):
        line = flows[name]
        if line is None:
            continue
        span = max(span, _tall(line))
        t, y = _binned(line, draft.view.start_s, draft.view.end_s)
        shown = sign * y * scale
        draft.data.append(
            {
                **_polygons(t, np.zeros(t.size), shown), **panel.axes, "name": words, "hoverinfo": "skip",
                "fillcolor": faint(color, 0.55),
                "fillpattern": {"shape": pattern, "fgcolor": color, "solidity": 0.25, "size": 6},
            }
        )  # fmt: skip
        kw = y * ASSUMED_CAPACITY_KJ_PER_K
        draft.data.append(
            {
                "type": "scatter", "mode": "lines", "x": t.astype(np.float32), "y": shown.astype(np.float32),
                "connectgaps": False, "name": words, "line": {"color": color, "width": 1.2, "shape": "hvh"},
                "text": [f"{abs(v) * scale:.2f} {rate}, {w:.1f} kW" if np.isfinite(v) else "" for v, w in zip(
                    y.tolist(), kw.tolist(), strict=True)],
                "hovertemplate": f"{words} %{{text}}<extra></extra>", **panel.axes,
            }
        )  # fmt: skip
    draft.layout[panel.layout_key].update(range=[-1.08 * span * scale, 1.08 * span * scale], zeroline=True,
                                          zerolinecolor=INK, zerolinewidth=1, tickformat=".2~f")  # fmt: skip
    _kilowatts(draft, panel, 1.08 * span * ASSUMED_CAPACITY_KJ_PER_K)
    for value, words in ((0.55 * span, "in"), (-0.55 * span, "out")):
        draft.notes.append(
            {
                "text": f"<b>{words}</b>", "xref": "paper", "x": 0, "xanchor": "left", "xshift": 4,
                "yref": panel.y_axis, "y": value * scale, "showarrow": False, "font": {"size": 11, "color": INK},
                "bgcolor": faint(PAPER, 0.75), "borderpad": 1,
            }
        )  # fmt: skip


def _kilowatts(draft: Draft, panel: Panel, span_kw: float) -> None:
    """The right-hand axis. Plotly draws an axis only where a trace uses it, so one point out of sight does."""
    draft.data.append(
        {
            "type": "scatter", "mode": "markers", "x": [draft.view.start_s], "y": [0.0], "xaxis": "x",
            "yaxis": _KW_AXIS, "marker": {"size": 1, "opacity": 0}, "hoverinfo": "skip", "name": "kW",
        }
    )  # fmt: skip
    step = next((s for s in (1, 2, 5, 10, 20, 50, 100) if span_kw / s < 2.5), 100)
    ticks = [float(n * step) for n in range(-int(span_kw / step), int(span_kw / step) + 1)]
    draft.layout["yaxis10"] = axis(
        overlaying=panel.y_axis, side="right", anchor="x", range=[-span_kw, span_kw], fixedrange=True, showgrid=False,
        tickvals=ticks, ticktext=[f"{abs(v):g} kW" for v in ticks], showline=False,
    )  # fmt: skip


def _tall(line: Line) -> float:
    """Height of the axis: nearly all of the ride, so that one burst does not press the rest flat."""
    known = line.y[np.isfinite(line.y)]
    return float(np.quantile(known, 0.998)) if known.size else 0.0


def _binned(line: Line, start_s: float, end_s: float) -> tuple[FloatArray, FloatArray]:
    """Means over columns of a view, NaN where nothing is known."""
    first = max(0, int(np.searchsorted(line.t_s, start_s)) - 1)
    past = min(line.t_s.size, int(np.searchsorted(line.t_s, end_s)) + 1)
    t, y = line.t_s[first:past], line.y[first:past]
    size = max(1, -(-t.size // LEDGER_BINS))
    edges = np.arange(0, t.size, size)
    known = np.isfinite(y)
    count = np.add.reduceat(known.astype(np.float64), edges)
    total = np.add.reduceat(np.where(known, y, 0.0), edges)
    with np.errstate(invalid="ignore"):
        mean = np.where(count > 0.5 * np.diff(np.append(edges, t.size)), total / np.maximum(count, 1.0), np.nan)
    middle = np.add.reduceat(t, edges) / np.diff(np.append(edges, t.size))
    return middle, mean


def _polygons(t: FloatArray, low: FloatArray, high: FloatArray) -> dict[str, Any]:
    """The area between two lines as closed shapes, one a piece without holes: plotly's own fill runs over holes."""
    known = np.isfinite(low) & np.isfinite(high)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], known.astype(np.int8), [0]])))
    xs: list[FloatArray] = []
    ys: list[FloatArray] = []
    for first, past in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        xs += [t[first:past], t[first:past][::-1], np.array([np.nan])]
        ys += [high[first:past], low[first:past][::-1], np.array([np.nan])]
    x, y = (np.concatenate(parts) if parts else np.empty(0) for parts in (xs, ys))
    return {
        "type": "scatter", "mode": "lines", "x": x[:-1].astype(np.float32), "y": y[:-1].astype(np.float32),
        "fill": "toself", "line": {"width": 0, "color": INK},
    }  # fmt: skip


def settle_band(draft: Draft, panel: Panel) -> None:
    """Where the coolant would settle, as a band behind everything of its panel."""
    _band(draft, panel, "settle", "settles at, 95 %", faint(SOFT_INK, 0.16))


def settle_line(draft: Draft, panel: Panel) -> None:
    """Where the coolant would settle if the minute went on: a thin dotted line, and words on how to read it."""
    line = draft.lines.get("settle_c")
    if line is None:
        return
    factor, offset = draft.display.temperature_scale()
    draft.line(
        panel, line, (factor, offset), name=said.SETTLES, line={"color": SOFT_INK, "width": 1.3, "dash": "dot"},
        hovertemplate=said.at_value(said.WOULD_SETTLE_AT, draft.display),
    )  # fmt: skip
    known = line.y[np.isfinite(line.y)]
    low, top = draft.layout[panel.layout_key]["range"]
    hottest = (float(np.quantile(known, 0.98)) + 4.0) * factor + offset
    # what would settle far above boiling need not be seen whole; the coolant must stay readable
    draft.layout[panel.layout_key]["range"] = [low, max(top, min(hottest, top + _SETTLE_HEADROOM_C * factor))]


def estimated(draft: Draft, panel: Panel) -> None:
    """Coolant where the sensor was silent and the balance speaks: dashed, with its band."""
    line = draft.lines.get("coolant_estimated_c")
    if line is None:
        return
    _band(draft, panel, "coolant_estimated", said.with_band(said.ESTIMATED), faint(HEAT_OUT, 0.16))
    factor, offset = draft.display.temperature_scale()
    draft.line(
        panel, line, (factor, offset), name=said.ESTIMATED, line={"color": INK, "width": 2, "dash": "dash"},
        hovertemplate=said.at_value(said.ESTIMATED, draft.display),
    )  # fmt: skip


def what_if(draft: Draft, panel: Panel, along: WhatIfAlong) -> None:
    """The same ride on the conservative map where advised, beside what was: coolant dashed and settle temperature
    dotted, both in the map's colour, each with its band."""
    factor, offset = draft.display.temperature_scale()
    hole_s = 1.5 * float(along.t_s[1] - along.t_s[0]) if along.t_s.size > 1 else 1.0
    for told, words, width, dash in (
        (along.settle, said.WOULD_SETTLE, 1.5, "dot"),
        (along.coolant, said.WOULD_BE, 2.2, "dash"),
    ):
        if not np.isfinite(told.value_c).any():
            continue
        low, high, best = (Line(along.t_s, y, hole_s) for y in (told.low_c, told.high_c, told.value_c))
        _band_of(draft, panel, (low, high), said.with_band(words), faint(CONSERVATIVE, 0.2))
        draft.line(
            panel, best, (factor, offset), name=words, line={"color": CONSERVATIVE, "width": width, "dash": dash},
            hovertemplate=said.at_value(words, draft.display),
        )  # fmt: skip


def _band(draft: Draft, panel: Panel, name: str, words: str, color: str) -> None:
    low, high = draft.lines.get(f"{name}_low_c"), draft.lines.get(f"{name}_high_c")
    if low is not None and high is not None:
        _band_of(draft, panel, (low, high), words, color)


def _band_of(draft: Draft, panel: Panel, ends: tuple[Line, Line], words: str, color: str) -> None:
    low, high = ends
    factor, offset = draft.display.temperature_scale()
    t, bottom = _extreme(low, draft.view.start_s, draft.view.end_s, np.fmin)
    _, top = _extreme(high, draft.view.start_s, draft.view.end_s, np.fmax)
    draft.data.append(
        {
            **_polygons(t, bottom * factor + offset, top * factor + offset), **panel.axes, "name": words,
            "hoverinfo": "skip", "fillcolor": color,
        }
    )  # fmt: skip


def _extreme(line: Line, start_s: float, end_s: float, pick: np.ufunc) -> tuple[FloatArray, FloatArray]:
    """A band's edge, thinned: the outermost value of each column, so that a band is never drawn too narrow."""
    first = max(0, int(np.searchsorted(line.t_s, start_s)) - 1)
    past = min(line.t_s.size, int(np.searchsorted(line.t_s, end_s)) + 1)
    t, y = line.t_s[first:past], line.y[first:past]
    edges = np.arange(0, t.size, max(1, -(-t.size // BAND_POINTS)))
    return t[edges], pick.reduceat(y, edges)
