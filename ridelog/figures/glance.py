"""The ride at a glance: coolant, thresholds, flagged stretches and the map in use as one small drawing (SVG).

It stands on the customer's page, so it needs no scripting, prints in grey, and says in words what a colour says.
"""

from __future__ import annotations

from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np

from ridelog.figures.course_strip import map_stretches
from ridelog.figures.series import RideLines
from ridelog.figures.theme import CONSERVATIVE, GRID, INK, KIND_STYLES, NO_DATA, OKABE_ITO, SOFT_INK, STANDARD
from ridelog.intervals import Interval
from ridelog.results import Analysis, FloatArray
from ridelog.words import figures as said
from ridelog.words.display import METRIC, Display, number, time_ticks
from ridelog.words.terms import KIND_WORDS

WIDTH, HEIGHT = 760, 218
LEFT, RIGHT, TOP, BOTTOM = 48, 74, 10, 158
STRIP, RIBBON, LABELS = 168, 186, 212
POINTS = 500
LEAST_SPAN_C = 25.0
LEAST_BAR = 1.5
LINE = 12

_PATTERNS = {
    ".": '<circle cx="2.5" cy="2.5" r="1"/>',
    "/": '<path d="M0 5L5 0"/>',
    "-": '<path d="M0 2.5H5"/>',
    "\\": '<path d="M0 0L5 5"/>',
    "|": '<path d="M2.5 0V5"/>',
    "x": '<path d="M0 0L5 5M0 5L5 0"/>',
}


@dataclass(frozen=True)
class _Scale:
    """From seconds and degrees C to places in the drawing."""

    end_s: float
    low_c: float
    high_c: float

    def x(self, t_s: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * t_s / self.end_s

    def y(self, value_c: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (value_c - self.low_c) / (self.high_c - self.low_c)


def glance(analysis: Analysis, lines: RideLines, *, display: Display = METRIC) -> str:
    """The drawing as SVG text; every text in it is escaped. Without a coolant channel it shows stretches and map."""
    found = lines.first("coolant_c", "coolant_estimated_c")
    t_s, coolant_c = found[1].view(0.0, analysis.ride.duration_s, POINTS) if found is not None else (_NONE, _NONE)
    thresholds = sorted({(row.threshold_c, row.name) for row in analysis.exposure})
    scale = _scale(analysis, coolant_c, [value for value, _ in thresholds])
    parts = [
        _patterns(),
        *(_gap(gap, scale) for gap in analysis.ride.gaps),
        *_time_axis(scale),
        *_thresholds(thresholds, scale, display),
        *_trace(t_s, coolant_c, scale, [value for value, _ in thresholds], estimated=_is_estimate(found)),
        *_stretches(analysis, scale),
        *_ribbon(lines, scale),
        _text(LEFT - 6, TOP + 8, display.temperature_unit, anchor="end", soft=True),
    ]
    return (
        f'<svg class="glance" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'aria-label="{escape(_said(analysis, display), {chr(34): "&quot;"})}" xmlns="http://www.w3.org/2000/svg">'
        + "".join(parts)
        + "</svg>"
    )


_NONE: FloatArray = np.empty(0)


def _is_estimate(found: tuple[str, object] | None) -> bool:
    return found is not None and found[0] == "coolant_estimated_c"


def _scale(analysis: Analysis, coolant_c: FloatArray, thresholds_c: list[float]) -> _Scale:
    known = coolant_c[np.isfinite(coolant_c)]
    values = [*thresholds_c, *((float(known.min()), float(known.max())) if known.size else ())] or [60.0, 120.0]
    low, high = min(values), max(values)
    spare = max(0.06 * (high - low), 0.5 * (LEAST_SPAN_C - (high - low)), 1.0)
    return _Scale(max(analysis.ride.duration_s, 1.0), low - spare, high + spare)


def _said(analysis: Analysis, display: Display) -> str:
    peaks = [row.peak_c for row in analysis.exposure if row.peak_c is not None]
    return said.glance(display.peak_text(max(peaks)) if peaks else None)


def _patterns() -> str:
    made = []
    for kind, style in KIND_STYLES.items():
        lines = f'<g stroke="{INK}" stroke-width=".9" fill="none">{_PATTERNS[style.pattern]}</g>'
        made.append(
            f'<pattern id="p-{kind}" width="5" height="5" patternUnits="userSpaceOnUse">'
            f'<rect width="5" height="5" fill="{style.color}"/>{lines}</pattern>'
        )
    made.append(
        '<pattern id="p-unknown" width="5" height="5" patternUnits="userSpaceOnUse">'
        f'<rect width="5" height="5" fill="#fff"/><path d="M0 5L5 0" stroke="{STANDARD}" fill="none"/></pattern>'
    )
    return f"<defs>{''.join(made)}</defs>"


def _gap(gap: tuple[float, float], scale: _Scale) -> str:
    return _bar(Interval(*gap), TOP, BOTTOM - TOP, NO_DATA, scale)


def _time_axis(scale: _Scale) -> list[str]:
    values, labels = time_ticks(0.0, scale.end_s, 8)
    drawn = [f'<line x1="{LEFT}" y1="{BOTTOM}" x2="{WIDTH - RIGHT}" y2="{BOTTOM}" stroke="{SOFT_INK}"/>']
    for value, label in zip(values, labels, strict=True):
        x = scale.x(value)
        drawn.append(f'<line x1="{x:.1f}" y1="{TOP}" x2="{x:.1f}" y2="{BOTTOM}" stroke="{GRID}"/>')
        drawn.append(_text(x, LABELS, label, anchor="middle", soft=True))
    drawn.append(_text(WIDTH - RIGHT + 6, LABELS, "time", soft=True))
    return drawn


def _thresholds(named: list[tuple[float, str]], scale: _Scale, display: Display) -> list[str]:
    """A line each, and its label beside it; labels that would touch are moved down from the highest on."""
    drawn: list[str] = []
    above: float = TOP - LINE
    for value_c, name in sorted(named, reverse=True):
        y = scale.y(value_c)
        above = max(y + 4, above + LINE)
        x = f'x1="{LEFT}" y1="{y:.1f}" x2="{WIDTH - RIGHT}" y2="{y:.1f}"'
        drawn.append(f'<line {x} stroke="{SOFT_INK}" stroke-dasharray="4 3"/>')
        label = f"{name[:10]} {number(display.temperature(value_c), 0)}"
        drawn.append(_text(WIDTH - RIGHT + 6, above, label, soft=True))
    return drawn


def _trace(
    t_s: FloatArray, value_c: FloatArray, scale: _Scale, thresholds_c: list[float], *, estimated: bool
) -> list[str]:
    if t_s.size == 0:
        return [_text((LEFT + WIDTH - RIGHT) / 2, (TOP + BOTTOM) / 2, "coolant was not logged", "middle", soft=True)]
    known = np.isfinite(value_c)
    path = "".join(
        f"{'L' if i and known[i - 1] else 'M'}{scale.x(t_s[i]):.1f} {scale.y(value_c[i]):.1f}"
        for i in np.flatnonzero(known).tolist()
    )
    style = ' stroke-dasharray="3 2"' if estimated else ""
    drawn = [f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="1.6" stroke-linejoin="round"{style}/>']
    passed = [value for value in thresholds_c if value < np.nanmax(value_c)]
    if passed:
        drawn.insert(0, _over(t_s, value_c, max(passed), scale))
    return drawn


def _over(t_s: FloatArray, value_c: FloatArray, threshold_c: float, scale: _Scale) -> str:
    """The area between the trace and the highest threshold it passed."""
    base = scale.y(threshold_c)
    pieces, inside = [], False
    lifted = np.maximum(value_c, threshold_c)
    for i in range(t_s.size):
        if np.isfinite(value_c[i]):
            here = f"{scale.x(t_s[i]):.1f} {scale.y(lifted[i]):.1f}"
            pieces.append(f"L{here}" if inside else f"M{scale.x(t_s[i]):.1f} {base:.1f}L{here}")
            inside = True
        if inside and (i + 1 == t_s.size or not np.isfinite(value_c[i + 1])):
            pieces.append(f"L{scale.x(t_s[i]):.1f} {base:.1f}Z")
            inside = False
    return f'<path d="{"".join(pieces)}" fill="{OKABE_ITO["vermillion"]}" fill-opacity=".45"/>'


def _stretches(analysis: Analysis, scale: _Scale) -> list[str]:
    drawn = [_text(LEFT - 6, STRIP + 10, "ground", anchor="end", soft=True)]
    for segment in analysis.segments:
        span = Interval(segment.start_s, segment.end_s)
        drawn.append(
            _bar(span, STRIP, 13, f"url(#p-{segment.kind})", scale, stroke=INK, title=KIND_WORDS[segment.kind])
        )
    return drawn


def _ribbon(lines: RideLines, scale: _Scale) -> list[str]:
    looks = {"conservative": (CONSERVATIVE, 9), "standard": (STANDARD, 4), "unknown": ("url(#p-unknown)", 6)}
    drawn = [_text(LEFT - 6, RIBBON + 9, "map", anchor="end", soft=True)]
    for state, spans in map_stretches(lines.traces).items():
        fill, height = looks[state]
        drawn.extend(_bar(span, RIBBON + (10 - height) / 2, height, fill, scale) for span in spans)
    return drawn


def _bar(
    span: Interval, y: float, height: float, fill: str, scale: _Scale, *, stroke: str | None = None, title: str = ""
) -> str:
    x = scale.x(max(span.start_s, 0.0))
    width = max(scale.x(min(span.end_s, scale.end_s)) - x, LEAST_BAR)
    outline = f' stroke="{stroke}" stroke-width=".8"' if stroke else ""
    inner = f"<title>{escape(title)}</title>" if title else ""
    place = f'x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}"'
    return f'<rect {place} fill="{fill}"{outline}>{inner}</rect>'


def _text(x: float, y: float, text: str, anchor: str = "start", *, soft: bool = False) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="11" fill="{SOFT_INK if soft else INK}">'
        f"{escape(text)}</text>"
    )
