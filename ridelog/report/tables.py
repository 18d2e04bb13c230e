"""What a report or a page says in rows and key figures: records in, plain text out. Nothing here knows HTML.

Every cell is text that has not been escaped; whoever draws it escapes it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from ridelog.errors import UsageError
from ridelog.figures.course_strip import MAP_STATES, map_stretches
from ridelog.figures.display import DASH, METRIC, NBSP, Display, clock, duration, number, share
from ridelog.intervals import Interval, total_s
from ridelog.results import Analysis, Exposure, Traces
from ridelog.ride import Ride
from ridelog.words import (
    ACTION_WORDS,
    KIND_WORDS,
    MAP_WORDS,
    VERDICT_SIGNS,
    channel_words,
    missing_channels,
    question_words,
    segment_words,
    verdict_words,
)


@dataclass(frozen=True)
class KeyFigure:
    """A number on top of the page: what, the figure, and how much of the ride it speaks of."""

    label: str
    value: str
    note: str


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
    "Map advised",
    "Time on it",
    "Advice",
)
STRETCHES_NOTE = (
    "● followed  ◐ switched late  ○ not switched  ? can't tell  – no switch advised. Times count from the first "
    "sample. The time a rider needs to switch is left out of the advice figures."
)
EXPOSURE_COLUMNS = ("Above", "Time", "The sensor allows", "Times", "Longest", "Engine off", "Not known")
QUALITY_COLUMNS = ("Channel", "What", "From", "To", "Values", "Detail")
CHANNEL_COLUMNS = ("Channel", "Name in results", "Samples a second", "Smallest step", "Known for", "From")


def title(ride: Ride) -> str:
    """Bike and day, as far as known; the page's and the report's heading."""
    when = start_text(ride)
    return f"{ride.bike or 'Bike not named'}, {when}" if when else f"{ride.bike or 'Bike not named'}, day not known"


def start_text(ride: Ride) -> str:
    """Start of the ride in its own time zone (else UTC, and it says so), '' where not known."""
    return local_time(ride.start_utc, ride.timezone)


def local_time(start_utc: object, timezone: str | None) -> str:
    """`17 May 2026, 10:12` on the ride's own clock; with `UTC` behind it where that is its clock, or none is known."""
    from datetime import UTC, datetime

    from ridelog.clock.zones import parse_zone

    if not isinstance(start_utc, datetime):
        return ""
    aware = start_utc if start_utc.tzinfo else start_utc.replace(tzinfo=UTC)
    try:
        zone = parse_zone(timezone) if timezone else UTC
    except UsageError:
        zone = UTC
    local = aware.astimezone(zone)
    return f"{local.day} {local:%B %Y}, {local:%H:%M}{' UTC' if zone is UTC else ''}"


def answer(analysis: Analysis) -> str:
    """The one sentence that goes on top."""
    if not analysis.summary:
        return "This log holds too little to tell how hot the engine ran."
    return _together(analysis.summary[0])


def rest(analysis: Analysis) -> list[str]:
    """The sentences after the first."""
    return [_together(sentence) for sentence in analysis.summary[1:]]


_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:h|min|s|C|kW|km/h|km|m|%)\b|%)")


def _together(sentence: str) -> str:
    """The sentence with its numbers and units kept on one line."""
    return _NUMBER_AND_UNIT.sub(NBSP, sentence)


def key_figures(analysis: Analysis, display: Display = METRIC) -> list[KeyFigure]:
    """Peak, time above, advice, boiling margin, duration and distance, each with what it covers."""
    found = [_peak(analysis, display)]
    worst = _worst(analysis.exposure)
    if worst is not None:
        found.append(_time_above(worst, display))
    found.append(_advice(analysis))
    found.append(_boiling(analysis, display))
    facts = analysis.ride
    gaps = total_s(Interval(*gap) for gap in facts.gaps)
    found.append(
        KeyFigure(
            "Duration", duration(facts.duration_s),
            f"{duration(facts.moving_s)} moving" if facts.moving_s is not None else "moving time can't be told",
        )
    )  # fmt: skip
    hole = f"{duration(gaps)} without data" if gaps else "no hole in the log"
    found.append(KeyFigure("Distance", display.distance_text(facts.distance_m), hole))
    return found


def _peak(analysis: Analysis, display: Display) -> KeyFigure:
    channel = analysis.ride.channels.get("coolant_c")
    peaks = [row.peak_c for row in analysis.exposure if row.peak_c is not None]
    if channel is None or not peaks:
        return KeyFigure("Peak coolant", DASH, "coolant was not logged")
    return KeyFigure(
        "Peak coolant", display.temperature_text(max(peaks)), f"coolant known for {share(channel.coverage)} of the ride"
    )


def _worst(rows: tuple[Exposure, ...]) -> Exposure | None:
    """The highest threshold that was passed, else the lowest one: the row a rider asks for first."""
    passed = [row for row in rows if row.observed_high_s > 0]
    ordered = sorted(passed or rows, key=lambda row: row.threshold_c)
    return (ordered[-1] if passed else ordered[0]) if ordered else None


def _time_above(row: Exposure, display: Display) -> KeyFigure:
    label = f"Time above {display.temperature_text(row.threshold_c)} ({row.name})"
    if not _observed(row):
        return KeyFigure(label, "can't tell", "coolant was not logged")
    note = f"the sensor allows {duration(row.observed_low_s)} to {duration(row.observed_high_s)}"
    if row.unknown_s > 0:
        note += f", not known for {duration(row.unknown_s)}"
    return KeyFigure(label, duration(row.observed_s), note)


def _observed(row: Exposure) -> bool:
    """False where the coolant was never known: nought seconds seen is then no finding."""
    return row.peak_c is not None


def _advice(analysis: Analysis) -> KeyFigure:
    adherence = analysis.adherence
    label = "On the conservative map where advised"
    if adherence.advised_s <= 0:
        return KeyFigure(label, DASH, "no stretch called for it")
    if adherence.share is None:
        return KeyFigure(label, "can't tell", f"{duration(adherence.advised_s)} advised, map not logged")
    note = f"{duration(adherence.conservative_s)} of {duration(adherence.advised_s)}"
    if adherence.unknown_s > 0:
        note += f", map not known for {duration(adherence.unknown_s)}"
    return KeyFigure(label, share(adherence.share), note)


def _boiling(analysis: Analysis, display: Display) -> KeyFigure:
    boiling = analysis.boiling
    label = "Margin to boiling at the peak"
    if boiling is None or boiling.margin_sealed_c is None or boiling.margin_vented_c is None:
        return KeyFigure(label, DASH, "can't be told")
    low, high = (display.temperature_step_text(m) for m in (boiling.margin_vented_c, boiling.margin_sealed_c))
    words = "with a leaking cap, to a sealed one"
    if boiling.margin_sealed_c <= 0:
        words = "over the boiling point, even with a sealed cap"
    elif boiling.margin_vented_c <= 0:
        words = "may have boiled if the cap leaked, not if it sealed"
    return KeyFigure(label, f"{low.rsplit(NBSP, 1)[0]} to {high}", words)


def segment_rows(analysis: Analysis, display: Display = METRIC) -> list[SegmentRow]:
    """One row a stretch, in the columns of SEGMENT_COLUMNS."""
    rows = []
    for index, s in enumerate(analysis.segments):
        drag = DASH
        if s.drag_coefficient is not None:
            drag = number(s.drag_coefficient, 2)
            if s.drag_low is not None and s.drag_high is not None:
                drag += f" ({number(s.drag_low, 2)} to {number(s.drag_high, 2)})"
        coolant = DASH
        if s.coolant_start_c is not None and s.coolant_peak_c is not None:
            before = display.temperature_text(s.coolant_start_c).rsplit(NBSP, 1)[0]
            coolant = f"{before} → {display.temperature_text(s.coolant_peak_c)}"
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
                    MAP_WORDS[s.advised_map],
                    share(s.conservative_share),
                    verdict,
                ),
                s.reason,
            )
        )
    return rows


def exposure_rows(analysis: Analysis, display: Display = METRIC) -> list[tuple[str, ...]]:
    """One row a threshold, in the columns of EXPOSURE_COLUMNS."""
    return [_exposure_row(row, display) for row in analysis.exposure]


def _exposure_row(row: Exposure, display: Display) -> tuple[str, ...]:
    name = f"{display.temperature_text(row.threshold_c)} ({row.name})"
    if not _observed(row):
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
    columns = list(zip(EXPOSURE_COLUMNS, *exposure_rows(analysis, display), strict=True))
    return list(columns[0]), [list(row) for row in columns[1:]]


def quality_rows(analysis: Analysis) -> list[tuple[str, ...]]:
    """One row a stretch of doubtful data, in the columns of QUALITY_COLUMNS."""
    return [
        (
            channel_words(m.channel),
            m.kind,
            clock(m.start_s),
            clock(m.end_s),
            ACTION_WORDS.get(m.action, m.action),
            m.detail,
        )
        for m in analysis.quality
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


def basis_rows(analysis: Analysis, ride: Ride) -> list[tuple[str, str]]:
    """What the figures rest on, name and value: enough to run it again."""
    basis = analysis.basis
    rows = [
        ("Ride", ride.id),
        ("Start", start_text(ride) or "not known"),
        ("Bike file", analysis.ride.bike or "none: what needs the bike's mass, gearing or power is not told"),
        ("Advice sheet", basis.advice_version),
        ("Air temperature", f"{ride.ambient_c:g} °C, as stated" if ride.ambient_c is not None else "not stated"),
        ("Program version", basis.version),
        ("Settings", basis.settings_hash[:12]),
    ]
    rows.extend((f"Log {file.name}", f"SHA-256 {file.sha256[:12]}…") for file in basis.files)
    rows.append(("Defaults used", ", ".join(basis.defaults_used) if basis.defaults_used else "none"))
    return rows


def note_sentences(ride: Ride) -> list[str]:
    """The import's notes as sentences of a page."""
    return [_sentence(note.sentence()) for note in ride.notes]


def cannot_tell_rows(analysis: Analysis) -> list[tuple[str, str]]:
    """Question and reason, the heat balance included where it was not fitted."""
    rows = [(question_words(item.question), _sentence(item.reason)) for item in analysis.cannot_tell]
    told = {item.question for item in analysis.cannot_tell}
    if not analysis.heat.fitted and analysis.heat.reason and "heat" not in told:
        rows.append((question_words("heat"), _sentence(analysis.heat.reason)))
    return rows


def _sentence(text: str) -> str:
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "?", "!")) else text + "."


def missing_text(logged: set[str]) -> str:
    """`no map switch, no position`, or '' where nothing is missing."""
    return ", ".join(f"no {words}" for words in missing_channels(logged))


def legend(analysis: Analysis, traces: Traces) -> list[tuple[str, str]]:
    """Style name and words of what occurs in the picture: kinds of stretch, then states of the map."""
    present = {segment.kind for segment in analysis.segments}
    kinds = [(kind, words) for kind, words in KIND_WORDS.items() if kind in present]
    maps = [(state, MAP_STATES[state]) for state, stretches in map_stretches(traces).items() if stretches]
    return [*kinds, *maps]
