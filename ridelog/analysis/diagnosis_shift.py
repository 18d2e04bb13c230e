"""How far a ride's heat balance lies from that of the healthy bike, and how well each cause explains the distance.

What the ride alone tells of the parameters is their likelihood, a Gaussian about its best fit. What the healthy bike
would show is the pool of its other rides. A cause moves the parameters along its own direction, by an amount it may
have in any strength: mean and spread stand in `diagnosis_table`. The chance of the ride under a cause then follows in
closed form, with all that the ride leaves open counted in: a cause the ride can't speak of neither gains nor loses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.thermal import AMBIENT, HEAT, KAPPA, NAMES, IndexArray
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import BIKE_SD, RideFit
from ridelog.results import FloatArray

SMALLEST_VARIANCE = 1e-9


@dataclass(frozen=True)
class Direction:
    """What a cause does to the parameters, in the measure of `thermal.NAMES`: `mean` shift, and a `covariance` about
    it."""

    mean: FloatArray
    covariance: FloatArray

    @classmethod
    def of(cls, shift: dict[str, float], strength_sd: float, own_sd: dict[str, float]) -> Direction:
        """From a shift by parameter names, its strength 1 with a spread, and a spread of each parameter of its own."""
        mean = vector(shift)
        return cls(mean, strength_sd**2 * np.outer(mean, mean) + np.diag(vector(own_sd) ** 2))

    def with_other(self, other: Direction) -> Direction:
        """Two causes at once: both shifts, both spreads."""
        return Direction(self.mean + other.mean, self.covariance + other.covariance)


@dataclass(frozen=True)
class Day(Direction):
    """What differs between healthy rides of a bike. `per_10_c`: what a day that much warmer than USUAL_AIR_C moves,
    since a balance of one lump takes the day's heat a little amiss."""

    per_10_c: FloatArray

    def at(self, air_c: float | None) -> Direction:
        """For a ride in air of that temperature; where it is not known, any riding day's."""
        if air_c is None:
            unknown = (AIR_SD_C / 10.0) ** 2 * np.outer(self.per_10_c, self.per_10_c)
            return Direction(self.mean, self.covariance + unknown)
        return Direction(self.mean + self.per_10_c * ((air_c - USUAL_AIR_C) / 10.0), self.covariance)


USUAL_AIR_C, AIR_SD_C = 20.0, 9.0
"""A riding day's air temperature and its spread. Assumed."""


def covariance_of(sd: dict[str, float], percent: Sequence[Sequence[int]]) -> FloatArray:
    """A covariance from standard deviations by parameter names and correlations in per cent, row by row below the
    diagonal; directions that rounding left without a spread are given a little."""
    table = np.eye(len(NAMES))
    for n, row in enumerate(percent, start=1):
        table[n, :n] = table[:n, n] = np.asarray(row, dtype=np.float64) / 100.0
    sizes, axes = np.linalg.eigh(table)
    size = vector(sd)
    return np.asarray(np.outer(size, size) * ((axes * np.maximum(sizes, 1e-3)) @ axes.T))


def vector(values: dict[str, float]) -> FloatArray:
    """Figures by parameter names as a vector, 0 where none is given."""
    result = np.zeros(len(NAMES))
    for name, value in values.items():
        result[NAMES.index(name)] = value
    return result


@dataclass(frozen=True)
class Apart:
    """What the ride tells of the shift from the healthy bike, in information form: precision (n, n) and precision times
    shift (n,); `unmoved`, the logarithm of the ride's chance without a shift, up to a figure that all readings of the
    ride share; and the best estimate of the shift with its spread, for sentences."""

    precision: FloatArray
    pull: FloatArray
    unmoved: float
    shift: FloatArray
    sd: FloatArray

    def log_chance(self, cause: Direction) -> float:
        """Natural logarithm of the ride's chance under a cause, up to a figure that all causes and readings of
        the ride share."""
        covariance = cause.covariance + np.diag(np.full(cause.mean.size, SMALLEST_VARIANCE))
        inverse = np.linalg.inv(covariance)
        pull = self.pull + inverse @ cause.mean
        joint = np.linalg.inv(inverse + self.precision)
        spread = np.linalg.slogdet(np.eye(cause.mean.size) + covariance @ self.precision)[1]
        return self.unmoved + float(0.5 * (pull @ joint @ pull - cause.mean @ inverse @ cause.mean - spread))


def own_word(ride: RideFit) -> tuple[FloatArray, FloatArray]:
    """What the ride says alone, as precision and precision times parameters: its best fit less its prior's pull."""
    free = np.flatnonzero(np.diag(ride.prior_covariance) > 0.0)
    grid = np.ix_(free, free)
    pull = np.zeros(len(NAMES))
    before = np.linalg.inv(ride.prior_covariance[grid])
    pull[free] = ride.information[grid] @ ride.theta[free] + before @ (ride.theta[free] - ride.prior_mean[free])
    return ride.information, pull


def pooled_over(base: Prior) -> tuple[IndexArray, FloatArray]:
    """Parameters that rides are pooled over, the air's temperature apart, and what is known of them before any ride,
    the map's effect among them."""
    whole = base.covariance.copy()
    if whole[KAPPA, KAPPA] == 0.0:
        whole[KAPPA, KAPPA] = base.ratio_sd**2
    return np.array([i for i in np.flatnonzero(np.diag(whole) > 0.0) if i != AMBIENT]), whole


def healthy(rides: Sequence[RideFit], base: Prior, day_to_day: Day) -> Prior:
    """The bike as its healthy rides tell of it, on a day of USUAL_AIR_C, without what differs from day to day: `base`,
    what is known of any such bike, updated by each ride. In place of the wide spread between rides that fits start
    from, that of `day_to_day` is taken here: a fault has to stand out from how healthy rides really differ."""
    over, whole = pooled_over(base)
    grid = np.ix_(over, over)
    precision = np.linalg.inv(whole[grid])
    pull = precision @ base.mean[over]
    between = np.diag([BIKE_SD.get(int(i), 0.0) ** 2 for i in over])
    for ride in rides:
        told, towards = own_word_without_air(ride, over)
        day = day_to_day.at(ride.air_c)
        # The day's mean of any ride stays in the bike's: rides are held against others, never against no day at all.
        towards = towards - told @ (day.mean - day_to_day.mean)[over]
        variance = day.covariance[grid] + (between if ride.other is not None else 0.0)
        shrink = np.linalg.inv(np.eye(over.size) + told @ variance)
        precision, pull = precision + shrink @ told, pull + shrink @ towards
    covariance, mean = whole, base.mean.copy()
    covariance[grid] = np.linalg.inv(0.5 * (precision + precision.T))
    mean[over] = covariance[grid] @ pull
    return Prior(mean, covariance, base.ratio_sd)


@dataclass(frozen=True)
class MapEffect:
    """What other rides tell of the conservative map: logarithm of heat on it over heat on the standard one."""

    log_ratio: float
    sd: float

    @property
    def proves_numbers(self) -> bool:
        """The map named conservative makes less heat, beyond doubt: the slot numbers are the right way round."""
        return self.log_ratio + 2.0 * self.sd < 0.0

    @property
    def numbers_doubtful(self) -> bool:
        """The map named conservative makes more heat, likely: the slot numbers may be the other way round."""
        return self.log_ratio > self.sd


UNTOLD_MAP_SD = 0.2
"""How much a map may change the heat either way, where nothing is taken for granted of it."""


def map_effect(rides: Sequence[RideFit], base: Prior, day_to_day: Day) -> MapEffect:
    """From rides that used both maps, without the usual belief that the conservative one makes less heat."""
    covariance, mean = base.covariance.copy(), base.mean.copy()
    covariance[KAPPA, :] = covariance[:, KAPPA] = 0.0
    covariance[KAPPA, KAPPA], mean[KAPPA] = UNTOLD_MAP_SD**2, 0.0
    known = healthy([ride for ride in rides if ride.other is None], Prior(mean, covariance), day_to_day)
    return MapEffect(float(known.mean[KAPPA]), float(np.sqrt(known.covariance[KAPPA, KAPPA])))


def own_word_without_air(ride: RideFit, over: IndexArray) -> tuple[FloatArray, FloatArray]:
    """What the ride says alone of some parameters, with the air's temperature, that day's own, averaged out."""
    precision, pull = own_word(ride)
    told, towards = precision[np.ix_(over, over)], pull[over]
    variance = float(ride.prior_covariance[AMBIENT, AMBIENT])
    if variance <= 0.0:
        return told, towards
    across = precision[over, AMBIENT]
    air = float(precision[AMBIENT, AMBIENT]) + 1.0 / variance
    return told - np.outer(across, across) / air, towards - across * (float(pull[AMBIENT]) / air)


def apart(ride: RideFit, known: Prior, day: Direction, conservative_share: float = 0.0) -> Apart:
    """The shift of a ride from the healthy bike `known` (see `healthy`). `day`: what the day may move (see `Day.at`);
    `conservative_share`: share of the heat taken as made on the conservative map where the log does not tell the
    map."""
    precision, pull = own_word(ride)
    free = np.diag(known.covariance) > 0.0
    spread = np.where(free[:, None] & free[None, :], known.covariance + day.covariance, 0.0)
    mean = known.mean + np.where(free, day.mean, 0.0)
    mean[HEAT] += conservative_share * known.mean[KAPPA]
    shrink = np.linalg.inv(np.eye(mean.size) + precision @ spread)
    told = shrink @ precision
    told = 0.5 * (told + told.T)
    moved = shrink @ pull - told @ mean
    unmoved = float(mean @ (shrink @ pull) - 0.5 * mean @ told @ mean)
    # For sentences only: what may have changed is taken as widely spread as the fit itself took it.
    loose = np.diag(ride.prior_covariance) + SMALLEST_VARIANCE
    posterior = np.linalg.inv(told + np.diag(1.0 / loose))
    return Apart(told, moved, unmoved, posterior @ moved, np.sqrt(np.diag(posterior)))


def log_mean(values: Sequence[float], weights: Sequence[float]) -> float:
    """Logarithm of the weighted mean of figures given by their logarithms."""
    top = max(values)
    return top + float(np.log(sum(w * np.exp(v - top) for v, w in zip(values, weights, strict=True))))
