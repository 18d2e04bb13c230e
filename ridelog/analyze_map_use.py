"""Where the map in use is known from: the log's own switch, else the ignition angle, else notes of the rider.

A map that was not logged never speaks against the rider as loudly as one that was: see `with_fair_verdicts`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np

from ridelog import analyze_map
from ridelog.advice import Advice
from ridelog.analysis import adherence, map_inference
from ridelog.analysis.adherence import CONSERVATIVE, STANDARD, UNKNOWN, MapTrack
from ridelog.analyze_drive import Doubts
from ridelog.bike import Bike
from ridelog.grid import Grid, usable
from ridelog.intervals import Interval, difference
from ridelog.results import ChannelResult, FloatArray, Segment
from ridelog.ride import Ride, RideNote
from ridelog.words import doubts as reasons

Source = Literal["logged", "inferred", "notes"]

CHANNEL = "ignition_deg"

LEAST_KNOWN_S = 60.0
"""An ignition angle that tells less than this leaves the floor to the notes."""

NOTE_S = 30.0
"""A switch noted by hand is good to half a minute either way. Common practice, no source."""

_STATES = {"map_conservative": CONSERVATIVE, "map_standard": STANDARD}


@dataclass(frozen=True)
class MapUse:
    """The map in use and where that is known from; `conservative` is the probability of the conservative map second by
    second where it was inferred."""

    track: MapTrack
    source: Source | None
    facts: dict[str, Any] = field(default_factory=dict)
    conservative: FloatArray | None = None

    def confidence(self, t_s: FloatArray) -> FloatArray | None:
        """Probability of the likelier map at given times; None where it was not inferred."""
        if self.conservative is None:
            return None
        second = np.minimum((t_s / map_inference.SECOND_S).astype(np.int64), self.conservative.size - 1)
        here = self.conservative[second]
        return np.maximum(here, 1.0 - here)

    def as_channel(self, duration_s: float) -> dict[str, ChannelResult]:
        """The map as a channel of the result where something else than its switch told it."""
        if self.source in (None, "logged"):
            return {}
        inferred = self.source == "inferred"
        source = reasons.FROM_IGNITION if inferred else reasons.FROM_NOTES
        share = float(self.facts["known_s"]) / duration_s if duration_s > 0.0 else 0.0
        rate_hz = 1.0 / map_inference.SECOND_S if inferred else None
        return {"map_conservative": ChannelResult("1", rate_hz, None, min(1.0, share), "estimated", source)}


def map_use(
    ride: Ride,
    bike: Bike | None,
    doubts: Doubts,
    *,
    grid: Grid,
    opening: FloatArray | None,
    notes: Sequence[RideNote] = (),
) -> MapUse:
    """The map in use by the best source there is. What stays open is said in `doubts`."""
    told = Doubts()
    logged = analyze_map.map_track(ride, bike, told)
    if _known_s(logged, ride) > 0.0:
        doubts.cannot_tell += told.cannot_tell
        return MapUse(logged, "logged", _facts(logged, "logged", ride))
    found = _from_ignition(ride, bike, grid, opening)
    noted = _from_notes(notes, ride)
    if isinstance(found, MapUse) and (noted is None or found.facts["known_s"] >= LEAST_KNOWN_S):
        if found.facts["known_s"] > 0.0:
            doubts.say("map_in_use", reasons.map_from_ignition(found.facts["known_s"] / max(ride.duration_s, 1e-9)))
            return found
        found = reasons.IGNITION_UNSURE
    if noted is not None:
        doubts.say("map_in_use", reasons.map_from_notes(noted.facts["known_s"] / max(ride.duration_s, 1e-9)))
        return noted
    doubts.cannot_tell += [
        replace(one, reason=reasons.with_ignition(one.reason, found)) if isinstance(found, str) else one
        for one in told.cannot_tell
    ]
    return MapUse(logged, None, _facts(logged, None, ride))


def _known_s(track: MapTrack, ride: Ride) -> float:
    return sum(track.seconds(state, 0.0, ride.duration_s) for state in (STANDARD, CONSERVATIVE))


def _facts(track: MapTrack, source: Source | None, ride: Ride, **more: Any) -> dict[str, Any]:
    """What the result says of the map's source. `confidence` is the mean probability of the map over the seconds in
    which it is called known, None where it was logged or noted."""
    standard_s, conservative_s = (track.seconds(state, 0.0, ride.duration_s) for state in (STANDARD, CONSERVATIVE))
    origin = {"logged": "logged", "inferred": "estimated", "notes": "estimated", None: None}[source]
    return {
        "source": source,
        "origin": origin,
        "known_s": standard_s + conservative_s,
        "unknown_s": max(0.0, ride.duration_s - standard_s - conservative_s),
        "standard_s": standard_s,
        "conservative_s": conservative_s,
        "confidence": None,
        **more,
    }


def _from_ignition(ride: Ride, bike: Bike | None, grid: Grid, opening: FloatArray | None) -> MapUse | str | None:
    """From the ignition angle; why not, where there is one; None without."""
    readings, rpm = usable(ride, CHANNEL, updates_only=True), grid.get("engine_rpm")
    if bike is None or readings.t_s.size < 2:
        return None
    if bike.unread_tables:
        return reasons.tables_not_kept(bike.id, bike.unread_tables)
    if bike.ignition_standard is None or bike.ignition_conservative is None:
        return reasons.NO_IGNITION_TABLES
    if rpm is None or opening is None:
        return reasons.IGNITION_ALONE
    at = np.searchsorted(readings.t_s, grid.t_s + 1e-9, "right") - 1
    # A value that stands, or is drawn between two readings, is no new evidence.
    fresh = np.concatenate([[True], np.diff(at) > 0]) & (at >= 0)
    info = ride.channels.get(CHANNEL)
    found = map_inference.infer(
        step_s=grid.step_s,
        read_deg=np.where(fresh, readings.y[np.maximum(at, 0)], np.nan),
        rpm=rpm,
        throttle_pct=100.0 * opening,
        standard=bike.ignition_standard,
        conservative=bike.ignition_conservative,
        resolution_deg=(info.resolution if info is not None else None) or 0.0,
    )
    if isinstance(found, map_inference.Unlike):
        return reasons.ignition_unlike(found.reason, found.figure)
    return _inferred(found, ride)


def _inferred(found: map_inference.Inferred, ride: Ride) -> MapUse:
    first = np.flatnonzero(np.concatenate([[True], found.known[1:] != found.known[:-1]]))
    track = MapTrack(first.astype(np.float64) * map_inference.SECOND_S, found.known[first], ride.duration_s)
    known = found.known >= 0
    likely = np.where(found.known == CONSERVATIVE, found.conservative, 1.0 - found.conservative)
    middle, low, high = found.offset_deg
    facts = _facts(
        track,
        "inferred",
        ride,
        confidence=float(likely[known].mean()) if known.any() else None,
        known_at=map_inference.KNOWN_AT,
        telling_s=found.telling_s,
        offset_deg={"value": middle, "low": low, "high": high},
        spread_deg=found.spread_deg,
    )
    return MapUse(track, "inferred", facts, found.conservative)


def _from_notes(notes: Sequence[RideNote], ride: Ride) -> MapUse | None:
    """From notes of switches: each holds to the next one, but for half a minute either side of a change."""
    marks = sorted((note.at_s, _STATES[note.about]) for note in notes if note.about in _STATES)
    # The same map noted again is no switch.
    switches = [mark for n, mark in enumerate(marks) if not n or marks[n - 1][1] != mark[1]]
    starts: list[float] = []
    states: list[int] = []
    for n, (at_s, state) in enumerate(switches):
        begin_s = max(at_s + NOTE_S, 0.0)
        end_s = min(switches[n + 1][0] - NOTE_S if n + 1 < len(switches) else ride.duration_s, ride.duration_s)
        if end_s > begin_s:
            starts += [begin_s, end_s]
            states += [state, UNKNOWN]
    if not starts:
        return None
    track = MapTrack(np.array(starts), np.array(states, dtype=np.int8), ride.duration_s)
    return MapUse(track, "notes", _facts(track, "notes", ride, notes=len(marks)))


def with_fair_verdicts(flagged: tuple[Segment, ...], used: MapUse, advice: Advice) -> tuple[Segment, ...]:
    """The same stretches, with verdicts against the rider taken back where the map was not logged and does not carry
    them.

    `missed`: never from notes, because a switch may have gone unnoted. `missed` and `late` from an inferred map: only
    where the standard map's probability, over the seconds after the grace time in which it is called known, is
    SURE_AT on average.
    """
    if used.source == "logged" or used.source is None:
        return flagged
    grace_s = {rule.kind: rule.grace_s for rule in advice.rules}
    return tuple(
        replace(one, verdict="unknown", conservative_share=None)
        if one.verdict in ("missed", "late") and not _carries(one, used, grace_s.get(one.kind, 0.0))
        else one
        for one in flagged
    )


def counted_track(flagged: tuple[Segment, ...], used: MapUse) -> MapTrack:
    """The track that shares and seconds are counted on: where the map was not logged, stretches that were not judged
    count as not known, or seconds would speak against the rider where the verdict does not."""
    if used.source == "logged" or used.source is None:
        return used.track
    unjudged = [Interval(one.start_s, one.end_s) for one in flagged if one.verdict == "unknown"]
    pieces = sorted(
        (span.start_s, span.end_s, state)
        for state in (STANDARD, CONSERVATIVE)
        for span in difference(used.track.spans(state), unjudged)
    )
    starts: list[float] = []
    states: list[int] = []
    for begin_s, end_s, state in pieces:
        if starts and starts[-1] == begin_s:
            starts.pop()
            states.pop()
        starts += [begin_s, end_s]
        states += [state, UNKNOWN]
    return MapTrack(np.array(starts), np.array(states, dtype=np.int8), used.track.end_s)


def _carries(one: Segment, used: MapUse, grace_s: float) -> bool:
    if used.conservative is None:
        return one.verdict == "late"
    second: FloatArray = np.arange(used.conservative.size, dtype=np.float64) * map_inference.SECOND_S
    inside = (second >= one.start_s + grace_s) & (second < one.end_s)
    on_standard = inside & (analyze_map.on_grid(used.track, second) == adherence.STANDARD)
    return bool(on_standard.any() and 1.0 - used.conservative[on_standard].mean() >= map_inference.SURE_AT)
