"""What is known of a bike's heat balance before a ride is looked at: a build's default, and what its other rides told.

Four levels: any bike of the kind (broad, from published ranges), bikes of one build, this bike (both pooled from rides
not marked faulty), this ride (the bike's, wider where a fault may have come since). Rides are pooled with a spread
between rides, and bikes with one between bikes, that are the same for all; each ride counts by what it tells beyond the
default it was fitted with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from ridelog.analysis.thermal import (
    AMBIENT,
    BYPASS,
    CLOSED,
    CORE,
    EXPONENT,
    FAN,
    FLOW,
    HEAT,
    IDLE,
    KAPPA,
    LAG,
    NAMES,
    OPENS,
    PACE,
    STILL,
    IndexArray,
    Plant,
)
from ridelog.analysis.thermal_fit import Fitted, Prior
from ridelog.results import FloatArray

HEAT_PER_KW = 0.11
"""K/s per kW of brake power: 0.9 kW to the coolant for each kW at the crank (0.6 to 1.2, no published figure for an
injected two-stroke), over 8 kJ/K."""

STILL_PER_S, FLOW_PER_S = 0.0010, 0.0125
"""8 and 100 W/K over 8 kJ/K: a worked radiator of ordinary size gives 116 W/K at 10 m/s."""

FAN_MPS2 = 10.0
"""A fan draws air at about 3 m/s through the core at rest. Assumed."""

CORE_MPS = 13.0
EXPONENT_MEAN = 0.80
PACE_MEAN = -0.4
"""Heat to the walls grows with about the 0.8th power of the charge's flow, and at the same power it is less the faster
the engine turns: a single-zone model gives a third less of the fuel's energy at 8500 1/min than at 4000."""

IDLE_SHARE = 0.20
"""Idling load at peak-power speed, over peak power. Assumed."""

CLOSED_SHARE = 0.75
"""Capacity with the thermostat closed over that with it open: the radiator holds a good part of the coolant.
Assumed."""

BYPASS_SHARE = 0.2
"""What block and hoses shed on the move past a closed thermostat, over the open radiator. Assumed."""

LAG_S = 10.0
"""Metal between gas and coolant. Assumed."""

DEFAULT_RATIO, DEFAULT_RATIO_SD = 0.90, 0.08
"""Heat on the conservative map over that on the standard one where nobody knows better: 0.77 to 1.05 at 95 %."""

TOLD_RATIO_SD = 0.03
"""The tuner's own figure in the bike file is taken as good to ± 6 %."""

DEFAULT_SD = {
    HEAT: 0.5,
    STILL: 0.7,
    FAN: 8.0,
    FLOW: 0.5,
    CORE: 0.35,
    EXPONENT: 0.12,
    PACE: 0.30,
    IDLE: 0.5,
    LAG: 0.6,
    CLOSED: 0.2,
    BYPASS: 0.5,
    OPENS: 4.0,
}
"""Between bikes, in the measure of `thermal.NAMES`."""

RIDE_SD = {
    HEAT: 0.08,
    STILL: 0.30,
    FAN: 3.0,
    FLOW: 0.12,
    CORE: 0.10,
    EXPONENT: 0.04,
    PACE: 0.05,
    IDLE: 0.15,
    LAG: 0.15,
    KAPPA: 0.02,
    CLOSED: 0.05,
    BYPASS: 0.2,
    OPENS: 1.5,
}
"""Between healthy rides of one bike: weather, wind, fuel, mud. Assumed, then held against simulated rides."""

BIKE_SD = {
    HEAT: 0.10,
    STILL: 0.30,
    FAN: 3.0,
    FLOW: 0.15,
    CORE: 0.10,
    EXPONENT: 0.04,
    PACE: 0.05,
    IDLE: 0.15,
    LAG: 0.15,
    KAPPA: 0.03,
    CLOSED: 0.05,
    BYPASS: 0.2,
    OPENS: 2.0,
}
"""Between healthy bikes of one build: engine and radiators from the same drawings, told apart by wear, bent fins,
hoses, the rider's size and kit, and what the bike file's power curve is off. Assumed: a little wider than from ride to
ride."""

FAULT_SD = {HEAT: 0.40, STILL: 0.50, FAN: 8.0, FLOW: 0.50, OPENS: 8.0}
"""What may have changed since the bike's other rides if it is no longer healthy: the ride itself has to say."""


ACROSS_SERVICE = "this bike before or after work on it"
"""What `RideFit.other` says of rides that work on the bike lies between."""


@dataclass(frozen=True)
class RideFit:
    """A fit kept for other rides of the bike: all that pooling needs. `other` names the bike it comes from where that
    is not the bike as it is on the ride in question: another of its build, or the same one before or after work done on
    it. `day`: of the ride, `air_c`: the air's temperature as it was given by hand; None where it is not known."""

    ride: str
    theta: FloatArray
    information: FloatArray
    prior_mean: FloatArray
    prior_covariance: FloatArray
    other: str | None = None
    day: date | None = None
    air_c: float | None = None


def default_prior(plant: Plant, *, ratio: float | None, map_seen: bool, ambient_sd_c: float) -> Prior:
    """The prior of a bike nobody has seen a ride of. `ratio`: the tuner's own figure for the conservative map;
    `map_seen`: false holds the map's effect fixed, since the ride tells nothing of it."""
    mean, sd = np.zeros(len(NAMES)), np.zeros(len(NAMES))
    for index, value in (
        (HEAT, HEAT_PER_KW),
        (STILL, STILL_PER_S),
        (FLOW, FLOW_PER_S),
        (CORE, CORE_MPS),
        (EXPONENT, EXPONENT_MEAN),
        (IDLE, IDLE_SHARE * plant.peak_kw),
        (LAG, LAG_S),
        (CLOSED, CLOSED_SHARE),
        (BYPASS, BYPASS_SHARE),
        (KAPPA, DEFAULT_RATIO if ratio is None else ratio),
    ):
        mean[index] = np.log(value)
    for index, value in DEFAULT_SD.items():
        sd[index] = value
    ratio_sd = DEFAULT_RATIO_SD if ratio is None else TOLD_RATIO_SD
    sd[KAPPA] = ratio_sd if map_seen else 0.0
    mean[PACE], mean[FAN] = PACE_MEAN, FAN_MPS2
    if plant.fan_on_c is None:
        mean[FAN] = sd[FAN] = 0.0
    if plant.opens_c is not None:
        mean[OPENS] = plant.opens_c
    else:
        sd[OPENS] = sd[CLOSED] = sd[BYPASS] = 0.0
    sd[AMBIENT] = ambient_sd_c
    return Prior(mean, np.diag(sd * sd), ratio_sd)


def pooled(rides: Sequence[RideFit], base: Prior, *, may_be_faulty: bool) -> Prior:
    """The prior for another ride of the same bike: `base` updated by the rides of other bikes of the build, widened by
    the spread between bikes, updated by the bike's own rides, widened by the spread between rides.

    `may_be_faulty` widens what a fault changes, so that the bike's history does not talk a fault away. The map's effect
    is pooled also where the ride itself does not fit it: what the others told of heat hangs on it.
    """
    whole = base.covariance.copy()
    fixed_ratio = whole[KAPPA, KAPPA] == 0.0
    if fixed_ratio:
        whole[KAPPA, KAPPA] = base.ratio_sd**2
    over = np.array([i for i in np.flatnonzero(np.diag(whole) > 0.0) if i != AMBIENT])
    grid = np.ix_(over, over)
    between = [np.array([spread.get(int(i), 0.0) ** 2 for i in over]) for spread in (RIDE_SD, BIKE_SD)]
    known = (np.linalg.inv(whole[grid]), np.linalg.solve(whole[grid], base.mean[over]))
    others = sorted({ride.other for ride in rides if ride.other is not None})
    for name in others:
        bike = _sum([_shrunk(_told(ride, over), between[0]) for ride in rides if ride.other == name])
        known = _sum([known, _shrunk(bike, between[1])])
    if others:
        covariance = np.linalg.inv(known[0])
        widened = covariance + np.diag(between[1])
        known = (np.linalg.inv(widened), np.linalg.solve(widened, covariance @ known[1]))
    known = _sum([known, *(_shrunk(_told(ride, over), between[0]) for ride in rides if ride.other is None)])
    mean = base.mean.copy()
    whole[grid] = np.linalg.inv(0.5 * (known[0] + known[0].T))
    mean[over] = whole[grid] @ known[1]
    for i in map(int, over):
        whole[i, i] += RIDE_SD.get(i, 0.0) ** 2 + (FAULT_SD.get(i, 0.0) ** 2 if may_be_faulty else 0.0)
    ratio_sd = float(np.sqrt(whole[KAPPA, KAPPA]))
    if fixed_ratio:
        whole[KAPPA, :] = whole[:, KAPPA] = 0.0
    return Prior(mean, whole, ratio_sd)


_Told = tuple[FloatArray, FloatArray]
"""What is known of the parameters as precision (n, n) and precision times mean (n,)."""


def _told(ride: RideFit, over: IndexArray) -> _Told:
    """What a ride says alone: its best fit less the pull of the prior it was fitted with, and the air's temperature,
    which is that day's own, averaged out."""
    own = np.flatnonzero(np.diag(ride.prior_covariance) > 0.0)
    before = np.linalg.inv(ride.prior_covariance[np.ix_(own, own)])
    moment = np.zeros(len(NAMES))
    moment[own] = ride.information[np.ix_(own, own)] @ ride.theta[own] + before @ (
        ride.theta[own] - ride.prior_mean[own]
    )
    precision, pull = ride.information[np.ix_(over, over)], moment[over]
    variance = float(ride.prior_covariance[AMBIENT, AMBIENT])
    if variance > 0.0:
        across = ride.information[over, AMBIENT]
        air = float(ride.information[AMBIENT, AMBIENT]) + 1.0 / variance
        precision = precision - np.outer(across, across) / air
        pull = pull - across * ((moment[AMBIENT] + ride.prior_mean[AMBIENT] / variance) / air)
    return precision, pull


def _shrunk(told: _Told, variance: FloatArray) -> _Told:
    """The same knowledge of a thing that differs from the thing asked about by independent amounts of that variance."""
    shrink = np.linalg.inv(np.eye(variance.size) + told[0] * variance[None, :])
    return shrink @ told[0], shrink @ told[1]


def _sum(parts: Sequence[_Told]) -> _Told:
    precision, pull = (np.zeros_like(part) for part in parts[0])
    for part in parts:
        precision, pull = precision + part[0], pull + part[1]
    return precision, pull


def kept(ride: str, fitted: Fitted, prior: Prior) -> RideFit:
    """What to keep of a fit for other rides."""
    return RideFit(ride, fitted.theta, fitted.information, prior.mean, prior.covariance)
