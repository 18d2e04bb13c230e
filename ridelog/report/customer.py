"""The customer's page: what of an analysis and a diagnosis stands on it, as text that is not escaped yet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from ridelog.figures.glance import glance
from ridelog.figures.series import RideLines
from ridelog.intervals import Interval, clip, total_s
from ridelog.report.sentences import shown, zone_of
from ridelog.report.tables import cannot_tell_rows, course_legend
from ridelog.results import Analysis, FloatArray, Traces
from ridelog.ride import Ride, local_start
from ridelog.words import customer as words
from ridelog.words.display import DASH, Display, duration
from ridelog.words.terms import KIND_WORDS, clock

if TYPE_CHECKING:
    from ridelog.diagnose import Diagnosis

MOST_PLACES, MOST_STEPS, MOST_OPEN = 5, 5, 3

TOGETHER_S = 60.0
"""Hot moments less than this apart are one place."""

BEFORE_S = 60.0
"""The coolant is a minute behind the work: what heated it may lie so far before."""

STANDING_MPS = 0.5
MOSTLY = 0.8


@dataclass(frozen=True)
class Page:
    """Everything on the page. `drawing` is SVG."""

    headline: str
    happened: list[str]
    drawing: str
    legend: list[tuple[str, str]]
    where: str
    places: list[tuple[str, ...]]
    more_places: int
    no_places: str
    why: list[str]
    advice: str
    other_map: str | None
    steps: list[str]
    cannot_tell: list[tuple[str, str]]


def page(analysis: Analysis, lines: RideLines, diagnosis: Diagnosis, display: Display) -> Page:
    """The page of a ride."""
    places = hot_places(analysis, lines.ride, lines.traces, display)
    listed = sorted(sorted(places, key=lambda one: -one.hot_s)[:MOST_PLACES], key=lambda one: one.start_s)
    return Page(
        headline=words.headline(analysis, display),
        happened=words.happened(analysis, display),
        drawing=glance(analysis, lines, display=display),
        legend=course_legend(analysis, lines.traces),
        where=words.title_where(analysis, display),
        places=[one.cells for one in listed],
        more_places=len(places) - len(listed),
        no_places=words.no_places(analysis),
        why=words.why(analysis, diagnosis),
        advice=words.ADVICE[diagnosis.advice_followed],
        other_map=words.other_map(analysis, diagnosis, display),
        steps=[shown(step) for step in words.steps(diagnosis, MOST_STEPS)],
        cannot_tell=cannot_tell_rows(analysis)[:MOST_OPEN],
    )


@dataclass(frozen=True)
class Place:
    """A stretch of time above that threshold; `cells` in the columns of words.PLACE_COLUMNS."""

    start_s: float
    hot_s: float
    cells: tuple[str, ...]


def hot_places(analysis: Analysis, ride: Ride, traces: Traces, display: Display) -> list[Place]:
    """Where the coolant was above the threshold whose places are told, in order of time."""
    row = words.place_row(analysis)
    if row is None or "coolant_c" not in traces.series:
        return []
    groups: list[list[Interval]] = []
    for span in traces.hot.get(row.threshold_c, ()):
        if groups and span.start_s - groups[-1][-1].end_s <= TOGETHER_S:
            groups[-1].append(span)
        else:
            groups.append([span])
    scene = _Scene(analysis, ride, traces, _along(traces), display)
    return [_place(group, scene) for group in groups]


@dataclass(frozen=True)
class _Scene:
    """What a place is told by; `along_m` is the way ridden on the grid."""

    analysis: Analysis
    ride: Ride
    traces: Traces
    along_m: FloatArray | None
    display: Display


def _place(spans: list[Interval], scene: _Scene) -> Place:
    traces, along_m, display = scene.traces, scene.along_m, scene.display
    whole = Interval(spans[0].start_s, spans[-1].end_s)
    # A step more on either side: a place may lie between two points of the grid.
    inside = (traces.t_s >= whole.start_s - traces.step_s) & (traces.t_s <= whole.end_s + traces.step_s)
    first = min(int(np.searchsorted(traces.t_s, whole.start_s)), traces.t_s.size - 1)
    peak_c = float(np.nanmax(traces.series["coolant_c"][inside]))
    cells = (
        clock(whole.start_s),
        _time_of_day(scene.ride, whole.start_s),
        words.distance(float(along_m[first]) if along_m is not None else None, display),
        _doing(whole, scene.analysis, traces),
        duration(total_s(spans)),
        display.peak_text(peak_c),
        _map(whole, traces),
    )
    return Place(whole.start_s, total_s(spans), cells)


def _along(traces: Traces) -> FloatArray | None:
    """Metres ridden on the grid; what is not known adds nothing."""
    speed = traces.series.get("speed_mps")
    return None if speed is None else np.cumsum(np.nan_to_num(speed)) * traces.step_s


def _doing(whole: Interval, analysis: Analysis, traces: Traces) -> str:
    """The stretch that heated it: the one with most time from a minute before to the end."""
    reach = Interval(whole.start_s - BEFORE_S, whole.end_s)
    rpm = traces.series.get("engine_rpm")
    inside = (traces.t_s >= whole.start_s) & (traces.t_s <= whole.end_s)
    if rpm is not None and np.isfinite(rpm[inside]).any() and float(np.nanmax(rpm[inside])) <= 0.0:
        return words.ENGINE_OFF
    best = max(
        analysis.segments,
        key=lambda one: total_s(clip([Interval(one.start_s, one.end_s)], reach.start_s, reach.end_s)),
        default=None,
    )
    if best is not None and best.start_s < reach.end_s and best.end_s > reach.start_s:
        return KIND_WORDS[best.kind] if best.end_s > whole.start_s else words.after(KIND_WORDS[best.kind])
    speed = traces.series.get("speed_mps")
    known = speed[inside] if speed is not None else np.empty(0)
    known = known[np.isfinite(known)]
    if known.size and float(np.median(known)) < STANDING_MPS:
        return words.STANDING
    return words.NO_STRETCH


def _map(whole: Interval, traces: Traces) -> str:
    used = traces.series.get("map_conservative")
    if used is None:
        return words.MAP_UNKNOWN
    inside = used[(traces.t_s >= whole.start_s - BEFORE_S) & (traces.t_s <= whole.end_s)]
    known = inside[np.isfinite(inside)]
    if known.size < MOSTLY * inside.size or not known.size:
        return words.MAP_UNKNOWN
    share = float(known.mean())
    if share >= MOSTLY:
        return words.MAP_CONSERVATIVE
    return words.MAP_STANDARD if share <= 1.0 - MOSTLY else words.MAP_BOTH


def _time_of_day(ride: Ride, t_s: float) -> str:
    """The ride's own clock, minutes; a dash where the log has none."""
    start: datetime | None = ride.start_utc.astimezone(zone_of(ride.timezone)) if ride.start_utc else None
    start = start or local_start(ride)
    return f"{start + timedelta(seconds=t_s):%H:%M}" if start is not None else DASH
