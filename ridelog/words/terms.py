"""The words a rider reads for the names the analysis uses, and how times are written.

One place, so that sentences, command line, report and dashboard say the same.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ridelog.channels import CHANNELS, base_name

if TYPE_CHECKING:
    from ridelog.results import Analysis, Segment

KIND_WORDS: dict[str, str] = {
    "heavy_drag": "Deep-drag ground",
    "wide_open": "Wide open",
    "high_speed": "Fast stretch",
    "slow_climb": "Slow climb",
    "standstill": "Standing, engine running",
    "heat_only": "Heat beyond the limit",
}

VERDICT_WORDS: dict[str, str] = {
    "followed": "followed",
    "late": "switched late",
    "missed": "not switched",
    "unknown": "can't tell: map not logged",
    "not_advised": "no switch advised",
}

VERDICT_SIGNS: dict[str, str] = {"followed": "●", "late": "◐", "missed": "○", "unknown": "?", "not_advised": "–"}
"""A shape beside the words, so that no verdict rests on a colour."""

MAP_WORDS: dict[str, str] = {"conservative": "conservative", "either": "either"}

CONDITION_WORDS: dict[str, str] = {"healthy": "healthy", "faulty": "had a fault", "unknown": "not stated"}

ACTION_WORDS: dict[str, str] = {"excluded": "left out", "kept": "kept, marked", "repaired": "repaired"}

QUALITY_WORDS: dict[str, str] = {
    "dropout": "no values",
    "electrical_noise": "electrical noise",
    "false_speed": "false speed",
    "follows_engine": "heated by the engine",
    "gps_disagrees": "speed and position disagree",
    "gps_frozen": "receiver frozen",
    "heated_at_stop": "heated at a stop",
    "ignition_noise": "ignition noise",
    "impossible_rate": "impossible step",
    "no_fix": "no fix",
    "noise": "noise",
    "null_island": "no fix",
    "out_of_range": "out of range",
    "poor_fix": "poor fix",
    "position_jump": "position jumps",
    "position_wanders": "position wanders",
    "pulse_count": "pulses a turn",
    "rpm_lost": "engine speed lost",
    "sensors_disagree": "sensors disagree",
    "sentinel": "stands for no value",
    "spike": "spike",
    "stuck": "stuck",
    "substitute": "substitute value",
    "throttle_zero": "closed stop moved",
    "transport": "carried, not ridden",
    "transport_or_coasting": "carried or coasting",
    "transport_or_rpm_lost": "carried, or engine data lost",
}
"""What is wrong where data is doubtful."""

CHANNEL_WORDS: dict[str, str] = {
    "coolant_c": "coolant temperature",
    "engine_rpm": "engine speed",
    "throttle_pct": "throttle",
    "gps_speed_mps": "satellite speed",
    "wheel_speed_mps": "wheel speed",
    "lat_deg": "position",
    "lon_deg": "position",
    "elevation_m": "height",
    "gps_fix": "satellite fix",
    "gps_hdop": "satellite precision",
    "gps_satellites": "satellites used",
    "map_slot": "map switch",
    "gear": "gear",
    "ambient_c": "air temperature",
    "intake_air_c": "intake air temperature",
    "exhaust_gas_c": "exhaust gas temperature",
    "head_c": "cylinder head temperature",
    "detonation_count": "detonation",
    "ignition_deg": "ignition advance",
    "injector_ms": "injector opening time",
    "lambda": "mixture (lambda)",
    "fuel_kpa": "fuel pressure",
    "battery_v": "battery voltage",
    "fan_on": "fan",
    "baro_kpa": "air pressure",
    "time_utc": "time of day",
}

QUESTION_WORDS: dict[str, str] = {
    "heavy_drag": "Was the ground deep or soft?",
    "wide_open": "Was the throttle held wide open?",
    "high_speed": "Was it ridden fast for long?",
    "slow_climb": "Were there slow climbs?",
    "standstill": "Did it stand with the engine running?",
    "climb_or_soft_ground": "Was it a climb or soft ground?",
    "wheelspin": "Did the rear wheel spin?",
    "wheelspin_or_clutch": "Did the wheel spin or the clutch slip?",
    "exposure": "How long was it hot?",
    "coolant_sensor": "Which coolant sensor was gone by?",
    "boiling": "How far was it from boiling?",
    "throttle_stop": "Was the throttle fully open?",
    "gear": "Which gear was it in?",
    "gearing": "Do the gearing and the tyre of the bike file fit?",
    "map_in_use": "Which map was in use?",
    "self_check": "Do the power curve and the mass of the bike file fit?",
    "build_check": "Does the engine's build suit where it was ridden?",
    "heat": "How much heat did the engine make, and how much was shed?",
    "matched_heat": "Was it hotter at the same load, speed and air?",
    "matched_settle": "Would it settle hotter?",
    "cooling_by_speed": "How fast did it cool at each speed?",
    "load_cells": "How was it ridden, by engine speed and throttle?",
}
"""The analysis' names of what a log could not answer."""

_WANTED: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("coolant", ("coolant_c",)),
    ("map switch", ("map_slot",)),
    ("throttle", ("throttle_pct",)),
    ("engine speed", ("engine_rpm",)),
    ("speed", ("gps_speed_mps", "wheel_speed_mps", "lat_deg")),
    ("position", ("lat_deg",)),
)


_UNIT_WORDS: dict[str, str] = {
    "C": "degrees Celsius",
    "F": "degrees Fahrenheit",
    "K": "kelvin",
    "%": "percent",
    "kn": "knots",
    "mph": "miles per hour",
    "h": "hours",
    "min": "minutes",
    "s": "seconds",
    "ms": "milliseconds",
    "us": "microseconds",
    "ns": "nanoseconds",
}
_ORDER_WORDS: dict[str, str] = {"dmy": "day before month", "mdy": "month before day", "ymd": "year, month, day"}


def column_words(channel: str, unit: str | None = None) -> str:
    """What a column holds, for the question and its answer: `ground speed from the satellite receiver, in km/h`."""
    if channel == "raw":
        return "none of ridelog's channels, kept as it came"
    words = CHANNELS[channel].meaning if channel in CHANNELS else channel
    if unit is None or unit == "1":
        return words
    if unit in _ORDER_WORDS:
        return f"{words}, dates written {_ORDER_WORDS[unit]}"
    return f"{words}, in {_UNIT_WORDS.get(unit, unit)}"


def printable(text: str) -> str:
    """Without control characters: a name in a log must not steer a terminal. Line ends stay."""
    return "".join(char if char.isprintable() or char == "\n" else "\ufffd" for char in text)


def channel_words(column: str) -> str:
    """A channel in words; a second sensor keeps its number, an unrecognised column its own name."""
    if column == "map_conservative":
        return "map in use"
    base = base_name(column)
    words = CHANNEL_WORDS.get(base, column)
    number = column[len(base) :].lstrip(".") if base in CHANNEL_WORDS else ""
    return f"{words} {number}" if number else words


def question_words(question: str) -> str:
    """A question in words; one that is not listed as it stands, without underscores."""
    plain = question.replace("_", " ").strip()
    return QUESTION_WORDS.get(question, plain[:1].upper() + plain[1:])


def open_line(question: str, reason: str) -> str:
    """A question that was left open, and why."""
    return f"{question_words(question)} {reason[:1].upper()}{reason[1:].rstrip('.')}."


def quality_words(kind: str) -> str:
    """What is wrong with doubtful data, in words; a kind that is not listed without its underscores."""
    return QUALITY_WORDS.get(kind, kind.replace("_", " "))


def missing_channels(logged: set[str]) -> list[str]:
    """What the analysis would have liked to have and the log does not hold, most wanted first."""
    return [words for words, any_of in _WANTED if not logged.intersection(any_of)]


def segment_words(segment: Segment) -> str:
    """The stretch's kind, with the other reasons that held, and its certainty where it is not sure."""
    words = KIND_WORDS[segment.kind]
    if segment.also:
        words += ", also " + ", ".join(KIND_WORDS[kind].lower() for kind in segment.also)
    return words if segment.certainty == "sure" else words + " (uncertain)"


MAP_SOURCE_WORDS: dict[str, str] = {"inferred": "by the ignition angle", "notes": "by the notes"}
"""Where the map is known from, if not from its own switch."""


def map_source(analysis: Analysis) -> str | None:
    """ "logged", "inferred", "notes", or None where the map is not known."""
    told = (analysis.facts or {}).get("map", {})
    return told.get("source") or ("logged" if "map_slot" in analysis.ride.channels else None)


def verdict_words(segment: Segment, analysis: Analysis) -> str:
    """The verdict in words; where it can't be told, whether the map was not logged at all or only not here; and what
    it rests on where the map was not logged."""
    source = map_source(analysis)
    if segment.verdict == "unknown" and source is not None:
        return "can't tell: map not known here"
    if segment.verdict in ("followed", "late", "missed") and source in MAP_SOURCE_WORDS:
        return f"{VERDICT_WORDS[segment.verdict]}, {MAP_SOURCE_WORDS[source]}"
    return VERDICT_WORDS[segment.verdict]


def degrees(value: float) -> str:
    """A temperature without a needless decimal: `118 C`, `110.5 C`."""
    return f"{value:.1f}".removesuffix(".0") + " C"


def duration(seconds: float) -> str:
    """`1 h 02 min`, `3 min 05 s`, `42 s`, `0.4 s`."""
    if 0 < seconds < 9.95:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def clock(seconds: float) -> str:
    """Elapsed time as `h:mm:ss`, cut to the second."""
    whole = math.floor(abs(seconds))
    sign = "-" if seconds <= -1 else ""
    return f"{sign}{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"


def share(value: float) -> str:
    """A share (0..1) as a percentage; never rounded up to 100 or down to 0 where it is neither."""
    percent = round(100 * value)
    if percent == 100 and value < 1:
        return "over 99 %"
    if percent == 0 and value > 0:
        return "under 1 %"
    return f"{percent} %"
