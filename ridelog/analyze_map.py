"""The map in use, the verdict on each stretch, and where hot time was spent."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import zip_longest
from math import fsum

import numpy as np

from ridelog.advice import Advice
from ridelog.analysis import adherence, exposure, measure, shapes
from ridelog.analyze_drive import Doubts
from ridelog.bike import Bike
from ridelog.grid import usable
from ridelog.intervals import Cover, Interval, intersection, total_s
from ridelog.map_events import held_until_the_next
from ridelog.normalize import map_words
from ridelog.results import Adherence, Exposure, FloatArray, KindAdherence, Segment
from ridelog.ride import Ride
from ridelog.words import doubts as reasons
from ridelog.words import summary


def map_track(ride: Ride, bike: Bike | None, doubts: Doubts) -> adherence.MapTrack:
    """Which map was on over the ride; empty, with the reason in `doubts`, where that is not known."""
    written = map_words.unread(ride)
    if written is not None and bike is not None:
        return _from_words(ride, written, bike, doubts)
    samples = held_until_the_next(usable(ride, "map_slot"), ride)
    if samples.t_s.size < 2:
        if written is not None or any(note.kind == map_words.UNREAD for note in ride.notes):
            doubts.say("map_in_use", reasons.MAP_WORDS_WITHOUT_BIKE if written is not None else reasons.MAP_WORDS_LOST)
        else:
            doubts.say("map_in_use", reasons.NO_MAP)
        return adherence.NO_TRACK
    if bike is None:
        doubts.say("map_in_use", reasons.MAP_WITHOUT_BIKE)
        return adherence.NO_TRACK
    slot_of = _slots(ride, bike)
    strange = sorted({f"{value:g}" for value in np.unique(samples.y) if slot_of(float(value)) is None})
    if strange:
        _say_unlisted(strange, bike, doubts)
    return adherence.track(samples.t_s, samples.y, samples.joined, bike.conservative_slot, slot_of)


def _from_words(ride: Ride, name: str, bike: Bike, doubts: Doubts) -> adherence.MapTrack:
    """The map in use from what the log wrote, through the bike file as it is now.

    The import kept the words because the bike file of that day did not list them all.
    """
    numbers, words = map_words.codes(ride.samples[name])
    # A word without a slot keeps its number, so that its time counts as unknown: left out, the map before would seem
    # to hold on.
    coded = replace(ride, samples=ride.samples.with_columns(numbers.alias("map_slot")))
    samples = held_until_the_next(usable(coded, "map_slot"), coded)
    slots = [bike.slot_of(word) for word in words]
    strange = [word for word, slot in zip(words, slots, strict=True) if slot is None]
    if strange:
        _say_unlisted(strange, bike, doubts)
    if samples.t_s.size < 2 or len(strange) == len(words):
        return adherence.NO_TRACK
    return adherence.track(
        samples.t_s, samples.y, samples.joined, bike.conservative_slot, lambda code: slots[round(code)]
    )


def _say_unlisted(strange: list[str], bike: Bike, doubts: Doubts) -> None:
    doubts.say("map_in_use", reasons.unlisted_slots(strange, bike.id, bike.slot_values))


def _slots(ride: Ride, bike: Bike) -> Callable[[float], int | None]:
    """From a value of the channel to a slot, None where it is not known.

    An import that knew the bike wrote slots. One that did not kept what the log wrote, and noted it: those values go
    through the bike file's list now, or a log's 1 would pass for slot 1 where it means slot 2.
    """
    if any(note.kind == "map_slots" for note in ride.notes):
        return lambda value: bike.slot_of(f"{value:g}")
    known = {slot for _, slot in bike.slot_values}
    return lambda value: round(value) if abs(value - round(value)) < 1e-6 and round(value) in known else None


def judged_segments(
    stretches: list[shapes.Stretch], advice: Advice, context: measure.Context, used: adherence.MapTrack
) -> tuple[Segment, ...]:
    """Each stretch measured, judged and explained."""
    return tuple(_segment(stretch, advice, context, used) for stretch in stretches)


def _segment(stretch: shapes.Stretch, advice: Advice, context: measure.Context, used: adherence.MapTrack) -> Segment:
    rule = advice.rule(stretch.kind)
    seen = measure.measure(stretch, rule, context)
    judged = adherence.judge(
        used, stretch.start_s, stretch.end_s, grace_s=rule.grace_s, advised=rule.map == "conservative"
    )
    return Segment(
        start_s=round(stretch.start_s, 6),
        end_s=round(stretch.end_s, 6),
        kind=stretch.kind,
        also=stretch.also,
        certainty="uncertain" if seen.doubts else "sure",
        mean_power_w=seen.mean_power_w,
        mean_speed_mps=seen.mean_speed_mps,
        drag_coefficient=seen.drag,
        drag_low=seen.drag_low,
        drag_high=seen.drag_high,
        mean_grade=seen.mean_grade,
        settle_c=None,
        settle_low_c=None,
        settle_high_c=None,
        limit_after_s=None,
        limit_after_low_s=None,
        limit_after_high_s=None,
        coolant_start_c=seen.coolant_start_c,
        coolant_peak_c=seen.coolant_peak_c,
        advised_map="conservative" if rule.map == "conservative" else "either",
        conservative_share=judged.share,
        switched_after_s=judged.switched_after_s,
        held_after_s=judged.held_after_s,
        verdict=judged.verdict,
        reason=summary.reason(
            stretch.kind,
            length_s=stretch.end_s - stretch.start_s,
            speed_mps=seen.mean_speed_mps,
            power_w=seen.mean_power_w,
            power_share=seen.power_share,
            drag=seen.drag,
            drag_low=seen.drag_low,
            grade=seen.mean_grade,
            opening=seen.mean_opening,
            doubts=seen.doubts,
        ),
    )


def adherence_of(
    stretches: list[shapes.Stretch], flagged: tuple[Segment, ...], advice: Advice, used: adherence.MapTrack
) -> Adherence:
    """Over all stretches that the sheet advises the conservative map on, grace time left out.

    Seconds on the conservative map and the share are of the time in which the map is known, also on stretches
    whose verdict is unknown: time without a known map is never counted as time on another map.
    """
    spans: dict[str, list[Interval]] = {}
    for stretch in stretches:
        rule = advice.rule(stretch.kind)
        if rule.map == "conservative":
            begin_s = min(stretch.start_s + rule.grace_s, stretch.end_s)
            spans.setdefault(stretch.kind, []).append(Interval(begin_s, stretch.end_s))
    by_kind = {kind: _adherence_on(spans[kind], used) for kind in sorted(spans)}
    counts = dict.fromkeys(("followed", "late", "missed", "unknown", "not_advised"), 0)
    for segment in flagged:
        counts[segment.verdict] += 1
    whole = _adherence_on([span for kind in spans.values() for span in kind], used)
    known_s = whole.advised_s - whole.unknown_s
    share = whole.conservative_s / known_s if whole.conservative_s is not None else None
    return Adherence(whole.advised_s, whole.conservative_s, share, counts, whole.unknown_s, by_kind)


def _adherence_on(spans: list[Interval], used: adherence.MapTrack) -> KindAdherence:
    advised_s = fsum(span.length_s for span in spans)
    unknown_s = fsum(used.seconds(adherence.UNKNOWN, *span) for span in spans)
    if advised_s - unknown_s <= 1e-9:
        return KindAdherence(advised_s, None, unknown_s)
    return KindAdherence(advised_s, fsum(used.seconds(adherence.CONSERVATIVE, *span) for span in spans), unknown_s)


AFTER_S = 60.0
"""Coolant lags the work by tens of seconds: what is hot within a minute after a stretch is told beside what is in
it."""


def hot_time(
    record: Exposure, over: exposure.Above, flagged: tuple[Segment, ...], used: adherence.MapTrack
) -> summary.HotTime:
    """Where, and on which map, the time above a threshold was spent."""
    spans = [Interval(float(a), float(b)) for a, b in zip(over.start_s, over.end_s, strict=True)]
    hot_on = {which: intersection(spans, used.spans(which)) for which in (adherence.STANDARD, adherence.CONSERVATIVE)}
    hot, hot_on_standard = Cover(spans), Cover(hot_on[adherence.STANDARD])
    by_kind: dict[str, float] = {}
    after_kind: dict[str, float] = {}
    on_standard: dict[str, float] = {}
    for segment, following in zip_longest(flagged, flagged[1:]):
        until_s = min(segment.end_s + AFTER_S, following.start_s if following is not None else np.inf)
        after_s = hot.seconds(segment.end_s, until_s)
        if after_s > 0.0:
            after_kind[segment.kind] = after_kind.get(segment.kind, 0.0) + after_s
        seconds = hot.seconds(segment.start_s, segment.end_s)
        if seconds > 0.0:
            by_kind[segment.kind] = by_kind.get(segment.kind, 0.0) + seconds
            standard_s = hot_on_standard.seconds(segment.start_s, segment.end_s)
            on_standard[segment.kind] = on_standard.get(segment.kind, 0.0) + standard_s
    if used.start_s.size == 0:
        return summary.HotTime(record, by_kind, after_kind)
    return summary.HotTime(
        record,
        by_kind,
        after_kind,
        total_s(hot_on[adherence.STANDARD]),
        total_s(hot_on[adherence.CONSERVATIVE]),
        on_standard,
    )


def on_grid(used: adherence.MapTrack, t_s: FloatArray) -> FloatArray:
    """1 where the conservative map was on, 0 where another, NaN where not known."""
    index = np.searchsorted(used.start_s, t_s, "right") - 1
    state = used.state[np.maximum(index, 0)].astype(np.float64)
    return np.where((index < 0) | (t_s > used.end_s) | (state == adherence.UNKNOWN), np.nan, state)
