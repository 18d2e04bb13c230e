"""The stacked picture of a ride against elapsed time.

The heat of the ride first: coolant with the thresholds, the boiling band and where it would settle; the heat ledger;
and the course strip with the map in use, the notes and the doubtful data. Below it what the heat came from: speed,
throttle with power (or engine speed), terrain drag. One x axis for all, in seconds from the first sample, labelled
h:mm:ss under the strip and at the foot. Holes in the log stay open and are marked. Panels without data are left out;
`absent_panels` says which and why.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import plotly.graph_objects as go

from ridelog.advice import Advice
from ridelog.bike import Bike
from ridelog.figures import heat_panels, note_marks, quality_marks, stack_panels
from ridelog.figures.course_strip import MAP_LANE, STRETCH_LANE, strip_traces
from ridelog.figures.margin_labels import labels, width_px
from ridelog.figures.series import RideLines
from ridelog.figures.stack_panels import Draft, Panel, View
from ridelog.figures.theme import INK, KIND_STYLES, NO_DATA, PAPER, SOFT_INK, axis, base_layout, drawn, faint
from ridelog.intervals import Interval
from ridelog.results import Analysis
from ridelog.words import figures as said
from ridelog.words.display import METRIC, Display, time_ticks

if TYPE_CHECKING:
    from ridelog.analyze_heat_use import WhatIfAlong

__all__ = ["POINTS", "View", "absent_panels", "ride_stack", "whole"]

POINTS = 1600
"""Points a line and view: about two a pixel column of a wide screen."""

_GAP_PX = 42
_UNDER_STRIP_PX = 14
"""More room under the strip, for the times."""
_TOP_PX = 26
_BOTTOM_PX = 34
HEIGHT_PX = {"coolant": 250, "heat": 184, "strip": 64, "speed": 84, "throttle": 84, "drag": 76}
LANE_PX = 24
"""The lane of notes and that of doubtful data, on the strip of a ride that has some."""
_NEEDS = {
    "coolant": stack_panels.COOLANT_NAMES,
    "heat": heat_panels.HEAT_NAMES,
    "speed": stack_panels.SPEED_NAMES,
    "throttle": stack_panels.THROTTLE_NAMES,
    "drag": stack_panels.DRAG_NAMES,
}


def whole(analysis: Analysis, *, touch: bool = False) -> View:
    """The view of the whole ride."""
    return View(0.0, max(analysis.ride.duration_s, 1.0), touch=touch)


def ride_stack(
    analysis: Analysis,
    lines: RideLines,
    bike: Bike | None,
    advice: Advice | None = None,
    *,
    view: View | None = None,
    display: Display = METRIC,
    points: int = POINTS,
    dark: bool = False,
    what_if: WhatIfAlong | None = None,
) -> go.Figure:
    """The picture of one view of the ride. `points` bounds what each line may hold (see downsample); `what_if` is drawn
    beside the coolant."""
    shown = view or whole(analysis)
    names = [name for name in HEIGHT_PX if name == "strip" or lines.first(*_NEEDS[name])]
    lanes = [name for name, found in (("Note", analysis.notes), ("Doubt", analysis.quality)) if found]
    panels, height = _panels(names, lines, display, lanes)
    draft = Draft(lines, shown, display, points, layout=base_layout(height))
    for panel in panels.values():
        draft.notes.append(_title(panel))
        draft.layout[panel.layout_key] = axis(
            domain=[panel.bottom, panel.top],
            anchor="x",
            fixedrange=True,
            showline=False,
            nticks=max(5, panel.height_px // 32),
        )
    if "coolant" in panels:
        heat_panels.settle_band(draft, panels["coolant"])
        stack_panels.coolant(draft, panels["coolant"], bike, analysis.boiling)
        heat_panels.settle_line(draft, panels["coolant"])
        heat_panels.estimated(draft, panels["coolant"])
        if what_if is not None:
            heat_panels.what_if(draft, panels["coolant"], what_if)
    if "heat" in panels:
        heat_panels.ledger(draft, panels["heat"])
    if "speed" in panels:
        stack_panels.speed(draft, panels["speed"])
    if "throttle" in panels:
        stack_panels.throttle(draft, panels["throttle"])
    if "drag" in panels:
        stack_panels.drag(draft, panels["drag"], advice)
    _strip(draft, panels["strip"], analysis, lanes)
    _time_axis(draft, panels["strip"])
    tints = [*_stretch_shapes(analysis, shown), *_gap_shapes(analysis, shown)]
    _place_labels(draft, panels)
    texts = [text for wanted in draft.labels.values() for _, text in wanted]
    left, right = (46, max(30, width_px(texts))) if shown.touch else (54, max(50, width_px(texts)))
    draft.layout.update(
        margin={"l": left, "r": right, "t": _TOP_PX, "b": _BOTTOM_PX}, hovermode="x unified", hoversubplots="axis",
        hoverdistance=30, barmode="overlay", dragmode=False if shown.touch else "zoom",
        shapes=[*tints, *draft.shapes], annotations=draft.notes,
    )  # fmt: skip
    return drawn(draft.data, draft.layout, dark=dark)


def absent_panels(analysis: Analysis, lines: RideLines) -> list[str]:
    """A sentence for each panel that is not drawn, with the reason the analysis gives where it gives one."""
    sentences = []
    for name in said.PANELS:
        if lines.first(*_NEEDS[name]):
            continue
        about = {"drag": "heavy_drag", "heat": "heat"}.get(name)
        told = [item.reason for item in analysis.cannot_tell if item.question == about]
        sentences.append(said.absent(name, told))
    return sentences


def _panels(names: list[str], lines: RideLines, display: Display, lanes: list[str]) -> tuple[dict[str, Panel], int]:
    """Panels by name from top to bottom, and the height of the figure in pixels."""
    titles = {
        "coolant": said.coolant_title(display),
        "heat": heat_panels.title(display),
        "speed": said.speed_title(display),
        "throttle": stack_panels.throttle_title(lines),
        "drag": said.DRAG_TITLE,
        "strip": said.STRIP_TITLE,
    }
    heights = HEIGHT_PX | {"strip": HEIGHT_PX["strip"] + LANE_PX * len(lanes)}
    gaps = [_GAP_PX + (_UNDER_STRIP_PX if name == "strip" else 0) for name in names]
    inner = sum(heights[name] for name in names) + sum(gaps[:-1])
    panels: dict[str, Panel] = {}
    top = float(inner)
    for number, name in enumerate(names):
        bottom = top - heights[name]
        y_axis = "y" if number == 0 else f"y{number + 1}"
        panels[name] = Panel(titles[name], y_axis, max(0.0, bottom / inner), top / inner, heights[name])
        top = bottom - gaps[number]
    return panels, inner + _TOP_PX + _BOTTOM_PX


def _title(panel: Panel) -> dict[str, Any]:
    return {
        "text": f"<b>{panel.title}</b>", "xref": "paper", "yref": "paper", "x": 0, "y": panel.top, "xanchor": "left",
        "yanchor": "bottom", "showarrow": False, "font": {"size": 12, "color": INK}, "yshift": 3,
        "bgcolor": faint(PAPER, 0.85), "borderpad": 0,  # the outline of a chosen stretch runs through here
    }  # fmt: skip


def _place_labels(draft: Draft, panels: dict[str, Panel]) -> None:
    for panel in panels.values():
        wanted = draft.labels.get(panel.y_axis)
        if wanted:
            low, high = draft.layout[panel.layout_key]["range"]
            shapes, notes = labels(wanted, panel.y_axis, low, high, panel.height_px)
            draft.shapes.extend(shapes)
            draft.notes.extend(notes)


def _strip(draft: Draft, panel: Panel, analysis: Analysis, lanes: list[str]) -> None:
    draft.data.extend(
        strip_traces(analysis, draft.lines.traces, panel.axes, Interval(draft.view.start_s, draft.view.end_s))
    )
    draft.layout[panel.layout_key].update(
        range=[-0.5, 1.55 + len(lanes)], tickvals=[MAP_LANE, STRETCH_LANE, *(2.0 + n for n in range(len(lanes)))],
        ticktext=["Map", "Stretch", *lanes], showgrid=False,
    )  # fmt: skip
    draft.notes.extend(_numbers(analysis, draft.view, panel))
    if analysis.notes:
        found = note_marks.marks(analysis.notes, draft.view)
        draft.data.append(note_marks.trace(found, panel.axes))
        draft.notes.extend(note_marks.labels(found, panel.y_axis))
        draft.shapes.extend(note_marks.lines(found, 0.0))
    if analysis.quality:
        doubts = quality_marks.doubts(analysis.quality, draft.view)
        draft.data.append(quality_marks.trace(doubts, draft.view, 2.0 + lanes.index("Doubt"), panel.axes))


def _time_axis(draft: Draft, strip: Panel) -> None:
    """Times under the strip, where the heat ledger ends, and once more at the foot of what stands below."""
    view = draft.view
    values, labels = time_ticks(view.start_s, view.end_s, 5 if view.touch else 9)
    draft.layout["xaxis"] = axis(
        anchor=strip.y_axis, range=[view.start_s, view.end_s], tickvals=values, ticktext=labels, ticks="outside",
        ticklen=4, tickcolor=SOFT_INK, showspikes=True, spikemode="across", spikesnap="cursor", spikethickness=1,
        spikedash="solid", spikecolor=SOFT_INK, unifiedhovertitle={"text": said.AT_THIS_MOMENT}, fixedrange=view.touch,
    )  # fmt: skip
    if strip.bottom > 0.0:
        draft.notes.extend(
            {
                "text": text, "xref": "x", "x": value, "yref": "paper", "y": 0, "yanchor": "top", "yshift": -4,
                "showarrow": False, "font": {"size": 11, "color": SOFT_INK}, "borderpad": 0,
            }
            for value, text in zip(values, labels, strict=True)
        )  # fmt: skip


def _stretch_shapes(analysis: Analysis, view: View) -> list[dict[str, Any]]:
    """A tint behind all panels where a stretch is flagged; the selected one is outlined."""
    shapes = []
    for index, segment in enumerate(analysis.segments):
        if segment.end_s < view.start_s or segment.start_s > view.end_s:
            continue
        chosen = index == view.selected
        shapes.append(
            {
                "type": "rect", "xref": "x", "x0": segment.start_s, "x1": segment.end_s, "yref": "paper", "y0": 0,
                "y1": 1, "layer": "below", "fillcolor": faint(KIND_STYLES[segment.kind].color, 0.17),
                "line": {"color": INK, "width": 2.5 if chosen else 0},
            }
        )  # fmt: skip
    return shapes


def _gap_shapes(analysis: Analysis, view: View) -> list[dict[str, Any]]:
    """A grey block where the log has no sample at all, with words where they fit."""
    shapes = []
    for start, end in analysis.ride.gaps:
        if end < view.start_s or start > view.end_s:
            continue
        shape: dict[str, Any] = {
            "type": "rect", "xref": "x", "x0": start, "x1": end, "yref": "paper", "y0": 0, "y1": 1, "layer": "below",
            "fillcolor": NO_DATA, "line": {"color": SOFT_INK, "width": 0.5, "dash": "dot"},
        }  # fmt: skip
        if end - start > 0.025 * view.span_s:
            words = {"size": 11, "color": SOFT_INK}
            shape["label"] = {"text": "no data", "textangle": -90, "font": words, "textposition": "middle center"}
        shapes.append(shape)
    return shapes


def _numbers(analysis: Analysis, view: View, panel: Panel) -> list[dict[str, Any]]:
    """The stretch numbers of the table, on the strip, where they fit beside each other."""
    notes: list[dict[str, Any]] = []
    least_apart = view.span_s * (0.06 if view.touch else 0.022)
    last = -np.inf
    for index, segment in enumerate(analysis.segments):
        start, end = max(segment.start_s, view.start_s), min(segment.end_s, view.end_s)
        middle = (start + end) / 2
        if end <= start or (middle - last < least_apart and index != view.selected):
            continue
        last = middle
        notes.append(
            {
                "text": f"<b>{index + 1}</b>", "xref": "x", "x": middle, "yref": panel.y_axis, "y": STRETCH_LANE,
                "showarrow": False, "font": {"size": 11, "color": INK}, "bgcolor": PAPER, "opacity": 0.92,
                "borderpad": 1,
            }
        )  # fmt: skip
    return notes
