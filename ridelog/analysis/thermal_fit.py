"""Fitting the heat balance to one ride, and saying how well it is known.

The ride is cut into windows of a minute. From the coolant seen at a window's start the balance is run forward, and its
error after half a minute and a minute is what is made small: the integral form, which noise and whole-degree steps
hardly touch. Errors count by the root of their size once they are large (soft L1), so that a stretch the model does not
know (a splash of water, a gust) does not bend the rest. Priors hold what the ride can't tell.

The interval of a parameter comes from the curvature at the best fit, widened for errors that hang together from window
to window, and by what a one-lump model is known to be off (MODEL_SD, from simulated rides that were not used to test
it).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.thermal import NAMES, Conditions, IndexArray, Plant, Windows, march, observed_fan
from ridelog.results import FloatArray

WINDOW_STEPS = 15
EVERY_STEPS = 5
HORIZONS = (8, 15)
"""Windows of 60 s, one begun every 20 s, looked at after 32 and 60 s."""

LEAST_WINDOWS = 15
MOST_ITERATIONS = 25
PROBE = 0.02
"""Step of the numerical derivative, in the parameter's own measure."""

MOST_WINDOWS = 300
"""Enough for five hours without overlap; more of a longer ride would only cost time."""

ROUGH, FINE = 1e-2, 1e-3
"""Gain, over the cost, at which a round of the fit ends. How much the errors hang together is only known once there is
a fit, and the balance with the prior rests on it: a rough round comes first."""

LEAST_ERROR_C = 0.15


@dataclass(frozen=True)
class Prior:
    """What is known before the ride: mean and covariance of the parameters in the measure of `thermal.NAMES`; a
    parameter of no variance is held fixed."""

    mean: FloatArray
    covariance: FloatArray
    ratio_sd: float = 0.0
    """Spread of the logarithm of the conservative map's effect, kept also where it is not fitted."""

    @property
    def free(self) -> IndexArray:
        """Indices of the parameters that are fitted."""
        return np.flatnonzero(np.diag(self.covariance) > 0.0)

    @property
    def precision(self) -> FloatArray:
        """Inverse covariance of the free parameters."""
        return np.asarray(np.linalg.inv(self.covariance[np.ix_(self.free, self.free)]), dtype=np.float64)


@dataclass(frozen=True)
class Fitted:
    """The best fit: parameters, their covariance (zero rows where fixed), what the ride alone tells of them (inverse
    covariance without the prior), and its errors.

    `error_c`: root mean square after 60 s; `weight`: windows it rests on, those that hang together counted once.
    """

    theta: FloatArray
    covariance: FloatArray
    information: FloatArray
    error_c: float
    windows: int
    weight: float


def window_starts(ride: Conditions, every: int = EVERY_STEPS) -> IndexArray:
    """First steps of the windows in which all is known and the engine runs, the coolant at start and end."""
    ok = ride.known & ride.running & np.isfinite(ride.coolant_c)
    bad = np.concatenate([[0], np.cumsum(~ok)])
    starts = np.arange(0, ride.t_s.size - WINDOW_STEPS, every)
    return np.asarray(starts[(bad[starts + WINDOW_STEPS + 1] - bad[starts]) == 0], dtype=np.int64)


def thinned(starts: IndexArray, most: int = MOST_WINDOWS) -> IndexArray:
    """At most so many windows, evenly over the ride: a long ride is fitted to a part of its windows."""
    if starts.size <= most:
        return starts
    return starts[np.linspace(0, starts.size - 1, most).round().astype(np.int64)]


def fit(
    plant: Plant,
    ride: Conditions,
    prior: Prior,
    starts: IndexArray,
    resolution_c: float,
    *,
    near: FloatArray | None = None,
) -> Fitted:
    """Parameters at the greatest posterior, by Gauss and Newton's method with Levenberg's damping. Deterministic.

    `starts` as `window_starts` gives them, one at least; `resolution_c`: the coolant sensor's step; `near`: a vector to
    begin from, the prior's mean where there is none.
    """
    starts = thinned(starts)
    problem = _Problem(plant, ride, prior, starts, max(LEAST_ERROR_C, 0.4 * resolution_c))
    theta = (prior.mean if near is None else near).copy()
    together = float(WINDOW_STEPS / EVERY_STEPS)
    theta = problem.solve(theta, together, ROUGH)
    together = correlation_windows(problem.errors(theta[None])[0, -1], starts)
    theta = problem.solve(theta, together, FINE)
    return problem.describe(theta, together)


class _Problem:
    """Errors of one ride's windows, and the way down to the least of them."""

    def __init__(self, plant: Plant, ride: Conditions, prior: Prior, starts: IndexArray, floor_c: float) -> None:
        self.plant, self.ride, self.prior, self.floor_c = plant, ride, prior, floor_c
        self.free, self.precision = prior.free, prior.precision
        self.steps = PROBE * np.minimum(1.0, np.sqrt(np.diag(prior.covariance)[self.free]) / PROBE)
        self.targets = np.stack([ride.coolant_c[starts + h] for h in HORIZONS])
        self.windows = Windows(starts, WINDOW_STEPS, ride.coolant_c[starts], observed_fan(plant, ride))
        self.scale_c, self.share = floor_c, 1.0

    def errors(self, theta: FloatArray) -> FloatArray:
        """(K, horizons, windows) for K vectors."""
        path = march(self.plant, theta, self.ride, self.windows)
        return np.asarray(path[list(HORIZONS)].transpose(1, 0, 2) - self.targets[None], dtype=np.float64)

    def slopes(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Errors at one vector, flat, and their derivatives by the free parameters."""
        probes = np.repeat(theta[None], self.free.size + 1, axis=0)
        probes[np.arange(1, self.free.size + 1), self.free] += self.steps
        moved = self.errors(probes)
        slopes = (moved[1:] - moved[:1]) / self.steps[:, None, None]
        return moved[0].ravel(), slopes.reshape(self.free.size, -1)

    def scale(self, errors: FloatArray, before_c: float) -> float:
        """The errors' own size, large ones counted less."""
        weight = 1.0 / np.sqrt(1.0 + (errors / before_c) ** 2)
        return max(self.floor_c, float(np.sqrt((weight * errors**2).sum() / weight.sum())))

    def cost(self, errors: FloatArray, theta: FloatArray) -> float:
        """Soft L1 of the errors and the distance from the prior."""
        gone = theta[self.free] - self.prior.mean[self.free]
        loss = 2.0 * self.share * (np.sqrt(1.0 + (errors / self.scale_c) ** 2) - 1.0).sum()
        return float(loss + gone @ self.precision @ gone)

    def solve(self, theta: FloatArray, together: float, tolerance: float) -> FloatArray:
        """From `theta` down to where a step gains less than `tolerance` of the cost."""
        self.share = 1.0 / (len(HORIZONS) * together)
        errors = self.errors(theta[None]).ravel()
        self.scale_c = self.scale(errors, max(self.floor_c, 1.4826 * float(np.median(np.abs(errors)))))
        now, damping = self.cost(errors, theta), 1e-3
        for _ in range(MOST_ITERATIONS):
            errors, slopes = self.slopes(theta)
            weight = self.weight(errors)
            gradient = slopes @ (weight * errors) + self.precision @ (theta[self.free] - self.prior.mean[self.free])
            curvature = (slopes * weight) @ slopes.T + self.precision
            for _ in range(12):
                move = np.linalg.solve(curvature + damping * np.diag(np.diag(curvature)), -gradient)
                there = theta.copy()
                there[self.free] += np.clip(move, -1.0, 1.0)
                errors = self.errors(there[None]).ravel()
                then = self.cost(errors, there)
                if then < now:
                    break
                damping *= 8.0
            else:
                break
            theta, damping = there, max(damping / 10.0, 1e-6)
            settled = now - then < tolerance * (1.0 + now)
            fresh = self.scale(errors, self.scale_c)
            if settled and abs(fresh - self.scale_c) < 0.02 * self.scale_c:
                break
            self.scale_c = fresh
            now = self.cost(errors, theta)
        return theta

    def weight(self, errors: FloatArray) -> FloatArray:
        """What each error counts in curvature and gradient."""
        return np.asarray(self.share / np.sqrt(1.0 + (errors / self.scale_c) ** 2) / self.scale_c**2)

    def describe(self, theta: FloatArray, together: float) -> Fitted:
        """The fit at `theta` with what it is worth."""
        self.share = 1.0 / (len(HORIZONS) * together)
        errors, slopes = self.slopes(theta)
        grid = np.ix_(self.free, self.free)
        information, covariance = (np.zeros((len(NAMES), len(NAMES))) for _ in range(2))
        information[grid] = (slopes * self.weight(errors)) @ slopes.T
        covariance[grid] = np.linalg.inv(information[grid] + self.precision)
        last = errors.reshape(len(HORIZONS), -1)[-1]
        windows = self.windows.starts.size
        return Fitted(theta, covariance, information, float(np.sqrt((last**2).mean())), windows, windows / together)


def correlation_windows(error_c: FloatArray, starts: IndexArray) -> float:
    """How many windows in a row tell about as much as one: 1 + 2 x the sum of the errors' autocorrelations, as long as
    they are positive; at least the overlap of the windows."""
    x = error_c - error_c.mean()
    variance = float((x * x).mean())
    total = 1.0
    if variance > 0.0:
        for lag in range(1, min(30, x.size - 1)):
            together = starts[lag:] - starts[:-lag] == lag * EVERY_STEPS
            if together.sum() < 10:
                break
            rho = float((x[lag:] * x[:-lag])[together].mean()) / variance
            if rho <= 0.05:
                break
            total += 2.0 * rho
    return max(total, WINDOW_STEPS / EVERY_STEPS)
