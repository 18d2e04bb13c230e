"""What the conservative map does to heat input: what one ride gives to the estimate, and the estimate over rides.

The columns of a ride's windows are in effect_columns, whether the map was used apart from the ground in effect_ground,
the fit in effect_fit. Here rides are turned into sums small enough to keep (`part_of`), and sums into an answer
(`pooled`): a ratio with its 95 % interval, or why there is none.

The fit compares the maps at the same throttle and engine speed. At the same work, which is what is asked for, the
conservative map needs more throttle: LOST_* say how much less work it is taken to do, and the heat that costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.analysis import effect_columns, effect_fit, effect_ground
from ridelog.analysis.effect_columns import COLUMNS, RISE, TERRAINS, Track
from ridelog.analysis.effect_fit import Sums
from ridelog.analysis.thermal import STEP_S
from ridelog.results import Band, FloatArray

FORM = 1
"""Rises when what is kept of a ride means something else than before: it is then made anew."""

LEAST_WINDOWS = 10
LEAST_RIDES = 4
"""Rides on which both maps were used: from fewer the scatter between rides can't be told."""

LEAST_ON_S = 60.0
"""A ride with less than this on one of the maps, in windows that count, is taken as ridden on the other."""

LEAST_IN_ALL_S = 600.0
"""So long on each map, over all rides."""

MOST_EXPLAINED = 0.75
"""Where the ground explains more than this of the map's use, maps and ground can't be told apart. Simulated riders who
switch exactly with the sand reach 0.9, those who are late, forget and use the map elsewhere 0.2 to 0.6."""

WIDEST = 0.20
"""An interval wider than this is hardly better than what is assumed without any ride."""

BUILD_SD = 0.03
"""Between bikes of one build, in the logarithm: for a bike that is told of by others. As in the heat balance."""

MODEL_SD = 0.01
"""What a balance of one lump is off beyond what the scatter shows. Assumed."""

LOST_AT_NONE, LOST_PER_HEAT, LOST_SD = 0.02, 0.2, 0.02
"""Work the conservative map does not do at the same throttle: 2 %, and 0.2 % more for each per cent of heat saved, good
to 4 %. A calculation of one zone gives 6 % less work for 19 % less wall heat by later ignition alone; a richer mixture
costs some more. There is no published figure for an injected two-stroke."""

HEAT_PER_CHARGE = 0.8
"""Heat to the walls grows with about this power of the charge."""

FOLLOWS = 0.9
"""A coolant follows the engine where the balance foretells it better than a drift back to its mean, by a tenth of the
mean square error."""

HELD_S = 20.0
"""A map that changes more often than this on average, all through a ride, is a bad contact, not a rider."""

Refusal = Literal["short", "numb", "bouncing"]
Reason = Literal["no_rides", "one_map", "few_rides", "little", "ground", "wide", "swapped"]


@dataclass(frozen=True)
class Part:
    """What is kept of a ride. `ground`: sums of effect_ground; `seconds`: by map and ground, (2, 4), of what is plainly
    on one kind of ground; `on_s`: by map, (2,), of all windows; `switches`, `like`: changes of the map, and those on
    like ground."""

    sums: Sums
    ground: FloatArray
    seconds: FloatArray
    on_s: FloatArray
    switches: int
    like: int

    @property
    def both(self) -> bool:
        """Whether both maps were used."""
        return bool(self.on_s.min() >= LEAST_ON_S)


@dataclass(frozen=True)
class Estimate:
    """The effect over rides. Not identified where there is a `reason`; then the bands may stand beside it, None where
    nothing was fitted. `explained`: share of the map's use that the ground explains."""

    ratio: Band | None
    same_throttle: Band | None
    reason: Reason | None
    explained: float | None
    freedom: float | None
    rides_with_both: int


def part_of(track: Track) -> Part | Refusal:
    """What a ride gives: "short" where too few windows are known, "numb" where the coolant does not follow the engine,
    "bouncing" where the map changes as no rider changes it."""
    used = track.conservative[np.isfinite(track.conservative)]
    if np.count_nonzero(np.diff(used)) > used.size * track.step_s / HELD_S:
        return "bouncing"
    rows, starts = effect_columns.windows(track)
    if starts.size < LEAST_WINDOWS:
        return "short"
    weight = np.ones(starts.size)
    error = np.zeros(starts.size)
    for _ in range(2):
        # Once more with large errors counted less: a splash of water is no heat that the map saved.
        own = effect_fit.fit([_sums(rows, weight)])
        error = rows @ own.weights[0]
        size = max(effect_fit.LEAST_ERROR_C, 1.4826 * float(np.median(np.abs(error))))
        weight = 1.0 / np.sqrt(1.0 + (error / (2.0 * size)) ** 2)
    if float((error**2).mean()) > FOLLOWS * _drifting(rows[:, RISE], track.coolant_c[:: track.size][starts]):
        return "numb"
    inside = effect_columns.within(starts, track.usable.size)
    on = track.steps(track.conservative)[inside]
    switches, like = effect_ground.switches(track, inside)
    return Part(
        sums=_sums(rows, weight),
        ground=_whole(effect_ground.sums(track)[_GROUND_UPPER], effect_ground.TERMS + 1),
        seconds=effect_ground.seconds(track, inside),
        on_s=STEP_S * np.array([(1.0 - on).sum(), on.sum()]),
        switches=switches,
        like=like,
    )


def _drifting(rise_k: FloatArray, start_c: FloatArray) -> float:
    """Mean square error of a reading that drifts back to its mean, whatever the engine does: the rise by a straight
    line of where it starts from."""
    start = start_c - start_c.mean()
    slope = float(start @ rise_k) / max(float(start @ start), 1e-9)
    return float(((rise_k - rise_k.mean() - slope * start) ** 2).mean())


def _sums(rows: FloatArray, weight: FloatArray) -> Sums:
    """Weighted sums of products, alike in both halves to the last digit: one half is kept."""
    table = (rows * weight[:, None]).T @ rows
    return Sums(_whole(table[_UPPER], COLUMNS), float(weight.sum()))


def pooled(parts: Sequence[Part], *, of_build: bool = False) -> Estimate:
    """The effect over rides. `of_build`: the rides are those of other bikes too, so that the interval holds the spread
    between bikes."""
    both = sum(part.both for part in parts)
    if not parts:
        return Estimate(None, None, "no_rides", None, None, 0)
    on_s = np.sum([part.on_s for part in parts], axis=0)
    if on_s.min() < LEAST_ON_S:
        return Estimate(None, None, "one_map", None, None, both)
    explained = effect_ground.explained([part.ground for part in parts])
    if both < LEAST_RIDES:
        return Estimate(None, None, "few_rides", explained, None, both)
    if on_s.min() < LEAST_IN_ALL_S:
        return Estimate(None, None, "little", explained, None, both)
    found = effect_fit.fit([part.sums for part in parts])
    error = max(found.scatter, found.spread) * _two_sided(found.freedom)
    more = 1.96 * float(np.hypot(MODEL_SD, BUILD_SD if of_build else 0.0))
    lost = LOST_AT_NONE + LOST_PER_HEAT * (1.0 - float(np.exp(found.log_ratio)))
    same_work = found.log_ratio - HEAT_PER_CHARGE * float(np.log1p(-lost))
    ratio = _band(same_work, float(np.sqrt(error**2 + more**2 + (1.96 * HEAT_PER_CHARGE * LOST_SD) ** 2)))
    same_throttle = _band(found.log_ratio, float(np.hypot(error, more)))
    reason: Reason | None = None
    if explained > MOST_EXPLAINED:
        reason = "ground"
    elif same_throttle.low > 1.0:
        reason = "swapped"
    elif ratio.high - ratio.low > WIDEST:
        reason = "wide"
    return Estimate(ratio, same_throttle, reason, explained, found.freedom, both)


def _two_sided(freedom: float) -> float:
    """Student's t at 97.5 % for whole or broken degrees of freedom."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975))


def _band(log_value: float, half: float) -> Band:
    return Band(*(float(np.exp(log_value + shift)) for shift in (0.0, -half, half)))


# -- as numbers -------------------------------------------------------------------------------------------------------

_UPPER = np.triu_indices(COLUMNS)
_GROUND_UPPER = np.triu_indices(effect_ground.TERMS + 1)
_PLAIN = 3 + 2 * (1 + len(TERRAINS)) + 2
NUMBERS = _PLAIN + _UPPER[0].size + _GROUND_UPPER[0].size


def numbers_of(part: Part) -> FloatArray:
    """A part as one row of NUMBERS numbers."""
    plain = np.concatenate([[part.sums.windows, part.switches, part.like], part.seconds.ravel(), part.on_s])
    return np.concatenate([plain, part.sums.table[_UPPER], part.ground[_GROUND_UPPER]])


def part_from(numbers: FloatArray) -> Part | None:
    """The part that `numbers_of` made the row from; None where it can't be one."""
    if (
        numbers.shape != (NUMBERS,)
        or not np.isfinite(numbers).all()
        or numbers[0] <= 0.0
        or (numbers[:_PLAIN] < 0).any()
    ):
        return None
    plain, upper, ground = np.split(numbers, [_PLAIN, _PLAIN + _UPPER[0].size])
    grounds = 1 + len(TERRAINS)
    return Part(
        sums=Sums(_whole(upper, COLUMNS), float(plain[0])),
        ground=_whole(ground, effect_ground.TERMS + 1),
        seconds=plain[3 : 3 + 2 * grounds].reshape(2, grounds),
        on_s=plain[3 + 2 * grounds :],
        switches=round(float(plain[1])),
        like=round(float(plain[2])),
    )


def _whole(upper: FloatArray, count: int) -> FloatArray:
    table = np.zeros((count, count))
    table[np.triu_indices(count)] = upper
    return table + np.triu(table, 1).T
