"""Which of two maps was on, told from a logged ignition angle and both maps' tables.

A hidden-state model in steps of a second. The state is the map and what the channel is off the table in use, which
drifts slowly: an offset of the logger, and what the engine's control adds for air and coolant. Each second speaks
through its steadiest reading, with a spread that grows where the tables are steep or the engine moves between cells;
readings further off than that say little, and those below the table (an engine that retards for knock) nothing of
which map it was. A switch is rare (`SWITCH_EVERY_S`). Forward and backward sums over all paths give the probability of
each map at each second (Rabiner 1989, a textbook method); the most likely path (`viterbi.cheapest_path`) must say the
same before a map is called known.

What it can't see: tables swapped in the bike file turn all answers round; a retard that lasts as long as a stretch on
the other map, by just the angle the maps differ, is taken for that map.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.viterbi import cheapest_path
from ridelog.ignition_table import IgnitionTable
from ridelog.results import BoolArray, FloatArray

KNOWN_AT = 0.99
"""A map is called known where its probability is at least this."""

SURE_AT = 0.999
"""A verdict that speaks against the rider needs so much over the time it speaks of."""

SECOND_S = 1.0
SWITCH_EVERY_S = 600.0
"""Mean time between switches of the map. Common practice, no source."""

OFFSETS_DEG: tuple[float, ...] = tuple(np.arange(-10.0, 10.01, 0.5).tolist())
OFFSET_USUAL_DEG, OFFSET_WIDE_DEG, OFFSET_WIDE_SHARE = 0.7, 5.0, 0.2
"""Most channels show the table's own angle, some are off by several degrees. Assumed."""

DRIFT_DEG = 0.03
"""How far the offset moves in a second, standard deviation; it adds up as a random walk."""

SPREADS_DEG = (0.4, 1.0, 2.0)
SPREAD_FROM = 1200
"""Spread of a steady reading about the table: the ride's own is found among these, from so many readings."""

BELOW_SHARE, BELOW_DEG = 0.12, 15.0
ASTRAY_SHARE, ASTRAY_DEG = 0.08, 80.0
"""Share of readings below the table, anywhere within 15 degrees, and anywhere at all. Assumed."""

WEIGHT = 0.5
"""What one second's reading counts: its neighbours miss the table in the same way."""

RPM_OFF, THROTTLE_OFF_PCT, WITHIN_S, MOVING_SHARE = 100.0, 3.0, 0.6, 0.5
"""The engine's own figures may differ from the logged ones by so much, and by as much as they move in 0.6 s."""

SHUT_PCT, SLOWEST_RPM = 4.0, 2500.0
"""Below these the engine's control may set the angle by itself: idle, and the throttle shut."""

APART = 2.0
"""Where the tables differ by fewer spreads than this, a reading tells of the offset only: many small hints that all err
alike would add up to a certainty."""

LEAST_S, LEAST_DIFFER_S = 60.0, 10.0
FOLLOWS_SHARE, FOLLOWS_DEG = 0.6, 1.0
"""The channel is believed where half of the readings lie closer to the table of the map found than 0.6 of the middle
deviation of table or readings over the ride, the smaller one, or than 1 degree."""

WANDERS_DEG = 6.0
"""A channel whose offset has to move by more than this over the ride follows something else than these tables."""

SHORTEST_S = 4.0
"""A map that would have been on for less than this is not called known."""


@dataclass(frozen=True)
class Inferred:
    """The map second by second.

    `conservative` is the probability of the conservative map, `known` 1 (conservative), 0 (standard) or -1 where that
    is under KNOWN_AT; one entry a second from the ride's start. `offset_deg` is the channel less the table, over the
    ride: middle, lowest and highest. `spread_deg`: of steady readings about the table. `telling_s`: seconds in which a
    reading was of use and the tables differ by APART spreads at least.
    """

    conservative: FloatArray
    known: np.ndarray[tuple[int], np.dtype[np.int8]]
    offset_deg: tuple[float, float, float]
    spread_deg: float
    telling_s: float


@dataclass(frozen=True)
class Unlike:
    """Why nothing is inferred: `reason` is "short" (`figure`: usable seconds), "alike" (seconds in which the tables
    differ), "strange" (degrees that half of the readings are off the nearer table, or more) or "wanders" (degrees by
    which the offset would have to move)."""

    reason: str
    figure: float


def advance_deg(table: IgnitionTable, rpm: FloatArray, throttle_pct: FloatArray) -> FloatArray:
    """The table at given places, degrees: straight lines between cells, the edge beyond them; NaN where not known."""
    cells = np.asarray(table.advance_deg)
    row, up = _between(np.asarray(table.rpm), rpm)
    column, right = _between(np.asarray(table.throttle_pct), throttle_pct)
    low = cells[row, column] * (1.0 - right) + cells[row, column + 1] * right
    high = cells[row + 1, column] * (1.0 - right) + cells[row + 1, column + 1] * right
    return np.asarray(low * (1.0 - up) + high * up, dtype=np.float64)


def _between(axis: FloatArray, at: FloatArray) -> tuple[np.ndarray[tuple[int], np.dtype[np.int64]], FloatArray]:
    index = np.clip(np.searchsorted(axis, at, "right") - 1, 0, axis.size - 2)
    return index, np.clip((at - axis[index]) / (axis[index + 1] - axis[index]), 0.0, 1.0)


@dataclass(frozen=True)
class _Seconds:
    """The reading of each second that has one: its index, what both tables give there (2, n) with what the place is
    good for, and what was read."""

    index: np.ndarray[tuple[int], np.dtype[np.int64]]
    table_deg: FloatArray
    place_deg: FloatArray
    read_deg: FloatArray

    def telling(self, spread_deg: float) -> BoolArray:
        """Where the tables differ enough to tell the maps apart."""
        apart = np.abs(self.table_deg[1] - self.table_deg[0])
        return np.asarray(apart >= APART * np.hypot(spread_deg, self.place_deg.max(axis=0)), dtype=np.bool_)


def infer(
    *,
    step_s: float,
    read_deg: FloatArray,
    rpm: FloatArray,
    throttle_pct: FloatArray,
    standard: IgnitionTable,
    conservative: IgnitionTable,
    resolution_deg: float,
) -> Inferred | Unlike:
    """The map in use, or why it can't be told.

    All arrays lie on one uniform grid of `step_s`; `read_deg` is NaN where the channel has no new reading (a value
    repeated or drawn between two readings is none), `throttle_pct` runs from 0 shut to 100 wide open.
    """
    seconds = math.ceil(read_deg.size * step_s / SECOND_S - 1e-9)
    told = _steadiest(
        step_s=step_s,
        read_deg=read_deg,
        rpm=rpm,
        throttle_pct=throttle_pct,
        tables=(standard, conservative),
        resolution_deg=resolution_deg,
    )
    if told.index.size < LEAST_S:
        return Unlike("short", float(told.index.size))
    differ = float(np.count_nonzero(told.telling(SPREADS_DEG[0])))
    if differ < LEAST_DIFFER_S:
        return Unlike("alike", differ)
    spread = _spread(told)
    likely = np.zeros((seconds, 2, len(OFFSETS_DEG)))
    likely[told.index] = _log_likelihood(told, spread)
    joint = _forward_backward(likely)
    chances = joint.sum(axis=2)
    offsets = joint.sum(axis=1)
    path = _path(likely, offsets)
    middle = offsets @ np.asarray(OFFSETS_DEG)
    miss_deg, allowed_deg = _misses(told, middle, path)
    if miss_deg > allowed_deg:
        return Unlike("strange", miss_deg)
    wandered_deg = float(np.ptp(middle[told.index]))
    if wandered_deg > WANDERS_DEG:
        return Unlike("wanders", wandered_deg)
    known = np.where(chances[np.arange(seconds), path] >= KNOWN_AT, path, -1).astype(np.int8)
    return Inferred(
        conservative=chances[:, 1],
        known=_without_moments(known),
        offset_deg=(float(np.median(middle[told.index])), float(middle.min()), float(middle.max())),
        spread_deg=spread,
        telling_s=float(np.count_nonzero(told.telling(spread))) * SECOND_S,
    )


def _steadiest(
    *,
    step_s: float,
    read_deg: FloatArray,
    rpm: FloatArray,
    throttle_pct: FloatArray,
    tables: tuple[IgnitionTable, IgnitionTable],
    resolution_deg: float,
) -> _Seconds:
    with np.errstate(invalid="ignore"):
        usable = np.isfinite(read_deg) & (rpm >= SLOWEST_RPM) & (throttle_pct >= SHUT_PCT)
    reach = max(1, round(WITHIN_S / step_s))
    values, spreads = [], []
    for table in tables:
        here = advance_deg(table, rpm, throttle_pct)
        low, high = here.copy(), here.copy()
        for shift in range(1, reach + 1):
            for there, back in ((slice(shift, None), slice(None, -shift)), (slice(None, -shift), slice(shift, None))):
                np.minimum(low[back], here[there], out=low[back])
                np.maximum(high[back], here[there], out=high[back])
        by_rpm = advance_deg(table, rpm + RPM_OFF, throttle_pct) - advance_deg(table, rpm - RPM_OFF, throttle_pct)
        by_grip = advance_deg(table, rpm, throttle_pct + THROTTLE_OFF_PCT) - advance_deg(
            table, rpm, throttle_pct - THROTTLE_OFF_PCT
        )
        place = (MOVING_SHARE * (high - low)) ** 2 + (by_rpm / 2.0) ** 2 + (by_grip / 2.0) ** 2
        values.append(here)
        spreads.append(np.sqrt(place + resolution_deg**2 / 12.0))
    place_deg = np.stack(spreads)
    usable &= np.isfinite(place_deg).all(axis=0)
    at = np.flatnonzero(usable)
    second = (at * step_s / SECOND_S + 1e-9).astype(np.int64)
    order = np.lexsort((place_deg[:, at].max(axis=0), second))
    first = np.concatenate([[True], np.diff(second[order]) > 0]) if order.size else np.zeros(0, dtype=np.bool_)
    chosen = at[order][first]
    return _Seconds(second[order][first], np.stack(values)[:, chosen], place_deg[:, chosen], read_deg[chosen])


def _spread(told: _Seconds) -> float:
    """The spread that explains the first readings best."""
    cut = slice(SPREAD_FROM)
    first = _Seconds(told.index[cut], told.table_deg[:, cut], told.place_deg[:, cut], told.read_deg[cut])
    return max(SPREADS_DEG, key=lambda spread: _forward(np.exp(_log_likelihood(first, spread)))[1])


def _log_likelihood(told: _Seconds, spread_deg: float) -> FloatArray:
    """(second, map, offset), each second weighed by WEIGHT."""
    table, place = told.table_deg, told.place_deg
    unsure = ~told.telling(spread_deg)
    between = table.mean(axis=0)
    place = np.where(unsure, np.hypot(place.max(axis=0), table[0] - between), place)
    table = np.where(unsure, between, table)
    spread = np.sqrt(spread_deg**2 + place.T[:, :, None] ** 2)
    off = (told.read_deg[:, None] - table.T)[:, :, None] - np.asarray(OFFSETS_DEG)
    near = np.exp(-0.5 * (off / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))
    below = np.where((off < spread) & (off > -BELOW_DEG), BELOW_SHARE / BELOW_DEG, 0.0)
    chance = (1.0 - BELOW_SHARE - ASTRAY_SHARE) * near + below + ASTRAY_SHARE / ASTRAY_DEG
    return np.asarray(WEIGHT * np.log(chance), dtype=np.float64)


def _forward(weight: FloatArray) -> tuple[FloatArray, float]:
    """Probability of map and offset at each second given what came up to it, and the log of how well all was told."""
    stay, move = _switching(), _drift()
    found = np.empty_like(weight)
    totals = np.empty(weight.shape[0])
    state = _start() * weight[0]
    for n, here in enumerate(weight):
        if n:
            state = stay @ state @ move
            state *= here
        totals[n] = total = state.sum()
        state /= total
        found[n] = state
    return found, float(np.log(totals).sum())


def _forward_backward(likely: FloatArray) -> FloatArray:
    """Probability of map and offset at each second, given all of them; sums to 1 a second."""
    weight = np.exp(likely - likely.max(axis=(1, 2), keepdims=True))
    found, _ = _forward(weight)
    stay, move = _switching(), _drift()
    state = np.ones(weight.shape[1:])
    for n in range(weight.shape[0] - 2, -1, -1):
        # Both chances of a change are the same either way.
        state = stay @ (state * weight[n + 1]) @ move
        state /= state.sum()
        found[n] *= state
    found /= found.sum(axis=(1, 2), keepdims=True)
    return found


def _switch_chance() -> float:
    """Chance that the map after a second is the other one, switches coming at random, SWITCH_EVERY_S apart in the
    mean."""
    return 0.5 * (1.0 - math.exp(-2.0 * SECOND_S / SWITCH_EVERY_S))


def _switching() -> FloatArray:
    """Chance of each map after a second, by the map before."""
    other = _switch_chance()
    return np.array([[1.0 - other, other], [other, 1.0 - other]])


def _start() -> FloatArray:
    """What is thought of map and offset before anything is read."""
    offsets = np.asarray(OFFSETS_DEG)

    def bell(width: float) -> FloatArray:
        shape = np.exp(-0.5 * (offsets / width) ** 2)
        return np.asarray(shape / shape.sum())

    chance = (1.0 - OFFSET_WIDE_SHARE) * bell(OFFSET_USUAL_DEG) + OFFSET_WIDE_SHARE * bell(OFFSET_WIDE_DEG)
    return np.stack([chance, chance]) / 2.0


def _drift() -> FloatArray:
    """Chance of each offset after a second, by the offset before: a walk that stays within the ends."""
    step = OFFSETS_DEG[1] - OFFSETS_DEG[0]
    away = 0.5 * (DRIFT_DEG / step) ** 2
    size = len(OFFSETS_DEG)
    move = np.eye(size) * (1.0 - 2.0 * away) + away * (np.eye(size, k=1) + np.eye(size, k=-1))
    move[0, 0] = move[-1, -1] = 1.0 - away
    return move


def _path(likely: FloatArray, offsets: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.int8]]:
    """The most likely path of the map, each second judged at the offsets found for it."""
    cost = -np.log((np.exp(likely) * offsets[:, None, :]).sum(axis=2))
    # What a switch costs over staying, at the same chance as in the sums over all paths.
    other = _switch_chance()
    return cheapest_path(np.ascontiguousarray(cost), math.log((1.0 - other) / other))


def _misses(
    told: _Seconds, offset_deg: FloatArray, path: np.ndarray[tuple[int], np.dtype[np.int8]]
) -> tuple[float, float]:
    """How far half of the readings lie off the table of the map found, at most, and how far they may."""
    expected = told.table_deg[path[told.index], np.arange(told.index.size)]
    off = np.abs(told.read_deg - expected - offset_deg[told.index])
    moves = min(float(np.median(np.abs(one - np.median(one)))) for one in (expected, told.read_deg))
    return float(np.median(off)), max(FOLLOWS_DEG, FOLLOWS_SHARE * moves)


def _without_moments(
    known: np.ndarray[tuple[int], np.dtype[np.int8]],
) -> np.ndarray[tuple[int], np.dtype[np.int8]]:
    """The same with maps that would have been on for a moment only called not known."""
    edges = np.flatnonzero(np.concatenate([[True], known[1:] != known[:-1], [True]]))
    lengths = np.diff(edges)
    short = (lengths * SECOND_S < SHORTEST_S) & (lengths < known.size)
    return np.where(np.repeat(short, lengths), np.int8(-1), known)
