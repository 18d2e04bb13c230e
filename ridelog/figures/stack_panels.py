"""The panels of the stacked picture, one function each. They draw into a `Draft`; ride_stack puts it together."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ridelog.advice import Advice
from ridelog.bike import DEFAULT_THRESHOLDS_C, Bike
from ridelog.figures.margin_labels import shortened
from ridelog.figures.series import Line, RideLines
from ridelog.figures.theme import INK, OKABE_ITO, SOFT_INK, axis
from ridelog.results import Boiling
from ridelog.words import figures as said
from ridelog.words.display import Display, clock

COOLANT_NAMES = ("coolant_c", "coolant_estimated_c")
SPEED_NAMES = ("speed_mps", "gps_speed_mps", "wheel_speed_mps")
WORK_NAMES = ("power_w", "engine_rpm")
THROTTLE_NAMES = ("throttle_pct", *WORK_NAMES)
DRAG_NAMES = ("drag_coefficient",)

_SECOND_AXIS = "y9"


@dataclass(frozen=True)
class View:
    """What part of a ride is shown. `selected` is the index of the stretch to outline, None for none.

    `touch`: on a touch screen a finger must scroll the page, not draw a zoom box; labels stand further apart.
    `what_if`: the same ride on the conservative map, where advised, is drawn beside it.
    """

    start_s: float
    end_s: float
    selected: int | None = None
    touch: bool = False
    what_if: bool = False

    @property
    def span_s(self) -> float:
        """Seconds shown."""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Panel:
    """One panel: its words, its y axis, where it stands as a share of the plotting height, and its own height."""

    title: str
    y_axis: str
    bottom: float
    top: float
    height_px: int

    @property
    def axes(self) -> dict[str, str]:
        """The axes of a trace in this panel."""
        return {"xaxis": "x", "yaxis": self.y_axis}

    @property
    def layout_key(self) -> str:
        """Name of the y axis in a layout."""
        return "yaxis" + self.y_axis[1:]


@dataclass
class Draft:
    """A figure being drawn: what it is drawn from, and what has been drawn so far."""

    lines: RideLines
    view: View
    display: Display
    points: int
    data: list[dict[str, Any]] = field(default_factory=list)
    layout: dict[str, Any] = field(default_factory=dict)
    shapes: list[dict[str, Any]] = field(default_factory=list)
    notes: list[dict[str, Any]] = field(default_factory=list)
    labels: dict[str, list[tuple[float, str]]] = field(default_factory=dict)
    timed: bool = False

    def line(self, panel: Panel, source: Line, scale: tuple[float, float] = (1.0, 0.0), **more: Any) -> dict[str, Any]:
        """Add one line of a panel, thinned for the view. `scale` is factor and offset to the shown unit."""
        t, y = source.view(self.view.start_s, self.view.end_s, self.points)
        trace = {
            "type": "scatter",
            "mode": "lines",
            # float32 halves what travels; 10 h in seconds still resolve to 4 ms, a temperature to 1e-5
            "x": t.astype(np.float32),
            "y": (y * scale[0] + scale[1]).astype(np.float32),
            "connectgaps": False,
            **panel.axes,
            **more,
        }
        if not self.timed:
            self.timed = True
            # the readout of all panels is led by its first line, which therefore tells the time
            trace["customdata"] = [clock(at) for at in trace["x"].tolist()]
            trace["hovertemplate"] = f"<b>%{{customdata}}</b>  {trace['hovertemplate']}"
        self.data.append(trace)
        return trace

    def level(self, panel: Panel, value: float, dash: str, text: str) -> None:
        """A level across a panel with its words beside the plot."""
        self.shapes.append(
            {
                "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": panel.y_axis, "y0": value, "y1": value,
                "layer": "below", "line": {"color": SOFT_INK, "width": 1, "dash": dash},
            }
        )  # fmt: skip
        self.label(panel, value, text)

    def label(self, panel: Panel, value: float, text: str) -> None:
        """Words for a level of a panel, beside the plot; they find their places when all are known."""
        self.labels.setdefault(panel.y_axis, []).append((value, text))


def coolant(draft: Draft, panel: Panel, bike: Bike | None, boiling: Boiling | None) -> None:
    """Coolant with the bike's thresholds and the band in which it would boil. Where it was not logged at all, levels
    alone: what is estimated comes on top."""
    line = draft.lines.get("coolant_c")
    factor, offset = draft.display.temperature_scale()
    if line is not None:
        draft.line(
            panel, line, (factor, offset), name="coolant", line={"color": INK, "width": 2},
            hovertemplate=f"coolant %{{y:.1f}} {draft.display.temperature_unit}<extra></extra>",
        )  # fmt: skip
    thresholds = bike.thresholds if bike else DEFAULT_THRESHOLDS_C
    known = [found for name in COOLANT_NAMES if (shown := draft.lines.get(name)) and (found := shown.low_high())]
    low, high = min((a for a, _ in known), default=20.0), max((b for _, b in known), default=100.0)
    top = max(high, *(value for _, value in thresholds)) + 7
    if boiling:
        top = max(top, boiling.vented_c + 5)
        _boiling_band(draft, panel, boiling)
    dashes = ("dot", "dash", "longdash", "dashdot", "solid")
    for number, (name, value_c) in enumerate(thresholds):
        value = value_c * factor + offset
        draft.level(panel, value, dashes[min(number, 4)], shortened(name, f"{value:.0f}"))
    draft.layout[panel.layout_key]["range"] = [(low - 4) * factor + offset, top * factor + offset]


def _boiling_band(draft: Draft, panel: Panel, boiling: Boiling) -> None:
    vented, sealed = draft.display.temperature(boiling.vented_c), draft.display.temperature(boiling.sealed_c)
    draft.shapes.append(
        {
            "type": "rect", "xref": "paper", "x0": 0, "x1": 1, "yref": panel.y_axis, "y0": vented, "y1": sealed,
            "layer": "below", "fillcolor": OKABE_ITO["vermillion"], "opacity": 0.13, "line": {"width": 0},
        }
    )  # fmt: skip
    draft.label(panel, vented, f"boils ≥ {vented:.0f}")


def speed(draft: Draft, panel: Panel) -> None:
    """Ground speed; the wheel's where there is no other."""
    found = draft.lines.first(*SPEED_NAMES)
    if found is None:
        return
    factor = draft.display.speed_factor()
    draft.line(
        panel, found[1], (factor, 0.0), name="speed", line={"color": INK, "width": 1.3},
        hovertemplate=f"speed %{{y:.0f}} {draft.display.speed_unit}<extra></extra>",
    )  # fmt: skip
    draft.layout[panel.layout_key]["range"] = [v * factor for v in _from_zero(found[1], 3.0)]


def throttle(draft: Draft, panel: Panel) -> None:
    """Throttle, with power (or engine speed) dotted on an axis of its own at the right."""
    opening = draft.lines.get("throttle_pct")
    if opening is not None:
        draft.line(
            panel, opening, name="throttle", line={"color": SOFT_INK, "width": 1.1},
            hovertemplate="throttle %{y:.0f} %<extra></extra>",
        )  # fmt: skip
        draft.layout[panel.layout_key].update(range=[-3, 106], tickvals=[0, 50, 100])
    work = draft.lines.first(*WORK_NAMES)
    if work is None:
        return
    name, line = work
    factor = 1e-3 if name == "power_w" else 1.0
    trace = draft.line(
        panel, line, (factor, 0.0), name="power" if name == "power_w" else "engine speed",
        line={"color": OKABE_ITO["blue"], "width": 1.3, "dash": "solid" if opening is None else "dot"},
        hovertemplate=("power %{y:.1f} kW" if name == "power_w" else "engine %{y:,.0f} 1/min") + "<extra></extra>",
    )  # fmt: skip
    span = [value * factor for value in _from_zero(line, 1.0)]
    if opening is None:
        draft.layout[panel.layout_key]["range"] = span
        return
    trace["yaxis"] = _SECOND_AXIS
    draft.layout["yaxis9"] = axis(
        overlaying=panel.y_axis, side="right", anchor="x", range=span, fixedrange=True, nticks=4, tickmode="auto",
        showgrid=False, tickfont={"size": 11, "color": OKABE_ITO["blue"]}, showline=False,
    )  # fmt: skip


def throttle_title(lines: RideLines) -> str:
    """What the throttle panel shows of this ride."""
    work = lines.first(*WORK_NAMES)
    return said.throttle_title(throttle=lines.get("throttle_pct") is not None, work=work and work[0])


def drag(draft: Draft, panel: Panel, advice: Advice | None) -> None:
    """Terrain drag over weight with the level of the sheet's rule."""
    line = draft.lines.get("drag_coefficient")
    if line is None:
        return
    draft.line(
        panel, line, name="terrain drag", line={"color": INK, "width": 1.5},
        hovertemplate=said.DRAG_AT,
    )  # fmt: skip
    high = (line.low_high() or (0.0, 0.3))[1]
    if advice is not None and advice.rule("heavy_drag").map != "none":
        level = advice.rule("heavy_drag").level("min_drag_coefficient")
        draft.level(panel, level, "dash", said.drag_level(level))
        high = max(high, level)
    # a burst of wheelspin can read far above any ground; it must not press the rest flat
    draft.layout[panel.layout_key]["range"] = [-0.02, 1.1 * min(high, 0.6)]


def _from_zero(line: Line, least: float) -> list[float]:
    """Axis range of a whole line from zero, so that a zoom keeps the scale."""
    high = max((line.low_high() or (0.0, least))[1], least)
    return [0.0, 1.06 * high]
