"""Colours, patterns and type of every figure.

Colours are the eight of Okabe & Ito, "Color Universal Design" (University of Tokyo, 2008), made to stay apart for
people with any common kind of colour blindness. Colour is kept for causes: traces are drawn in ink, a coloured area
names why a stretch was flagged or whether heat came in or went out, and each has a pattern and words or a number as
well, so that a black-and-white print says the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import plotly.graph_objects as go

OKABE_ITO: dict[str, str] = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky blue": "#56B4E9",
    "bluish green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermillion": "#D55E00",
    "reddish purple": "#CC79A7",
}

INK = "#1d2733"
SOFT_INK = "#5a6672"
GRID = "#e4e2dc"
PAPER = "#ffffff"
NO_DATA = "#ece9e2"
LABEL_PX = 11
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', 'DejaVu Sans', sans-serif"


@dataclass(frozen=True)
class KindStyle:
    """How one kind of stretch is drawn: fill, and pattern of its bar (on the map a number stands beside the line)."""

    color: str
    pattern: str


KIND_STYLES: dict[str, KindStyle] = {
    "heavy_drag": KindStyle(OKABE_ITO["orange"], "."),
    "wide_open": KindStyle(OKABE_ITO["vermillion"], "/"),
    "high_speed": KindStyle(OKABE_ITO["blue"], "-"),
    "slow_climb": KindStyle(OKABE_ITO["reddish purple"], "\\"),
    "standstill": KindStyle(OKABE_ITO["sky blue"], "|"),
    "heat_only": KindStyle(OKABE_ITO["yellow"], "x"),
}

CONSERVATIVE = OKABE_ITO["bluish green"]
STANDARD = "#b9bec4"
HEAT_IN, HEAT_OUT = OKABE_ITO["vermillion"], OKABE_ITO["blue"]
"""The ledger's two areas; which is which also shows by side, by hatching and by words."""
DOUBT = "#d9d5cb"
"""Doubtful data: no colour of its own, since colour is kept for causes; the crossing lines tell it."""
COOLANT_SCALE = "Cividis"
"""Cividis: Nuñez, Anderton & Renslow, PLoS ONE 13(7), 2018; one lightness ramp, the same for all kinds of sight."""


DARK: dict[str, str] = {
    INK: "#e9ebee",
    SOFT_INK: "#b3bcc5",
    GRID: "#343c44",
    PAPER: "#1a2026",
    NO_DATA: "#2b323a",
    STANDARD: "#76818c",
    DOUBT: "#4a545e",
    OKABE_ITO["blue"]: "#4aa5e0",
}
"""What a page on dark ground puts in place of these; the other colours stand on both."""


CHECKED = False
"""Whether every property of a figure is held against the plotting library's own rules, which takes as long as all the
rest of it. The tests set this, so that no figure reaches anybody that would not pass."""


def drawn(data: list[dict[str, Any]], layout: dict[str, Any], *, dark: bool = False) -> go.Figure:
    """A figure of its parts. On dark ground the colours of DARK change places: a picture is made of this module's
    colours only, so that it can be dressed anew as a whole."""
    if dark:
        data, layout = _dressed(data), _dressed(layout)
    return go.Figure({"data": data, "layout": layout}, _validate=CHECKED)


def _dressed(part: Any) -> Any:
    if isinstance(part, dict):
        return {key: _dressed(value) for key, value in part.items()}
    if isinstance(part, list):
        return [_dressed(value) for value in part]
    if not isinstance(part, str):
        return part
    if part in DARK:
        return DARK[part]
    if part.startswith("rgba("):
        return _FAINT.get(part.rpartition(",")[0], part.rpartition(",")[0]) + "," + part.rpartition(",")[2]
    return part


_AXIS: dict[str, Any] = {"automargin": True, "title": {"standoff": 15}}
_TEMPLATE: dict[str, Any] = {
    "layout": {"autotypenumbers": "strict", "hoverlabel": {"align": "left"}, "xaxis": _AXIS, "yaxis": _AXIS},
    "data": {
        "bar": [{"type": "bar", "marker": {"pattern": {"fillmode": "overlay"}}}],
        "scatter": [{"type": "scatter", "fillpattern": {"fillmode": "overlay"}}],
    },
}
"""What these figures need of the plotting library's own template, which is 7 kB a figure and is put in where there is
none."""


def base_layout(height_px: int) -> dict[str, Any]:
    """What all figures share."""
    return {
        "template": _TEMPLATE,
        "height": height_px,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": FONT, "size": 12, "color": INK},
        "hoverlabel": {"bgcolor": PAPER, "bordercolor": SOFT_INK, "font": {"size": 12, "color": INK, "family": FONT}},
        "showlegend": False,
        "autosize": True,
    }


def faint(color: str, share: float) -> str:
    """A colour `#rrggbb` let through by `share` (0..1), so that an outline beside it stays full."""
    red, green, blue = (int(color[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},{share:g})"


_FAINT = {faint(light, 1.0).rpartition(",")[0]: faint(dark, 1.0).rpartition(",")[0] for light, dark in DARK.items()}


def axis(**more: Any) -> dict[str, Any]:
    """An axis in the house style."""
    return {
        "gridcolor": GRID,
        "linecolor": SOFT_INK,
        "zeroline": False,
        "tickfont": {"size": 11, "color": SOFT_INK},
        "ticks": "",
        **more,
    }


GRAPH_CONFIG: dict[str, Any] = {
    "displayModeBar": False,
    "displaylogo": False,
    "responsive": True,
    "scrollZoom": False,
    "doubleClick": False,
    "showTips": False,
}
"""Shared by page and report: buttons of the page do the zooming, and no button leads to another host."""
