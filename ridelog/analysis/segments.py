"""Stretches that called for the conservative map, or heat an engine in other ways: where each kind begins and ends.

A kind has a condition with an enter and a leave level; short pauses are bridged, but never a hole in the data; what is
too short is dropped. Where kinds meet, the stronger reason keeps the time.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ridelog.advice import KINDS, Advice, Rule
from ridelog.analysis.shapes import BLOCK_S, MEDIAN_S, Signals, Stretch, Terrain
from ridelog.intervals import Cover, Interval, clip, difference, from_mask, intersection, runs, tidy
from ridelog.results import BoolArray, FloatArray

OPEN_SHARE = 0.8
"""Share of a wide-open stretch that the throttle has to be open: short shuts to change gear are fine, on-off riding is
not."""

LEAVE_BELOW_C = 3.0
"""A stretch flagged by its settle temperature is left this far below the level: shares of temperatures mean nothing."""

ALSO_SHARE = 0.25
"""Share of a stretch for which another kind has to hold before it is named beside the stretch's own."""


def _hold(enter: BoolArray, leave: BoolArray) -> BoolArray:
    """Hysteresis: each run of `leave` that reaches `enter` somewhere."""
    held = np.zeros(leave.size, dtype=np.bool_)
    for first, past in runs(leave | enter):
        if enter[first:past].any():
            held[first:past] = True
    return held


def _bridge(spans: list[Interval], known: list[Interval], gap_s: float) -> list[Interval]:
    """Join spans a short pause apart where the pause lies wholly in known time; cut all to known time."""
    cover = Cover(known)
    joined: list[Interval] = []
    for span in tidy(spans):
        if joined and span.start_s - joined[-1].end_s <= gap_s:
            pause = Interval(joined[-1].end_s, span.start_s)
            if pause.length_s - cover.seconds(*pause) < 1e-6:
                joined[-1] = Interval(joined[-1].start_s, span.end_s)
                continue
        joined.append(span)
    return intersection(joined, known)


def _known(signals: Signals, *series: FloatArray, gaps: list[Interval]) -> list[Interval]:
    ok = np.ones(signals.t_s.size, dtype=np.bool_)
    for one in series:
        ok &= np.isfinite(one)
    return difference(from_mask(signals.t_s, ok, signals.step_s), gaps)


def _spans(signals: Signals, enter: BoolArray, leave: BoolArray) -> list[Interval]:
    return from_mask(signals.t_s, _hold(enter, leave), signals.step_s)


def _wide_open(signals: Signals, rule: Rule, gaps: list[Interval]) -> list[Interval]:
    if signals.opening is None:
        return []
    level = rule.level("min_throttle_pct") / 100.0
    with np.errstate(invalid="ignore"):
        enter, leave = signals.opening >= level, signals.opening >= level * rule.leave_share
    spans = _bridge(_spans(signals, enter, leave), _known(signals, signals.opening, gaps=gaps), rule.merge_gap_s)
    return [span for span in spans if _share(signals, leave, span) >= OPEN_SHARE]


def _share(signals: Signals, mask: BoolArray, span: Interval) -> float:
    first, past = np.searchsorted(signals.t_s, [span.start_s, span.end_s], "left")
    inside = mask[int(first) : int(past)]
    return float(inside.mean()) if inside.size else 0.0


def _high_speed(signals: Signals, rule: Rule, gaps: list[Interval]) -> list[Interval]:
    if signals.speed_mps is None:
        return []
    level = rule.level("min_speed_mps")
    with np.errstate(invalid="ignore"):
        spans = _spans(signals, signals.speed_mps >= level, signals.speed_mps >= level * rule.leave_share)
    return _bridge(spans, _known(signals, signals.speed_mps, gaps=gaps), rule.merge_gap_s)


def _slow_climb(signals: Signals, rule: Rule, gaps: list[Interval]) -> list[Interval]:
    if signals.speed_mps is None or signals.grade is None:
        return []
    steep, slow = rule.level("min_grade"), rule.level("max_speed_mps")
    with np.errstate(invalid="ignore"):
        enter = (signals.grade >= steep) & (signals.speed_mps <= slow)
        leave = (signals.grade >= steep * rule.leave_share) & (signals.speed_mps <= slow / rule.leave_share)
    return _bridge(_spans(signals, enter, leave), _known(signals, signals.speed_mps, gaps=gaps), rule.merge_gap_s)


def _standstill(signals: Signals, rule: Rule, gaps: list[Interval]) -> list[Interval]:
    if signals.speed_mps is None or signals.rpm is None:
        return []
    slow = rule.level("max_speed_mps")
    with np.errstate(invalid="ignore"):
        running = signals.rpm > 0.0
        enter = (signals.speed_mps <= slow) & running
        leave = (signals.speed_mps <= slow / rule.leave_share) & running
    known = _known(signals, signals.speed_mps, signals.rpm, gaps=gaps)
    return _bridge(_spans(signals, enter, leave), known, rule.merge_gap_s)


def _heavy_drag(signals: Signals, rule: Rule, gaps: list[Interval]) -> list[Interval]:
    ground = signals.terrain
    if ground is None or signals.speed_mps is None:
        return []
    drag, power = rule.level("min_drag_coefficient"), rule.level("min_power_share")
    with np.errstate(invalid="ignore"):
        enter = (ground.smooth >= drag) & (ground.power_share >= power)
        leave = (ground.smooth >= drag * rule.leave_share) & (ground.power_share >= power * rule.leave_share)
    known = _known(signals, signals.speed_mps, gaps=gaps)
    spans = _bridge(from_mask(ground.t_s, _hold(enter, leave), BLOCK_S), known, rule.merge_gap_s)
    long_enough = [span for span in spans if span.length_s >= 0.5 * rule.min_duration_s]
    return intersection(refine_edges(ground, long_enough), known)


def _heat_only(signals: Signals, rule: Rule, gaps: list[Interval]) -> list[Interval]:
    if signals.over_limit_c is None:
        return []
    level = rule.level("min_over_limit_c")
    with np.errstate(invalid="ignore"):
        spans = _spans(signals, signals.over_limit_c > level, signals.over_limit_c > level - LEAVE_BELOW_C)
    return _bridge(spans, _known(signals, signals.over_limit_c, gaps=gaps), rule.merge_gap_s)


def refine_edges(ground: Terrain, spans: list[Interval]) -> list[Interval]:
    """Move each edge to where the unsmoothed drag changes level.

    The median over 21 s finds a stretch but blurs its ends, more so where drag is only known now and then. Within half
    that window of an edge, the split is taken that leaves most of the high seconds inside and of the low ones outside.
    """
    reach = round(0.5 * MEDIAN_S / BLOCK_S) + 2
    edges = [[round(span.start_s / BLOCK_S), round(span.end_s / BLOCK_S)] for span in spans]
    for i, (first, past) in enumerate(edges):
        floor = edges[i - 1][1] if i else 0
        ceiling = edges[i + 1][0] if i + 1 < len(edges) else ground.raw.size
        middle = (first + past) // 2
        inside = _median(ground.raw[first:past])
        start = _split(ground.raw, max(floor, first - reach), min(middle, first + reach), inside, floor, rising=True)
        end = _split(ground.raw, max(middle, past - reach), min(ceiling, past + reach), inside, ceiling, rising=False)
        edges[i] = [first if start is None else start, past if end is None else end]
    return [Interval(a * BLOCK_S, b * BLOCK_S) for a, b in edges if b > a]


def _median(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")


def _split(raw: FloatArray, low: int, high: int, inside: float, wall: int, *, rising: bool) -> int | None:
    """Index in `low..high` that best parts low seconds from high ones; None where there is nothing to part."""
    outer = raw[max(wall, low - 20) : low + 4] if rising else raw[max(0, high - 4) : min(wall, high + 20)]
    outside = _median(outer)
    if high - low < 2 or not np.isfinite(inside) or not np.isfinite(outside) or outside >= inside:
        return None
    half = 0.5 * (inside - outside)
    excess = np.nan_to_num(np.clip(raw[low:high] - (outside + half), -half, half))
    gathered = np.concatenate([[0.0], np.cumsum(excess)])
    gain = gathered[-1] - 2.0 * gathered if rising else 2.0 * gathered - gathered[-1]
    ties = np.flatnonzero(gain >= gain.max() - 1e-9)
    return low + int(ties[ties.size // 2])


_FINDERS: dict[str, Callable[[Signals, Rule, list[Interval]], list[Interval]]] = {
    "heavy_drag": _heavy_drag,
    "wide_open": _wide_open,
    "high_speed": _high_speed,
    "slow_climb": _slow_climb,
    "standstill": _standstill,
    "heat_only": _heat_only,
}


def _held(kind: str, signals: Signals, advice: Advice, gaps: list[Interval]) -> list[Interval]:
    """Where the condition of one kind held for its least duration, whatever else held there."""
    rule = advice.rule(kind)
    if rule.map == "none":
        return []
    spans = clip(_FINDERS[kind](signals, rule, gaps), float(signals.t_s[0]), float(signals.t_s[-1]))
    return _long_enough(spans, rule)


def _long_enough(spans: list[Interval], rule: Rule) -> list[Interval]:
    return [span for span in spans if span.length_s >= rule.min_duration_s - 1e-9]


def longest_s(kind: str, signals: Signals, advice: Advice, gaps: list[Interval]) -> float:
    """Longest time the condition of one kind held without a break, in s; 0 where it never held long enough.

    A stretch says less: it can be cut short by a stronger kind, or be that of another kind which held for longer.
    """
    return max((span.length_s for span in _held(kind, signals, advice, gaps)), default=0.0)


def _drag_of_its_own(held: dict[str, list[Interval]], ground: Terrain, advice: Advice) -> list[Interval]:
    """Drag stretches without the parts that are another stretch: one of a kind with the same advice, of its least
    duration or longer, in which the drag itself stays below the level. The median and the lower level to leave carry
    a drag stretch over short easy ground; they must not carry it through a whole stretch of another kind."""
    rule = advice.rule("heavy_drag")
    others: list[Interval] = []
    for kind, spans in held.items():
        other = advice.rule(kind)
        if kind != "heavy_drag" and other.map == rule.map:
            others.extend(_long_enough(intersection(held["heavy_drag"], spans), other))
    level = rule.level("min_drag_coefficient")
    easy = [
        span
        for span in others
        if not _median(ground.raw[round(span.start_s / BLOCK_S) : round(span.end_s / BLOCK_S)]) >= level
    ]
    return _long_enough(difference(held["heavy_drag"], tidy(easy)), rule)


def find(signals: Signals, advice: Advice, gaps: list[Interval]) -> list[Stretch]:
    """All flagged stretches in order of time; they never overlap and never reach into `gaps`.

    `also` names the other kinds that held for a fair share of a stretch: a quarter of it, and for half of it or for
    their own least duration.
    """
    held = {kind: _held(kind, signals, advice, gaps) for kind in KINDS}
    if signals.terrain is not None and held["heavy_drag"]:
        held["heavy_drag"] = _drag_of_its_own(held, signals.terrain, advice)
    covers = {kind: Cover(spans) for kind, spans in held.items()}
    found: list[Stretch] = []
    taken: list[Interval] = []
    for kind in KINDS:
        left = _long_enough(difference(held[kind], taken), advice.rule(kind))
        found.extend(Stretch(span.start_s, span.end_s, kind, _also(span, kind, covers, advice)) for span in left)
        taken = tidy([*taken, *(stretch.interval for stretch in found if stretch.kind == kind)])
    return sorted(found, key=lambda stretch: stretch.start_s)


def _also(span: Interval, kind: str, covers: dict[str, Cover], advice: Advice) -> tuple[str, ...]:
    others = []
    for other, cover in covers.items():
        least_s = max(ALSO_SHARE * span.length_s, min(0.5 * span.length_s, advice.rule(other).min_duration_s))
        if other != kind and cover.seconds(*span) >= least_s:
            others.append(other)
    return tuple(others)
