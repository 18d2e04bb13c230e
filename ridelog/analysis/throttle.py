"""Where a log's throttle is shut and where it is wide open: learned from the ride itself.

Loggers scale the throttle as they like: a closed throttle may read 3 %, a wide-open one 92 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ridelog.results import FloatArray

NOMINAL_CLOSED_PCT = 0.0
NOMINAL_OPEN_PCT = 100.0

_BAND_PCT = 1.5
"""Values this close together are one position of the grip."""

_HELD_S = 2.0
"""A stop is a place where the throttle spent at least this long in all."""

_CLEAR_STOP_PCT = 90.0
_LOWEST_STOP_PCT = 70.0
_PILE_RATIO = 4.0
_VISITS = 3
"""Between 70 and 90 % a stop is believed only where values pile up at the very top (4 x as dense as the five points
below, on 3 visits or more): otherwise it may be just as far as this rider ever opened. Common practice, no source."""


@dataclass(frozen=True)
class Stops:
    """Throttle readings at the stops, %. `*_learned` false: never seen in this ride, the logger's nominal value
    stands."""

    closed_pct: float
    open_pct: float
    closed_learned: bool
    open_learned: bool

    def opening(self, throttle_pct: FloatArray) -> FloatArray:
        """0 at the closed stop, 1 at the open one, NaN where not known."""
        return np.clip((throttle_pct - self.closed_pct) / (self.open_pct - self.closed_pct), 0.0, 1.0)


def learn_stops(throttle_pct: FloatArray, step_s: float) -> Stops:
    """The stops of a throttle channel on a uniform grid (NaN where not known)."""
    known = throttle_pct[np.isfinite(throttle_pct)]
    if known.size == 0:
        return Stops(NOMINAL_CLOSED_PCT, NOMINAL_OPEN_PCT, False, False)
    closed, closed_learned = _closed(known, step_s)
    opened, open_learned = _open(throttle_pct, known, closed, step_s)
    return Stops(closed, opened, closed_learned, open_learned)


def learn_stretches(
    throttle_pct: FloatArray, step_s: float, starts: Sequence[int], unsure_s: float
) -> tuple[tuple[Stops, ...], FloatArray]:
    """Stops of each stretch of a ride whose closed stop moved, and the opening over the whole of it.

    `starts`: the grid index at which each stretch begins, the first one 0, rising. `unsure_s`: how far off a start may
    be; so much beside it is not learned from where at least as much is left. A stop that moved took the other one along
    (the sensor slipped on its shaft): the open stop of a stretch that never saw it lies as far above the closed one as
    in a stretch that did.
    """
    parts = [slice(a, b) for a, b in zip(starts, [*starts[1:], throttle_pct.size], strict=True)]
    unsure = round(unsure_s / step_s)
    found = []
    for number, part in enumerate(parts):
        first = part.start + (unsure if number else 0)
        last = part.stop - (unsure if number + 1 < len(parts) else 0)
        sure = slice(first, last) if last - first >= unsure else part
        found.append(learn_stops(throttle_pct[sure], step_s))
    model = next((one for one in found if one.open_learned and one.closed_learned), found[0])
    span = model.open_pct - model.closed_pct
    stops = tuple(
        one if one.open_learned else replace(one, open_pct=one.closed_pct + span, open_learned=model.open_learned)
        for one in found
    )
    opening = np.concatenate([one.opening(throttle_pct[part]) for one, part in zip(stops, parts, strict=True)])
    return stops, opening


def _closed(known: FloatArray, step_s: float) -> tuple[float, bool]:
    """The fullest band near the bottom of all readings."""
    bottom = float(np.percentile(known, 0.5))
    low = known[(known >= bottom - _BAND_PCT) & (known <= bottom + 2.0 * _BAND_PCT)]
    at_rest = low.size * step_s >= _HELD_S and bottom < 40.0
    return (float(np.median(low)), True) if at_rest else (NOMINAL_CLOSED_PCT, False)


def _open(throttle_pct: FloatArray, known: FloatArray, closed: float, step_s: float) -> tuple[float, bool]:
    top = float(np.percentile(known, 100.0 * (1.0 - min(0.5 * _HELD_S / step_s / known.size, 0.05))))
    pile = known >= top - _BAND_PCT
    seconds = float(pile.sum()) * step_s
    reading = float(np.median(known[pile]))
    if seconds < _HELD_S or reading - closed < _LOWEST_STOP_PCT:
        return NOMINAL_OPEN_PCT, False
    if reading >= _CLEAR_STOP_PCT:
        return reading, True
    below = (known < top - _BAND_PCT) & (known >= top - _BAND_PCT - 5.0)
    dense = float(pile.sum()) / _BAND_PCT >= _PILE_RATIO * float(below.sum()) / 5.0
    with np.errstate(invalid="ignore"):
        there = throttle_pct >= top - _BAND_PCT
    visits = int((there[1:] & ~there[:-1]).sum())
    return (reading, True) if dense and visits >= _VISITS else (NOMINAL_OPEN_PCT, False)


IDLE_RPM = (300.0, 2500.0)
IDLE_OPENING_PCT = 50.0
_IDLE_S = 5.0


def reading_at_idle(throttle_pct: FloatArray, rpm: FloatArray, speed_mps: FloatArray, step_s: float) -> float | None:
    """Median reading while the bike stands and the engine idles; None under 5 s of that.

    An engine can't idle with the throttle open: a reading of IDLE_OPENING_PCT or more there is not the throttle's
    opening (an intake flap, a demand, an inverted sensor).
    """
    with np.errstate(invalid="ignore"):
        idling = (speed_mps < 0.5) & (rpm > IDLE_RPM[0]) & (rpm < IDLE_RPM[1]) & np.isfinite(throttle_pct)
    return float(np.median(throttle_pct[idling])) if idling.sum() * step_s >= _IDLE_S else None
