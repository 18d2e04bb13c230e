"""The fit behind the conservative map's effect on heat input: one ratio over many rides.

With rides j, points i of the heat surface, airspeeds k and grounds t, a window's rise is

    rise = H_j (sum_i h_i (X_i + K Z_i) + sum_t d_t (X_t + K Z_t)) - C_j (sum_k c_k S_k + ...) + C_j e_j A

X on the standard, Z on the conservative map, S cooling, A the air (the columns of effect_columns); K is the ratio. H_j
and C_j are each ride's own level of heat and of cooling, e_j what its air is off: fuel, mud, fins and the day are not
the map. d_t lets each ground heat more or less than engine speed and throttle say, so that K rests on times when the
map differed on like ground.

Gauss and Newton's method, from the rides' sums of products alone, with weak priors. What K is good to comes from the
scatter between rides: each is left out in turn (a jackknife over whole rides, one step of the fit each), with as many
degrees of freedom as the rides' shares in the answer allow (Satterthwaite's formula).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis import effect_columns as columns
from ridelog.results import FloatArray

HEAT_KPS, FLOW_PER_S = 2.0, 0.0125
"""Usual heating at the reference load, and cooling of the moving air at 10 m/s (as in the heat balance)."""

FAN_USUAL = (0.35, 0.15)
"""What a fan adds at rest and at a walk, over the moving air at 10 m/s."""

LEVEL_SD = 0.6
"""Logarithm of a bike's level of heat and of cooling over the usual ones."""

DAY_SD, AIR_SD_C = 0.10, 1.5
"""The same of a ride over its bike, and what its air's temperature is off."""

CELL_SD, CELL_REACH = 0.35, 0.35
SPEED_SD, SPEED_REACH = 0.4, 0.4
"""Logarithm of surface and curve over the usual ones, and how far neighbours hang together, in shares of the span."""

GROUND_SD = 0.10
"""What ground may do to heat, and to cooling, besides what engine and airspeed show."""

PUMP_SD, FAN_SD, RATIO_SD = 0.3, 2.0, 0.3

TOGETHER = 5.0
"""So many windows in a row tell about as much as one: they overlap by three quarters, and errors last a minute."""

LEAST_ERROR_C = 0.3
MOST_STEPS, SETTLED, LONGEST_STEP = 40, 1e-5, 0.5

_CELLS = len(columns.TURNING) * len(columns.OPENING)
_LEVEL, _COOLING = 0, 1
_SURFACE = slice(2, 2 + _CELLS)
_SPEEDS = slice(_SURFACE.stop, _SURFACE.stop + len(columns.SPEED_MPS))
_FANS = slice(_SPEEDS.stop, _SPEEDS.stop + len(FAN_USUAL))
_GROUNDS = slice(_FANS.stop, _FANS.stop + len(columns.TERRAINS))
_COOL_GROUNDS = slice(_GROUNDS.stop, _GROUNDS.stop + len(columns.TERRAINS))
_PUMP = _COOL_GROUNDS.stop
_RATIO = _PUMP + 1
_SHARED = _RATIO + 1
_OWN = 3


@dataclass(frozen=True)
class Sums:
    """A ride's sums of products of its columns, (COLUMNS, COLUMNS), weighted, and how many windows they are of."""

    table: FloatArray
    windows: float


@dataclass(frozen=True)
class Fitted:
    """The logarithm of the ratio at the same throttle and engine speed; `spread`: its standard error by the fit,
    `scatter`: by leaving out rides, with `freedom` degrees of freedom; `weights`: of each ride's columns in its rise
    less what is expected, (rides, COLUMNS)."""

    log_ratio: float
    spread: float
    scatter: float
    freedom: float
    weights: FloatArray


def _linked(axes: Sequence[FloatArray], sd: float, reach: float) -> FloatArray:
    """Covariance of values at points whose neighbours hang together."""
    square = np.sum([(axis[:, None] - axis[None, :]) ** 2 for axis in axes], axis=0)
    return np.asarray(sd * sd * np.exp(-np.sqrt(square) / reach))


def _prior() -> tuple[FloatArray, FloatArray]:
    """Mean and precision of what the rides share."""
    turning, opening = np.meshgrid(columns.TURNING, np.sqrt(columns.OPENING), indexing="ij")
    speeds = np.sqrt(np.asarray(columns.SPEED_MPS) / columns.SPEED_MPS[-1])
    mean, sd = np.zeros(_SHARED), np.zeros(_SHARED)
    sd[[_LEVEL, _COOLING]] = LEVEL_SD
    sd[_FANS], sd[_GROUNDS], sd[_COOL_GROUNDS], sd[_PUMP], sd[_RATIO] = FAN_SD, GROUND_SD, GROUND_SD, PUMP_SD, RATIO_SD
    covariance = np.diag(sd * sd)
    covariance[_SURFACE, _SURFACE] = _linked((turning.ravel(), opening.ravel()), CELL_SD, CELL_REACH)
    covariance[_SPEEDS, _SPEEDS] = _linked((speeds,), SPEED_SD, SPEED_REACH)
    mean[_FANS] = FAN_USUAL
    return mean, np.asarray(np.linalg.inv(covariance), dtype=np.float64)


_OWN_PRECISION = np.diag([DAY_SD**-2, DAY_SD**-2, AIR_SD_C**-2])


def _weights(shared: FloatArray, own: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights of a ride's columns in what is expected less what was seen, (COLUMNS,), and their slopes by the shared
    and the ride's own parameters, (COLUMNS, n)."""
    value, slope = np.zeros(columns.COLUMNS), np.zeros((columns.COLUMNS, _SHARED + _OWN))
    heat = HEAT_KPS * np.exp(shared[_LEVEL] + own[0])
    flow = FLOW_PER_S * np.exp(shared[_COOLING] + own[1])
    ratio = float(np.exp(shared[_RATIO]))
    cells = heat * np.exp(shared[_SURFACE])
    for which, grounds, factor in ((columns.HEAT, columns.GROUND, 1.0), (columns.HEAT_ON, columns.GROUND_ON, ratio)):
        value[which], value[grounds] = factor * cells, factor * heat * shared[_GROUNDS]
        slope[which, _SURFACE] = np.diag(factor * cells)
        slope[grounds, _GROUNDS] = factor * heat * np.eye(len(columns.TERRAINS))
    heats = slice(0, columns.COOL.start)
    slope[heats, _LEVEL] = slope[heats, _SHARED] = value[heats]
    for which in (columns.HEAT_ON, columns.GROUND_ON):
        slope[which, _RATIO] = value[which]
    value[columns.COOL] = flow * columns.usual_cooling(np.asarray(columns.SPEED_MPS)) * np.exp(shared[_SPEEDS])
    slope[columns.COOL, _SPEEDS] = np.diag(value[columns.COOL])
    for rows, several in ((columns.FAN, _FANS), (columns.COOL_GROUND, _COOL_GROUNDS)):
        value[rows] = flow * shared[several]
        slope[rows, several] = flow * np.eye(several.stop - several.start)
    value[columns.PUMP], slope[columns.PUMP, _PUMP] = flow * shared[_PUMP], flow
    value[columns.AIR], slope[columns.AIR, _SHARED + 2] = flow * own[2], flow
    sheds = slice(columns.COOL.start, columns.AIR + 1)
    slope[sheds, _COOLING] = slope[sheds, _SHARED + 1] = value[sheds]
    value[columns.RISE] = -1.0
    return value, slope


@dataclass(frozen=True)
class _Pull:
    """What one ride asks of the shared parameters once its own have followed: slope and curvature of its cost; and how
    its own follow a move of the shared ones."""

    slope: FloatArray
    bend: FloatArray
    own_step: FloatArray
    own_follows: FloatArray


def _pull(one: Sums, shared: FloatArray, own: FloatArray) -> _Pull:
    value, slope = _weights(shared, own)
    variance = max(LEAST_ERROR_C**2, float(value @ one.table @ value) / one.windows)
    scale = 1.0 / (variance * TOGETHER)
    down = slope.T @ (one.table @ value) * scale
    bend = slope.T @ one.table @ slope * scale
    inner = np.linalg.inv(bend[_SHARED:, _SHARED:] + _OWN_PRECISION)
    down[_SHARED:] += _OWN_PRECISION @ own
    across = bend[:_SHARED, _SHARED:] @ inner
    return _Pull(
        down[:_SHARED] - across @ down[_SHARED:],
        bend[:_SHARED, :_SHARED] - across @ bend[_SHARED:, :_SHARED],
        -inner @ down[_SHARED:],
        -across.T,
    )


def fit(rides: Sequence[Sums]) -> Fitted:
    """One ratio for all rides, one at least; of a single one `scatter` is 0."""
    mean, precision = _prior()
    shared, own = mean.copy(), np.zeros((len(rides), _OWN))
    for _ in range(MOST_STEPS):
        pulls = [_pull(one, shared, mine) for one, mine in zip(rides, own, strict=True)]
        slope = precision @ (shared - mean) + np.sum([pull.slope for pull in pulls], axis=0)
        move = -np.linalg.solve(precision + np.sum([pull.bend for pull in pulls], axis=0), slope)
        share = min(1.0, LONGEST_STEP / max(float(np.abs(move).max()), 1e-12))
        shared = shared + share * move
        own = own + share * np.array([pull.own_step + pull.own_follows @ move for pull in pulls])
        if float(np.abs(move).max()) < SETTLED:
            break
    pulls = [_pull(one, shared, mine) for one, mine in zip(rides, own, strict=True)]
    whole = precision + np.sum([pull.bend for pull in pulls], axis=0)
    inverse = np.linalg.inv(whole)[_RATIO]
    moved = np.array([np.linalg.solve(whole - pull.bend, pull.slope)[_RATIO] for pull in pulls])
    shares = np.array([inverse @ pull.bend @ inverse for pull in pulls])
    count, centred = len(rides), moved - moved.mean()
    freedom = float(shares.sum() ** 2 / max(float(shares @ shares), 1e-300)) - 1.0
    weights = np.array([_weights(shared, mine)[0] for mine in own])
    return Fitted(
        log_ratio=float(shared[_RATIO]),
        spread=float(np.sqrt(inverse[_RATIO])),
        scatter=float(np.sqrt((count - 1) / count * (centred @ centred))),
        freedom=max(freedom, 1.0),
        weights=weights,
    )
