"""Was the map advice followed on a ride? Said only where the log can carry it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.advice import Advice
from ridelog.analysis.diagnosis_shift import MapEffect
from ridelog.intervals import Interval, runs
from ridelog.results import Analysis, BoolArray, FloatArray, Segment, Traces
from ridelog.words import causes as cause_words
from ridelog.words.terms import map_source

AFTER_S = 60.0
"""The heat of a stretch shows for a minute after it."""

FOLLOWED, NOT_FOLLOWED = 0.8, 0.2
"""Share of the advised seconds on the conservative map from which on, and up to which, the answer is clear."""

KNOWN_SHARE = 0.8

SEEN_S = 10.0
"""A map that was on so long in one go was switched to, and is no bounce of the switch."""

SWAPPED = 0.4
"""On the conservative map so much more outside advised stretches than inside: the slot numbers may be swapped."""


@dataclass(frozen=True)
class Answer:
    """Whether the advice was followed, why it is said, and the stretches that were surely ridden on the standard map
    though the sheet advises the other (grace time left out, the minute after added)."""

    followed: Literal["yes", "no", "unknown", "not_advised"]
    reason: str
    missed: tuple[Interval, ...] = ()


def followed(analysis: Analysis, traces: Traces, advice: Advice, effect: MapEffect | None = None) -> Answer:
    """The answer for one ride. "no" needs a map that was logged, a stretch that the sheet surely speaks of, and the
    standard map on nearly all of it; and slot numbers that are proved: by a log that shows both maps, or by the map's
    effect on the bike's other rides. A number that never changes rests on the bike file alone."""
    advised = _advised(analysis)
    if not advised:
        return Answer("not_advised", cause_words.NOT_ADVISED)
    if doubt := _doubt(analysis, traces, advised, effect):
        return Answer("unknown", doubt)
    return _by_share(analysis, traces, advice, effect)


def _by_share(analysis: Analysis, traces: Traces, advice: Advice, effect: MapEffect | None) -> Answer:
    advised = _advised(analysis)
    share, advised_s = analysis.adherence.share or 0.0, analysis.adherence.advised_s
    if share >= FOLLOWED:
        return Answer("yes", cause_words.followed(share, advised_s))
    if map_source(analysis) != "logged":
        return Answer("unknown", cause_words.MAP_NOT_LOGGED)
    grace = {rule.kind: rule.grace_s for rule in advice.rules}
    sure = [one for one in advised if one.certainty == "sure" and one.verdict in ("missed", "late")]
    missed = tuple(
        Interval(one.start_s + grace.get(one.kind, 0.0), one.end_s + AFTER_S)
        for one in sure
        if (one.conservative_share or 0.0) < FOLLOWED and one.end_s > one.start_s + grace.get(one.kind, 0.0)
    )
    proved = (effect is not None and effect.proves_numbers) or _both_seen(traces)
    if share > NOT_FOLLOWED:
        return Answer("unknown", cause_words.partly(share, advised_s), missed)
    if proved and any((one.conservative_share or 0.0) <= NOT_FOLLOWED for one in sure):
        return Answer("no", cause_words.on_standard(share, advised_s), missed)
    if proved:
        return Answer("unknown", cause_words.NOT_SURE_ADVISED)
    return Answer("unknown", cause_words.ONE_MAP_ONLY, missed)


def _doubt(analysis: Analysis, traces: Traces, advised: Sequence[Segment], effect: MapEffect | None) -> str | None:
    """Why nothing can be said of the advice, None where something can."""
    kept = analysis.adherence
    if kept.share is None or kept.unknown_s > (1.0 - KNOWN_SHARE) * (kept.advised_s + kept.unknown_s):
        return cause_words.MAP_NOT_KNOWN
    if effect is not None and effect.numbers_doubtful:
        return cause_words.HEAT_SPEAKS_AGAINST_NUMBERS
    used = traces.series.get("map_conservative")
    if used is not None and _looks_swapped(used, traces.t_s, advised):
        return cause_words.MAP_MAY_BE_SWAPPED
    return None


def _advised(analysis: Analysis) -> list[Segment]:
    return [one for one in analysis.segments if one.advised_map == "conservative"]


def _both_seen(traces: Traces) -> bool:
    used = traces.series.get("map_conservative")
    if used is None:
        return False
    least = SEEN_S / traces.step_s
    return all(any(past - first >= least for first, past in runs(used == value)) for value in (0.0, 1.0))


def _looks_swapped(used: FloatArray, t_s: FloatArray, advised: Sequence[Segment]) -> bool:
    inside: BoolArray = np.zeros(t_s.size, dtype=np.bool_)
    for one in advised:
        inside |= (t_s >= one.start_s) & (t_s <= one.end_s)
    known = np.isfinite(used)
    if not (known & inside).any() or not (known & ~inside).any():
        return False
    return bool(used[known & ~inside].mean() - used[known & inside].mean() >= SWAPPED)
