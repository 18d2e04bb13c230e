"""What a report or a page says in rows and key figures: records in, plain text out. Nothing here knows HTML.

Every cell is text that has not been escaped; whoever draws it escapes it.
"""

from __future__ import annotations

from dataclasses import dataclass

from ridelog.figures.course_strip import MAP_STATES, map_stretches
from ridelog.figures.quality_marks import distinct
from ridelog.report.sentences import sentence, shown, start_text
from ridelog.results import Analysis, Exposure, Segment, Traces
from ridelog.ride import Ride
from ridelog.words import heat as heat_words
from ridelog.words import riding as riding_words
from ridelog.words.display import DASH, METRIC, NBSP, Display, clock, duration, number, share
from ridelog.words.key_figures import SETTLE_LEGEND, TOO_LITTLE, WHAT_IF_ROW, observed
from ridelog.words.terms import (
    ACTION_WORDS,
    KIND_WORDS,
    MAP_WORDS,
    VERDICT_SIGNS,
    channel_words,
    missing_channels,
    quality_words,
    question_words,
    segment_words,
    verdict_words,
)


@dataclass(frozen=True)
class SegmentRow:
    """A flagged stretch as a row."""

    index: int
    kind: str
    cells: tuple[str, ...]
    reason: str


SEGMENT_COLUMNS = (
    "From",
    "Lasted",
    "Stretch",
    "Speed",
    "Power",
    "Drag",
    "Coolant",
    "Settles at",
    "Limit",
    "Map advised",
    "Time on it",
    "Advice",
)
EXPOSURE_COLUMNS = ("Above", "Time", "The sensor allows", "Times", "Longest", "Engine off", "Not known")
ESTIMATED_COLUMN = "Estimated, where not logged"
QUALITY_COLUMNS = ("Channel", "What", "From", "To", "Values", "Detail")
CHANNEL_COLUMNS = ("Channel", "Name in results", "Samples a second", "Smallest step", "Known for", "From")


def title(ride: Ride) -> str:
    """Bike and day, as far as known; the page's and the report's heading."""
    return f"{ride.bike or 'Bike not named'}, {start_text(ride) or 'day not known'}"


def answer(analysis: Analysis) -> str:
    """The one sentence that goes on top."""
    if not analysis.summary:
        return TOO_LITTLE
    return shown(analysis.summary[0])


def rest(analysis: Analysis) -> list[str]:
    """The sentences after the first."""
    return [shown(text) for text in analysis.summary[1:]]


def segment_rows(analysis: Analysis, display: Display = METRIC) -> list[SegmentRow]:
    """One row a stretch, in the columns of SEGMENT_COLUMNS."""
    rows = []
    digits = _digits(analysis)
    for index, s in enumerate(analysis.segments):
        drag = DASH
        if s.drag_coefficient is not None:
            drag = number(s.drag_coefficient, 2)
            if s.drag_low is not None and s.drag_high is not None:
                drag += f" ({number(s.drag_low, 2)} to {number(s.drag_high, 2)})"
        coolant = DASH
        if s.coolant_start_c is not None and s.coolant_peak_c is not None:
            before = display.temperature_text(s.coolant_start_c).rsplit(NBSP, 1)[0]
            peak = display.temperature_text if digits == 0 else display.peak_text
            coolant = f"{before} → {peak(s.coolant_peak_c)}"
        verdict = f"{VERDICT_SIGNS[s.verdict]} {verdict_words(s, analysis)}"
        if s.switched_after_s is not None and s.verdict == "late":
            verdict += f", after {duration(s.switched_after_s)}"
        rows.append(
            SegmentRow(
                index,
                s.kind,
                (
                    clock(s.start_s),
                    duration(s.end_s - s.start_s),
                    segment_words(s),
                    display.speed_text(s.mean_speed_mps),
                    DASH if s.mean_power_w is None else f"{number(s.mean_power_w / 1000, 1)}{NBSP}kW",
                    drag,
                    coolant,
                    _settle(s, display),
                    shown(heat_words.limit_after(s)),
                    MAP_WORDS[s.advised_map],
                    share(s.conservative_share),
                    verdict,
                ),
                shown(s.reason),
            )
        )
    return rows


def _settle(segment: Segment, display: Display) -> str:
    """Where it would settle in whole degrees, with its band."""
    if segment.settle_c is None:
        return DASH
    text = display.temperature_text(segment.settle_c)
    if segment.settle_low_c is None or segment.settle_high_c is None:
        return text
    low, high = (number(display.temperature(v), 0) for v in (segment.settle_low_c, segment.settle_high_c))
    return f"{text} ({low} to {high})"


def _digits(analysis: Analysis) -> int:
    """Decimals the coolant sensor's own step is worth."""
    channel = analysis.ride.channels.get("coolant_c")
    step = channel.resolution if channel is not None else None
    return 0 if step is None or step >= 0.95 else 1


def exposure_rows(analysis: Analysis, display: Display = METRIC) -> list[tuple[str, ...]]:
    """One row a threshold, in the columns of `exposure_columns`."""
    rows = [_exposure_row(row, display) for row in analysis.exposure]
    if not _estimates(analysis):
        return rows
    estimated = (shown(heat_words.estimated(row)) for row in analysis.exposure)
    return [(*row, text) for row, text in zip(rows, estimated, strict=True)]


def exposure_columns(analysis: Analysis) -> tuple[str, ...]:
    """EXPOSURE_COLUMNS, and one more where the heat balance speaks for a silent sensor."""
    return (*EXPOSURE_COLUMNS, ESTIMATED_COLUMN) if _estimates(analysis) else EXPOSURE_COLUMNS


def _estimates(analysis: Analysis) -> bool:
    return any(row.estimated_s is not None for row in analysis.exposure)


def _exposure_row(row: Exposure, display: Display) -> tuple[str, ...]:
    name = f"{display.temperature_text(row.threshold_c)} ({row.name})"
    if not observed(row):
        return (name, "can't tell", DASH, DASH, DASH, DASH, duration(row.unknown_s))
    return (
        name,
        duration(row.observed_s),
        f"{duration(row.observed_low_s)} to {duration(row.observed_high_s)}",
        str(row.excursions),
        duration(row.longest_s),
        duration(row.engine_off_s),
        duration(row.unknown_s),
    )


def exposure_by_threshold(analysis: Analysis, display: Display = METRIC) -> tuple[list[str], list[list[str]]]:
    """The same figures with a column a threshold: heads, then rows led by their name. For narrow places."""
    columns = list(zip(exposure_columns(analysis), *exposure_rows(analysis, display), strict=True))
    return list(columns[0]), [list(row) for row in columns[1:]]


def quality_rows(analysis: Analysis) -> list[tuple[str, ...]]:
    """One row a stretch of doubtful data, in the columns of QUALITY_COLUMNS, in order of time."""
    return [
        (
            channel_words(m.channel),
            quality_words(m.kind),
            clock(m.start_s),
            clock(m.end_s),
            ACTION_WORDS.get(m.action, m.action),
            shown(m.detail),
        )
        for m in distinct(analysis.quality)
    ]


def channel_rows(analysis: Analysis) -> list[tuple[str, ...]]:
    """One row a channel, in the columns of CHANNEL_COLUMNS."""
    return [
        (
            channel_words(name),
            name,
            DASH if info.rate_hz is None else f"{info.rate_hz:.3g}",
            DASH if info.resolution is None else f"{info.resolution:.3g} {info.unit}".rstrip(),
            share(info.coverage),
            f"{info.source} ({info.origin})" if info.source else info.origin,
        )
        for name, info in analysis.ride.channels.items()
    ]


def note_sentences(ride: Ride) -> list[str]:
    """The import's notes as sentences of a page."""
    names = [source.name for source in ride.sources]
    return [sentence(note.sentence(), names) for note in ride.notes]


def cannot_tell_rows(analysis: Analysis) -> list[tuple[str, str]]:
    """Question and reason of what this log could not answer."""
    return [(question_words(item.question), sentence(item.reason)) for item in analysis.cannot_tell]


def missing_text(logged: set[str]) -> str:
    """`no map switch, no position`, or '' where nothing is missing."""
    return ", ".join(f"no {words}" for words in missing_channels(logged))


def legend(analysis: Analysis, traces: Traces) -> list[tuple[str, str]]:
    """Style name and words of what occurs in the picture: kinds of stretch, states of the map, heat."""
    return [*course_legend(analysis, traces), *heat_legend(traces)]


def course_legend(analysis: Analysis, traces: Traces) -> list[tuple[str, str]]:
    """Of that, kinds of stretch, then states of the map."""
    present = {segment.kind for segment in analysis.segments}
    kinds = [(kind, words) for kind, words in KIND_WORDS.items() if kind in present]
    maps = [(state, MAP_STATES[state]) for state, stretches in map_stretches(traces).items() if stretches]
    return [*kinds, *maps]


def heat_legend(traces: Traces) -> list[tuple[str, str]]:
    """Style name and words of what the heat balance draws."""
    drawn = (
        ("settle_c", "settles", SETTLE_LEGEND),
        ("coolant_estimated_c", "estimated", "coolant, estimated"),
        ("heat_in_kps", "heat_in", "heat in"),
        ("heat_out_kps", "heat_out", "heat out"),
    )
    return [(style, words) for name, style, words in drawn if name in traces.series]


def heat_rows(analysis: Analysis) -> list[tuple[str, str]]:
    """What the heat balance found, or why there is none: name and sentences."""
    return [(name, shown(text)) for name, text in heat_words.heat_lines(analysis)]


def riding_rows(analysis: Analysis) -> list[tuple[str, str]]:
    """How it was ridden and set up: name and sentence of each fact; empty where the result has none."""
    return [(name, shown(text)) for name, text in riding_words.riding_rows(analysis.facts)]


WHAT_IF_COLUMNS = heat_words.WHAT_IF_COLUMNS


def what_if_rows(analysis: Analysis) -> list[tuple[str, ...]]:
    """The same ride on the conservative map, in the columns of WHAT_IF_COLUMNS; empty where it can't be told."""
    return [tuple(shown(cell) for cell in row) for row in heat_words.what_if_rows(analysis)]


def what_if_note(analysis: Analysis) -> str:
    """Whose figure the map's effect is; '' without rows."""
    if analysis.what_if is None:
        return ""
    told = (heat_words.what_if_note(analysis.what_if), heat_words.what_if_map(analysis))
    return shown(" ".join(text for text in told if text))


def what_if_open(analysis: Analysis) -> str | None:
    """Why the same ride on the conservative map can't be told, or need not be; None where it can."""
    reason = heat_words.what_if_open(analysis)
    return shown(reason) if reason is not None else None


def what_if_by_threshold(analysis: Analysis) -> list[str]:
    """A row more for `exposure_by_threshold`: its name, then the time above each; empty where it can't be told."""
    rows = what_if_rows(analysis)
    return [WHAT_IF_ROW, *(row[-1] for row in rows)] if rows else []
