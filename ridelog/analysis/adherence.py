"""Which map was on, and whether that fits the advice for a stretch."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ridelog.intervals import Interval
from ridelog.results import BoolArray, FloatArray, Verdict

CONSERVATIVE, STANDARD, UNKNOWN = 1, 0, -1

BOUNCE_S = 0.3
"""A switch that changes and changes back within this is a contact bouncing, not a rider."""

FOLLOWED_SHARE = 0.8
UNKNOWN_SHARE = 0.2


@dataclass(frozen=True)
class MapTrack:
    """The map in use over time: `state[i]` holds from `start_s[i]` to `start_s[i + 1]`, the last one up to `end_s`.

    States are CONSERVATIVE, STANDARD, UNKNOWN; before the first start and after `end_s` the map is not known.
    """

    start_s: FloatArray
    state: np.ndarray[tuple[int], np.dtype[np.int8]]
    end_s: float

    def _within(
        self, low_s: float, high_s: float
    ) -> tuple[FloatArray, FloatArray, np.ndarray[tuple[int], np.dtype[np.int8]]]:
        """Starts, ends and states of what lies between two times, cut to them."""
        first = max(int(np.searchsorted(self.start_s, low_s, "right")) - 1, 0)
        past = max(int(np.searchsorted(self.start_s, high_s, "left")), first)
        ends = np.append(
            self.start_s[first + 1 : past], self.end_s if past == self.start_s.size else self.start_s[past]
        )
        starts = self.start_s[first:past]
        return np.clip(starts, low_s, high_s), np.clip(ends[: starts.size], low_s, high_s), self.state[first:past]

    def seconds(self, state: int, low_s: float, high_s: float) -> float:
        """Seconds of a state between two times; UNKNOWN includes the time outside the track."""
        if self.start_s.size == 0:
            return max(0.0, high_s - low_s) if state == UNKNOWN else 0.0
        start, end, states = self._within(low_s, high_s)
        inside = float((end - start)[states == state].sum())
        if state == UNKNOWN:
            inside += max(0.0, high_s - low_s) - float((end - start).sum())
        return inside

    def first(self, state: int, low_s: float, high_s: float) -> float | None:
        """First moment of a state in `low_s..high_s`, or None."""
        if self.start_s.size == 0:
            return None
        start, end, states = self._within(low_s, high_s)
        hits = np.flatnonzero((states == state) & (end > start))
        return float(start[hits[0]]) if hits.size else None

    def spans(self, state: int) -> list[Interval]:
        """All time of a state."""
        ends = np.append(self.start_s[1:], self.end_s) if self.start_s.size else self.start_s
        return [
            Interval(float(a), float(b))
            for a, b, one in zip(self.start_s, ends, self.state, strict=True)
            if one == state
        ]

    def at(self, t_s: float) -> int:
        """State at a moment."""
        index = int(np.searchsorted(self.start_s, t_s, "right")) - 1
        return int(self.state[index]) if index >= 0 and t_s <= self.end_s else UNKNOWN

    def lasts_until(self, t_s: float) -> float:
        """When the state that holds at `t_s` ends."""
        index = int(np.searchsorted(self.start_s, t_s, "right"))
        return float(self.start_s[index]) if index < self.start_s.size else self.end_s


NO_TRACK = MapTrack(np.zeros(0), np.zeros(0, dtype=np.int8), 0.0)


def track(
    t_s: FloatArray, slot: FloatArray, joined: BoolArray, conservative_slot: int, slot_of: Callable[[float], int | None]
) -> MapTrack:
    """The map in use, from the samples of the map channel. Values `slot_of` does not know are UNKNOWN, as are gaps."""
    if t_s.size < 2:
        return NO_TRACK
    written, which = np.unique(slot, return_inverse=True)
    table = np.array([_state(slot_of(float(value)), conservative_slot) for value in written], dtype=np.int8)
    state = np.where(joined, table[which[:-1]], UNKNOWN).astype(np.int8)
    changes = np.concatenate([[True], state[1:] != state[:-1]])
    return _without_bounce(MapTrack(t_s[:-1][changes], state[changes], float(t_s[-1])))


def _state(slot: int | None, conservative_slot: int) -> int:
    if slot is None:
        return UNKNOWN
    return CONSERVATIVE if slot == conservative_slot else STANDARD


def _without_bounce(raw: MapTrack) -> MapTrack:
    starts: list[float] = []
    states: list[int] = []
    ends = np.append(raw.start_s[1:], raw.end_s)
    for i, (start, end) in enumerate(zip(raw.start_s.tolist(), ends.tolist(), strict=True)):
        state = int(raw.state[i])
        short = end - start < BOUNCE_S and 0 < i < raw.state.size - 1
        if short and states and states[-1] == int(raw.state[i + 1]) and UNKNOWN not in (state, states[-1]):
            continue
        if not states or states[-1] != state:
            starts.append(start)
            states.append(state)
    return MapTrack(np.array(starts), np.array(states, dtype=np.int8), raw.end_s)


@dataclass(frozen=True)
class Judgement:
    """How the map was used on one stretch. `advised_s` counts from the end of the grace time; None where not known."""

    verdict: Verdict
    advised_s: float
    conservative_s: float | None
    unknown_s: float
    share: float | None
    switched_after_s: float | None
    held_after_s: float | None


def judge(used: MapTrack, start_s: float, end_s: float, *, grace_s: float, advised: bool) -> Judgement:
    """Compare the map in use with the advice for the stretch `start_s..end_s`.

    `followed`: conservative for 80 % of the time after the grace time or more. `late`: switched to it inside the
    stretch, or on it for a part after the grace time, but for less than that. `missed`: neither. `unknown`: the map is
    not known for 20 % of that time or more. A stretch that ends within the grace time asks nothing: `followed` where
    the map was on anyway, else `not_advised`.
    """
    begin_s = min(start_s + grace_s, end_s)
    advised_s = end_s - begin_s if advised else 0.0
    unknown_s = used.seconds(UNKNOWN, begin_s, end_s)
    conservative_s = used.seconds(CONSERVATIVE, begin_s, end_s)
    length_s = end_s - begin_s
    known = length_s <= 0.0 or unknown_s < UNKNOWN_SHARE * length_s
    on_at = used.first(CONSERVATIVE, start_s, end_s)
    switched_after_s = on_at - start_s if on_at is not None and used.start_s.size else None
    held_after_s = None
    if on_at is not None:
        on_at_end = used.at(np.nextafter(end_s, start_s)) == CONSERVATIVE
        held_after_s = max(0.0, used.lasts_until(np.nextafter(end_s, start_s)) - end_s) if on_at_end else 0.0
    share = conservative_s / (length_s - unknown_s) if known and length_s - unknown_s > 0.0 else None
    verdict = _verdict(
        advised=advised,
        known=known,
        length_s=length_s,
        share=share,
        on=on_at is not None,
        used=used,
        span=(start_s, end_s),
    )
    if not advised:
        return Judgement(verdict, 0.0, None, 0.0, share, switched_after_s, held_after_s)
    return Judgement(
        verdict, advised_s, conservative_s if known else None, unknown_s, share, switched_after_s, held_after_s
    )


def _verdict(
    *,
    advised: bool,
    known: bool,
    length_s: float,
    share: float | None,
    on: bool,
    used: MapTrack,
    span: tuple[float, float],
) -> Verdict:
    if not advised:
        return "not_advised"
    if length_s <= 0.0:
        known = used.seconds(UNKNOWN, *span) < UNKNOWN_SHARE * (span[1] - span[0])
        share = 1.0 if on else None
        if known and not on:
            return "not_advised"
    if not known or share is None:
        return "unknown"
    if share >= FOLLOWED_SHARE:
        return "followed"
    if share > 0.0 or _switched_on(used, *span):
        return "late"
    return "missed"


def _switched_on(used: MapTrack, low_s: float, high_s: float) -> bool:
    inside = (used.start_s > low_s) & (used.start_s < high_s) & (used.state == CONSERVATIVE)
    return bool(inside.any())
