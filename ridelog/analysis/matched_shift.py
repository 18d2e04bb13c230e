"""Two sets of rides under one heat balance: what each side's rides tell together, and how far the sides lie apart.

What a ride alone tells of the parameters is a Gaussian about its best fit, without the pull of the prior it was fitted
with and with the air of its day averaged out. Healthy rides differ from day to day, so each ride tells of its bike that
much less. The others tell of the bike, the first side of the bike moved by an unknown shift: both follow together, from
one matrix, and the difference is drawn from it. What a one-lump model is off by for this plant is on both sides and
drops out of the difference; it is in the band of each side.

Source: the normal hierarchical model of any textbook of Bayesian statistics, from memory; a worked case in the tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.thermal import AMBIENT, HEAT, KAPPA, NAMES, STEP_S, Conditions, IndexArray, Plant
from ridelog.analysis.thermal_fit import Prior
from ridelog.analysis.thermal_prior import FAULT_SD, RIDE_SD, RideFit
from ridelog.analysis.thermal_use import MODEL_SD, SEED, Drawn, Figures, figures
from ridelog.results import FloatArray

DRAWS = 400

MAP_UNKNOWN_SD = 0.06
"""Spread of the logarithm of the heat of a ride whose map was not logged: the conservative one makes about a tenth
less."""


@dataclass(frozen=True)
class Told:
    """What one ride tells. `heat_sd`: spread of the logarithm of its heat for what its log leaves open of the map;
    `bike` sets rides of several bikes on one side apart."""

    fit: RideFit
    heat_sd: float = 0.0
    bike: str = ""


@dataclass(frozen=True)
class Sides:
    """Parameter vectors of both sides drawn together, (1 + DRAWS, parameters) each, the best estimate first."""

    first: FloatArray
    others: FloatArray

    def middle(self) -> FloatArray:
        """One vector that favours neither side."""
        return np.asarray(0.5 * (self.first[0] + self.others[0]))


def joint(
    first: Sequence[Told],
    others: Sequence[Told],
    base: Prior,
    day_to_day: FloatArray,
    between: FloatArray | None = None,
) -> Sides:
    """Both sides' parameters; `day_to_day` (n,) is the variance between healthy rides of a bike, one ride at least on
    each side. What neither side tells stays as `base` has it, alike on both. `between` (n,), the variance between
    healthy bikes of a build, makes the others the mean of their build."""
    whole = base.covariance.copy()
    if whole[KAPPA, KAPPA] == 0.0:
        whole[KAPPA, KAPPA] = base.ratio_sd**2
    over = np.array([i for i in np.flatnonzero(np.diag(whole) > 0.0) if i != AMBIENT])
    count = over.size
    before = np.linalg.inv(whole[np.ix_(over, over)])
    moves = np.diag([1.0 / FAULT_SD.get(int(i), RIDE_SD.get(int(i), 0.1)) ** 2 for i in over])
    here, pull_here = _together(first, over, day_to_day)
    there, pull_there = np.zeros((count, count)), np.zeros(count)
    for bike in sorted({ride.bike for ride in others}):
        part, pull_part = _together([ride for ride in others if ride.bike == bike], over, day_to_day)
        if between is not None:
            shrink = np.linalg.inv(np.eye(count) + part * between[over][None, :])
            part, pull_part = shrink @ part, shrink @ pull_part
        there, pull_there = there + 0.5 * (part + part.T), pull_there + pull_part
    precision = np.block([[here + moves, -moves], [-moves, there + moves + before]])
    pull = np.concatenate([pull_here, pull_there + before @ base.mean[over]])
    covariance = np.linalg.inv(0.5 * (precision + precision.T))
    mean = covariance @ pull
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = mean + np.random.default_rng(SEED).standard_normal((DRAWS, 2 * count)) @ root.T
    rows = np.vstack([mean[None], drawn])
    sides = []
    for part in (rows[:, :count], rows[:, count:]):
        thetas = np.repeat(base.mean[None], DRAWS + 1, axis=0)
        thetas[:, over] = part
        thetas[:, AMBIENT] = 0.0
        sides.append(thetas)
    return Sides(*sides)


def _together(rides: Sequence[Told], over: IndexArray, day_to_day: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Precision and precision times mean of what rides tell of their bike."""
    precision, pull = np.zeros((over.size, over.size)), np.zeros(over.size)
    for ride in rides:
        told, towards = _without_air(ride.fit, over)
        variance = day_to_day.copy()
        variance[HEAT] += ride.heat_sd**2
        shrink = np.linalg.inv(np.eye(over.size) + told * variance[over][None, :])
        precision, pull = precision + shrink @ told, pull + shrink @ towards
    return 0.5 * (precision + precision.T), pull


def _without_air(fit: RideFit, over: IndexArray) -> tuple[FloatArray, FloatArray]:
    """What a ride says alone of some parameters as precision and precision times mean: its best fit less its prior's
    pull, the air's temperature averaged out."""
    own = np.flatnonzero(np.diag(fit.prior_covariance) > 0.0)
    grid = np.ix_(own, own)
    pull = np.zeros(len(NAMES))
    before = np.linalg.inv(fit.prior_covariance[grid])
    pull[own] = fit.information[grid] @ fit.theta[own] + before @ (fit.theta[own] - fit.prior_mean[own])
    told, towards = fit.information[np.ix_(over, over)], pull[over]
    variance = float(fit.prior_covariance[AMBIENT, AMBIENT])
    if variance <= 0.0:
        return told, towards
    across = fit.information[over, AMBIENT]
    air = float(fit.information[AMBIENT, AMBIENT]) + 1.0 / variance
    centre = float(pull[AMBIENT]) + float(fit.prior_mean[AMBIENT]) / variance
    return told - np.outer(across, across) / air, towards - across * (centre / air)


def with_model_error(thetas: FloatArray) -> FloatArray:
    """The same draws, wider by what a one-lump model is off for a plant it does not mirror."""
    noise = np.random.default_rng(SEED + 2).standard_normal((thetas.shape[0] - 1, len(NAMES)))
    wider = thetas.copy()
    free = thetas[1:].std(axis=0) > 0.0
    for index, sd in MODEL_SD.items():
        wider[1:, index] += sd * noise[:, index] * free[index]
    return wider


def both_figures(sides: Sides) -> tuple[Figures, Figures]:
    """The contract's figures of both sides, draw by draw."""
    return figures(sides.first), figures(sides.others)


def heat_sd(fit: RideFit, conservative: FloatArray, ratio_sd: float) -> float:
    """What the map leaves open of a ride's heat. `conservative`: 1, 0 or NaN (not known) along the ride; `ratio_sd`:
    spread of the logarithm of the map's effect, which a ride on one map alone does not tell."""
    known = np.isfinite(conservative)
    unknown = 1.0 - float(known.mean()) if known.size else 1.0
    share = float(conservative[known].mean()) if known.any() else 0.0
    untold = 0.0 if fit.prior_covariance[KAPPA, KAPPA] > 0.0 else ratio_sd * share * (1.0 - unknown)
    return float(np.hypot(MAP_UNKNOWN_SD * unknown, untold))


def joined(rides: Sequence[Conditions], air_c: float) -> Conditions:
    """Steps of several rides as one stretch in air of one temperature."""

    def rows(name: str) -> FloatArray:
        return np.concatenate([getattr(ride, name) for ride in rides])

    coolant = rows("coolant_c")
    return Conditions(
        t_s=np.arange(coolant.size, dtype=np.float64) * STEP_S,
        coolant_c=coolant,
        power_kw=rows("power_kw"),
        turning=rows("turning"),
        speed_mps=rows("speed_mps"),
        ambient_c=np.full(coolant.size, air_c),
        running=np.concatenate([ride.running for ride in rides]),
        fan_logged=None,
        conservative=rows("conservative"),
    )


def held(plant: Plant, *, power_share: float, turning: float, speed_mps: float, air_c: float) -> Conditions:
    """A stretch on which nothing changes, standard map."""
    one = np.ones(2)
    return Conditions(
        t_s=np.arange(2, dtype=np.float64) * STEP_S,
        coolant_c=np.nan * one,
        power_kw=power_share * plant.peak_kw * one,
        turning=turning * one,
        speed_mps=speed_mps * one,
        ambient_c=air_c * one,
        running=np.ones(2, dtype=np.bool_),
        fan_logged=None,
        conservative=0.0 * one,
    )


def settles(plant: Plant, stretch: Conditions, thetas: FloatArray) -> FloatArray:
    """Where the coolant would settle with the mean of a stretch going on, (draws,); NaN where too little of it is
    known."""
    ends = Drawn(plant, stretch, thetas).settle_of(np.array([[0, stretch.t_s.size]]))
    return np.asarray(ends[:, 0])
