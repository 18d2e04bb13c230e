"""What an analysis says in words: the answer of a ride, and why each stretch was flagged.

A sentence states what the log shows and no more: the map is named only where it was logged, and time that nothing
speaks of is said. Temperatures in C, speeds in km/h.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from ridelog.results import Adherence, Exposure, Segment
from ridelog.words.terms import MAP_SOURCE_WORDS, degrees, duration
from ridelog.words.terms import share as as_share

WHERE = {
    "heavy_drag": "on deep-drag ground",
    "wide_open": "with the throttle wide open",
    "high_speed": "at sustained high speed",
    "slow_climb": "on slow climbs",
    "standstill": "standing with the engine running",
    "heat_only": "on stretches that ask for more heat than the bike sheds",
}

AFTER = {
    "heavy_drag": "deep-drag ground",
    "wide_open": "a wide-open stretch",
    "high_speed": "a fast stretch",
    "slow_climb": "a slow climb",
    "standstill": "a stop with the engine running",
    "heat_only": "a stretch that asks for more heat than the bike sheds",
}

NEARLY_ALL = 0.9
FULL_COVERAGE = 0.95


@dataclass(frozen=True)
class HotTime:
    """Where the time above one threshold was spent. `by_kind`: seconds inside flagged stretches of each kind;
    `after_kind`: within a minute after one, before the next; `standard_s`/`conservative_s`: seconds of it known to be
    on each map, None where no map was logged."""

    exposure: Exposure
    by_kind: dict[str, float] = field(default_factory=dict)
    after_kind: dict[str, float] = field(default_factory=dict)
    standard_s: float | None = None
    conservative_s: float | None = None
    on_standard_by_kind: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Coolant:
    """What the coolant channel is worth: share of the ride it covers, its step in C, and whether it exists at all."""

    logged: bool
    coverage: float
    resolution_c: float | None
    other_rides: int = 0
    """Rides of the bike that estimates go by."""


def summarize(
    coolant: Coolant,
    hot: Sequence[HotTime],
    segments: Sequence[Segment],
    adherence: Adherence,
    *,
    unjudged: Sequence[str],
    wide_open_s: float,
    map_source: str | None = "logged",
) -> tuple[str, ...]:
    """One to five sentences, the answer first. `hot` rises by threshold; `unjudged` names kinds that can't be told;
    `wide_open_s` is the longest time the throttle was held wide open, 0 where it was not; `map_source` is where the map
    is known from ("logged", "inferred", "notes")."""
    passed = [one for one in hot if one.exposure.observed_s > 0.0] if coolant.logged else []
    sentences = (
        _answer(coolant, hot, passed),
        _where(passed[-1], map_source) if passed else None,
        _advice(segments, adherence, unjudged, map_source),
        _doubt(coolant, hot),
        _blind(wide_open_s, coolant, hot),
    )
    return tuple(sentence for sentence in sentences if sentence)


def _answer(coolant: Coolant, hot: Sequence[HotTime], passed: Sequence[HotTime]) -> str:
    """How hot and for how long: short enough to be read at a glance."""
    if not coolant.logged or not hot:
        return _estimated(coolant, hot)
    lowest, highest = hot[0].exposure, hot[-1].exposure
    seen = (
        "" if coolant.coverage >= FULL_COVERAGE else f" in the {as_share(coolant.coverage)} of the ride it was logged"
    )
    peak = (
        f"Coolant peaked at {degrees(highest.peak_c)}"
        if highest.peak_c is not None
        else "The coolant's peak is not known"
    )
    if not passed:
        return f"{peak}{seen}: never above {degrees(lowest.threshold_c)} ({lowest.name})."
    top = passed[-1].exposure
    above = f"above {degrees(top.threshold_c)} ({top.name}) for {duration(top.observed_s)}"
    if top is highest:
        return f"{peak}{seen} and was {above}."
    return f"{peak}{seen}, {above}, and stayed under the {highest.name} of {degrees(highest.threshold_c)}."


def _estimated(coolant: Coolant, hot: Sequence[HotTime]) -> str:
    """What other rides of the bike let one expect where the coolant was not logged."""
    told = hot[0].exposure if hot else None
    if told is None or told.estimated_s is None or told.estimated_low_s is None or told.estimated_high_s is None:
        return "This log has no usable coolant temperature, so it can't tell how hot the engine ran."
    rides = "another ride" if coolant.other_rides == 1 else f"{coolant.other_rides} other rides"
    return (
        f"This log has no usable coolant temperature. By {rides} of the bike it was above {degrees(told.threshold_c)} "
        f"({told.name}) for about {duration(told.estimated_s)}, anywhere from {duration(told.estimated_low_s)} to "
        f"{duration(told.estimated_high_s)}: an estimate that a fault since then would not show in."
    )


def _where(one: HotTime, map_source: str | None) -> str:
    """On what the time above the highest threshold passed was spent."""
    e = one.exposure
    total = e.observed_s
    longest = f", at most {duration(e.longest_s)} at a stretch" if e.excursions > 1 else ""
    if e.engine_off_s is not None and e.engine_off_s >= NEARLY_ALL * total:
        return f"That was after the engine was switched off{longest}: heat that soaked into still coolant."
    parts = [
        (seconds, WHERE[kind] + _map_words(one, kind, seconds, map_source)) for kind, seconds in one.by_kind.items()
    ]
    parts += [(seconds, f"within a minute after {AFTER[kind]}") for kind, seconds in one.after_kind.items()]
    parts = sorted((part for part in parts if part[0] >= 0.1 * total), key=lambda part: -part[0])[:2]
    if not parts:
        return f"None of that was on or right after a flagged stretch{longest}."
    if parts[0][0] >= NEARLY_ALL * total:
        parts = parts[:1]
    listed = " and ".join(f"{_share(seconds, total)} {where}" for seconds, where in parts)
    return f"Of that, {listed}{longest}."


def _share(seconds: float, total_s: float) -> str:
    return "all was" if seconds >= 0.995 * total_s else f"{as_share(seconds / total_s)} was"


def _map_words(one: HotTime, kind: str, seconds: float, map_source: str | None) -> str:
    """On which map the hot time of a kind was ridden, where nearly all of it was on one."""
    by = f" ({MAP_SOURCE_WORDS[map_source]})" if map_source in MAP_SOURCE_WORDS else ""
    on_standard = one.on_standard_by_kind.get(kind)
    if one.standard_s is None or on_standard is None:
        return ""
    if on_standard >= NEARLY_ALL * seconds:
        return f" on the standard map{by}"
    total_s = one.exposure.observed_s
    if (one.conservative_s or 0.0) >= NEARLY_ALL * total_s:
        return f" on the conservative map{by}"
    return ""


def _advice(segments: Sequence[Segment], adherence: Adherence, unjudged: Sequence[str], map_source: str | None) -> str:
    advised = [one for one in segments if one.advised_map == "conservative" and one.verdict != "not_advised"]
    hidden = " and ".join(_KIND_NAMES[kind] for kind in unjudged)
    if not advised:
        if hidden:
            return (
                f"No stretch that can be judged called for the conservative map; {hidden} can't be told from this log."
            )
        return "No stretch called for the conservative map."
    many = f"{len(advised)} stretches" if len(advised) > 1 else "One stretch"
    text = f"{many} called for the conservative map, {duration(adherence.advised_s)} after the time to switch"
    text += _on_which_map(adherence, map_source)
    return f"{text}; {hidden} can't be told from this log." if hidden else f"{text}."


_SHOWS = {"inferred": "the ignition angle points to", "notes": "the notes tell of"}


def _on_which_map(adherence: Adherence, map_source: str | None) -> str:
    if adherence.share is None or adherence.conservative_s is None:
        return "; which map was on can't be told from this log"
    standard_s = adherence.advised_s - adherence.unknown_s - adherence.conservative_s
    shows = _SHOWS.get(map_source or "", "the log shows")
    if standard_s < 0.5:
        by = f", {MAP_SOURCE_WORDS[map_source]}" if map_source in MAP_SOURCE_WORDS else ""
        told = f"it was on all that time{by}"
    elif adherence.conservative_s < 0.5:
        told = f"{shows} the standard map for all that time"
    else:
        told = f"it was on for {as_share(adherence.share)} ({shows} the standard map for {duration(standard_s)})"
    if adherence.unknown_s < 0.5:
        return f"; {told}"
    return f"; the map is not known for {duration(adherence.unknown_s)} of it, and for the rest {told}"


_KIND_NAMES = {
    "heavy_drag": "deep-drag ground",
    "wide_open": "wide-open stretches",
    "high_speed": "fast stretches",
    "slow_climb": "slow climbs",
    "standstill": "standing with the engine running",
    "heat_only": "stretches that ask for more heat than the bike sheds",
}


def _doubt(coolant: Coolant, hot: Sequence[HotTime]) -> str | None:
    if not coolant.logged or not hot:
        return None
    if coolant.coverage < FULL_COVERAGE:
        unknown_s = hot[-1].exposure.unknown_s
        return f"For {duration(unknown_s)} of the ride the coolant temperature is not known; nothing is assumed for it."
    passed = [one.exposure for one in hot if one.exposure.observed_high_s > 0.0]
    if not passed or not coolant.resolution_c:
        return None
    top = passed[-1]
    apart_s = top.observed_high_s - top.observed_low_s
    if apart_s < 5.0 or apart_s < 0.1 * max(top.observed_s, 1.0):
        return None
    return (
        f"The sensor shows steps of {degrees(coolant.resolution_c)}, so the time above {degrees(top.threshold_c)} lies "
        f"anywhere from {duration(top.observed_low_s)} to {duration(top.observed_high_s)}."
    )


def _blind(wide_open_s: float, coolant: Coolant, hot: Sequence[HotTime]) -> str | None:
    if wide_open_s <= 0.0 or not coolant.logged or not hot or hot[-1].exposure.observed_s > 0.0:
        return None
    return (
        f"A calm coolant trace does not clear the wide-open riding (longest {duration(wide_open_s)}): "
        "the sensor can't see the piston."
    )


def reason(
    kind: str,
    *,
    length_s: float,
    speed_mps: float | None,
    power_w: float | None,
    power_share: float | None,
    drag: float | None,
    drag_low: float | None,
    grade: float | None,
    opening: float | None,
    doubts: Sequence[str],
) -> str:
    """Why a stretch was flagged: the numbers that did it and why they matter; `doubts` say what makes it uncertain."""
    length = duration(length_s)
    at = f" at {3.6 * speed_mps:.0f} km/h" if speed_mps is not None else ""
    if kind == "heavy_drag" and drag is not None:
        power = f" with {power_w / 1000.0:.1f} kW" if power_w is not None else ""
        power += f" ({as_share(power_share)} of peak power)" if power and power_share is not None else ""
        text = f"The ground held back {as_share(drag)} of the weight for {length}{at}{power}: much work, little air"
    elif kind == "wide_open":
        share = f"{as_share(opening)} open on average" if opening is not None else "wide open"
        text = f"Throttle {share} for {length}{at}: the piston gets hotter than a coolant sensor shows"
    elif kind == "high_speed":
        text = f"Held{at} for {length}: sustained power, however calm the coolant looks"
    elif kind == "slow_climb":
        slope = f"{as_share(grade)}" if grade is not None else "a steep slope"
        text = f"Climbed {slope} for {length}{at}: work against the slope with hardly any air through the radiator"
    elif kind == "heat_only":
        text = (
            f"Kept up for {length}{at}, this would take the coolant past the limit, though no rule names such a stretch"
        )
    else:
        text = f"Stood for {length} with the engine running: no air through the radiator but a fan's"
    if doubts:
        text += "; uncertain because " + " and ".join(doubts)
    elif kind == "heavy_drag" and drag_low is not None:
        text += f"; still {as_share(drag_low)} with 20 % less power and 10 % more mass"
    return text + "."
