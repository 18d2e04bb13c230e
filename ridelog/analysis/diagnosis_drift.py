"""Has the bike changed little by little over its rides, or at once?

The rides before this one and this one tell of one bike whose cooling on the move, or whose heat, is either the same all
along, or moves evenly with the days, or by a step between two of the rides. Each is a Gaussian model of what the rides
say alone; their chances follow in closed form. Where a change of the worse kind is clear, the bike is held against what
it was before that change: rides that carry the trouble already are no picture of the healthy bike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from ridelog.analysis.diagnosis_shift import Day, log_mean, own_word_without_air, pooled_over
from ridelog.analysis.thermal import FLOW, HEAT, IndexArray
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import RideFit
from ridelog.results import FloatArray

LEAST_RIDES, LEAST_DAYS = 4, 14
"""Rides, this one among them, and days from the first to the last, from which on a drift is looked for."""

CHANGE_SD = 0.3
"""How large a change may be, in natural logarithms, before the rides are seen. Assumed."""

CLEAR, CLEAR_OF_STEP = 3.0, 1.1
"""A change is told where it makes the rides 20 times likelier than none; a drift, where it makes them three times
likelier than a step does."""

LEAST_CHANGE = 0.08


@dataclass(frozen=True)
class Drift:
    """A change over rides. `what`: "cooling" on the move, or "heat" for the work; `change`: its natural logarithm from
    the first ride to this one, with its spread; `rides`, `days`: what it was seen over; `since`: the first ride after a
    step. `before`: the bike as it was at first."""

    kind: Literal["drift", "step"]
    what: Literal["cooling", "heat"]
    change: float
    sd: float
    rides: int
    days: int
    since: date | None
    before: Prior


def drift(own: RideFit, own_day: date | None, rides: Sequence[RideFit], base: Prior, day: Day) -> Drift | None:
    """The clearest change for the worse over the bike's rides up to this one; None where there is none, or the rides
    can't tell. `own` bears the air's temperature of its day."""
    if own_day is None:
        return None
    earlier = [(ride.day, ride) for ride in rides if ride.other is None and ride.day is not None and ride.day < own_day]
    earlier.sort(key=lambda one: (one[0], one[1].ride))
    dated = [*earlier, (own_day, own)]
    days = np.array([(when - dated[0][0]).days for when, _ in dated], dtype=np.float64)
    if len(dated) < LEAST_RIDES or days[-1] < LEAST_DAYS:
        return None
    task = _Task.of([ride for _, ride in dated], base, day)
    even = days / days[-1]
    still = task.solve(HEAT, np.zeros_like(days)).chance
    found: list[tuple[float, Drift]] = []
    for axis, what, worse in ((FLOW, "cooling", -1.0), (HEAT, "heat", 1.0)):
        slope = task.solve(axis, even)
        steps = [task.solve(axis, (np.arange(days.size) >= k).astype(np.float64)) for k in range(1, days.size)]
        best = int(np.argmax([one.chance for one in steps]))
        any_step = log_mean([one.chance for one in steps], [1.0 / len(steps)] * len(steps))
        gradual = slope.chance - any_step >= CLEAR_OF_STEP
        chosen = slope if gradual else steps[best]
        gained = (slope.chance if gradual else any_step) - still
        # A step between the last ride and this one is what every fault is: the causes weigh it, no drift does.
        at_once = not gradual and best == len(steps) - 1
        if gained < CLEAR or worse * chosen.change < LEAST_CHANGE or at_once:
            continue
        since = None if gradual else dated[best + 1][0]
        kind: Literal["drift", "step"] = "drift" if gradual else "step"
        named: Literal["cooling", "heat"] = "cooling" if what == "cooling" else "heat"
        told = Drift(kind, named, chosen.change, chosen.sd, len(dated), int(days[-1]), since, chosen.before)
        found.append((gained, told))
    return max(found, key=lambda one: one[0])[1] if found else None


@dataclass(frozen=True)
class _Solved:
    chance: float
    change: float
    sd: float
    before: Prior


@dataclass(frozen=True)
class _Task:
    """What each ride says of the bike that day, precisions (rides, k, k) and pulls (rides, k) over the parameters
    `over`, and what is known of any such bike."""

    precisions: FloatArray
    pulls: FloatArray
    over: IndexArray
    base: Prior

    @classmethod
    def of(cls, rides: Sequence[RideFit], base: Prior, day: Day) -> _Task:
        over, known = pooled_over(base)
        grid = np.ix_(over, over)
        precisions, pulls = [], []
        for ride in rides:
            told, towards = own_word_without_air(ride, over)
            that = day.at(ride.air_c)
            towards = towards - told @ (that.mean - day.mean)[over]
            shrink = np.linalg.inv(np.eye(over.size) + told @ that.covariance[grid])
            precisions.append(shrink @ told)
            pulls.append(shrink @ towards)
        return cls(np.array(precisions), np.array(pulls), over, Prior(base.mean, known, base.ratio_sd))

    def solve(self, axis: int, share: FloatArray) -> _Solved:
        """With a change along `axis` of which each ride has its share."""
        over, size = self.over, self.over.size
        towards = np.zeros(size + 1)
        place = int(np.flatnonzero(over == axis)[0])
        before = np.zeros((size + 1, size + 1))
        before[:size, :size] = np.linalg.inv(self.base.covariance[np.ix_(over, over)])
        before[size, size] = 1.0 / CHANGE_SD**2
        towards[:size] = before[:size, :size] @ self.base.mean[over]
        precision, pull = before.copy(), towards.copy()
        for told, said, part in zip(self.precisions, self.pulls, share, strict=True):
            onto = np.concatenate([np.eye(size), part * np.eye(size)[:, [place]]], axis=1)
            precision += onto.T @ told @ onto
            pull += onto.T @ said
        covariance = np.linalg.inv(0.5 * (precision + precision.T))
        best = covariance @ pull
        spread = np.linalg.slogdet(precision)[1] - np.linalg.slogdet(before)[1]
        chance = 0.5 * (pull @ best - towards @ np.linalg.solve(before, towards) - spread)
        mean, whole = self.base.mean.copy(), self.base.covariance.copy()
        mean[over], whole[np.ix_(over, over)] = best[:size], covariance[:size, :size]
        return _Solved(
            float(chance),
            float(best[size]),
            float(np.sqrt(covariance[size, size])),
            Prior(mean, whole, self.base.ratio_sd),
        )
