"""What the heat balance misses on a ride, laid to ways of cooling and heating that it does not hold.

Each window of a minute gives two errors (after half a minute and a minute). They are explained at once by the balance's
own parameters, as far as these may still move, and by five further ways (WAYS), whose effect on a window is worked out
along the coolant as it was:

    pump      the radiator sheds more the faster the engine turns: little coolant flows
    warmth    it sheds more the hotter the coolant is
    surge     coolant follows the load at once: less of the radiator's coolant takes part
    drift     it sheds less and less over the ride
    pull      heat under hard pull grows faster than the load

A coefficient is the change of the natural logarithm of what sheds heat, or of the heat, over the way's own unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis import thermal, thermal_fit
from ridelog.analysis.thermal import Conditions, Plant, Windows
from ridelog.results import FloatArray

WAYS = ("pump", "warmth", "surge", "drift", "pull")

WAY_SD = (0.6, 0.8, 0.8, 0.8, 0.5)
"""How large the ways may be, before the ride: wide."""

PROBE_SHARE = 0.05
"""Step of the numerical derivative over the parameter's spread before the ride."""

TOGETHER = 4.0
"""Windows that tell about as much as one: three overlap, and errors hang together a little longer."""

SURGE_STEPS = 8
"""The load is quick where it differs from its mean over the last half minute."""

WARMTH_C = 20.0
PULL_SHARE = 0.5


@dataclass(frozen=True)
class Missed:
    """Coefficients of WAYS with their spreads, (5,) each; `loaded_c`, `idle_c`: how much warmer the coolant is after a
    minute than the balance has it, mean of the windows with more and with less than the usual load."""

    size: FloatArray
    sd: FloatArray
    loaded_c: float
    idle_c: float


def missed(
    plant: Plant, ride: Conditions, theta: FloatArray, before: FloatArray, *, resolution_c: float
) -> Missed | None:
    """What the best fit `theta` misses; `before`: covariance of the parameters before the ride. None with too few
    windows."""
    starts = thermal_fit.thinned(thermal_fit.window_starts(ride))
    if starts.size < thermal_fit.LEAST_WINDOWS:
        return None
    free = np.flatnonzero(np.diag(before) > 0.0)
    spread = np.sqrt(np.diag(before))[free]
    fan = thermal.observed_fan(plant, ride)
    windows = Windows(starts, thermal_fit.WINDOW_STEPS, ride.coolant_c[starts], fan)
    probes = np.repeat(theta[None], free.size + 1, axis=0)
    probes[np.arange(1, free.size + 1), free] += PROBE_SHARE * spread
    path = thermal.march(plant, probes, ride, windows)[list(thermal_fit.HORIZONS)]
    own = (path[:, 1:] - path[:, :1]) / (PROBE_SHARE * spread)[None, :, None]
    errors = np.stack([ride.coolant_c[starts + h] for h in thermal_fit.HORIZONS]) - path[:, 0]
    others = _sensitivities(plant, ride, theta, windows, fan)[list(thermal_fit.HORIZONS)]
    table = np.concatenate([own, others], axis=1).transpose(1, 0, 2).reshape(free.size + len(WAYS), -1)
    y = errors.reshape(-1)
    floor_c = max(thermal_fit.LEAST_ERROR_C, 0.4 * resolution_c)
    scale = max(floor_c, 1.4826 * float(np.median(np.abs(y - np.median(y)))))
    weight = 1.0 / (np.sqrt(1.0 + (y / scale) ** 2) * scale**2 * len(thermal_fit.HORIZONS) * TOGETHER)
    precision = np.zeros((table.shape[0], table.shape[0]))
    precision[: free.size, : free.size] = np.linalg.inv(before[np.ix_(free, free)])
    precision[free.size :, free.size :] = np.diag(1.0 / np.square(WAY_SD))
    covariance = np.linalg.inv((table * weight) @ table.T + precision)
    best = covariance @ ((table * weight) @ y)
    last = errors[-1]
    load = np.array([np.nan_to_num(ride.power_kw[s : s + thermal_fit.WINDOW_STEPS]).mean() for s in starts])
    high = load > np.median(load)
    return Missed(
        size=best[free.size :],
        sd=np.sqrt(np.diag(covariance)[free.size :]),
        loaded_c=float(last[high].mean()) if high.any() else 0.0,
        idle_c=float(last[~high].mean()) if (~high).any() else 0.0,
    )


def _sensitivities(plant: Plant, ride: Conditions, theta: FloatArray, windows: Windows, fan: FloatArray) -> FloatArray:
    """Change of the coolant in each window by a unit of each way, (steps + 1, ways, windows)."""
    one = theta[None]
    every = np.arange(ride.t_s.size)
    coolant = np.nan_to_num(ride.coolant_c, nan=float(np.nanmean(ride.coolant_c)))
    sheds = thermal.cooling(plant, one, ride)
    q = thermal.heating_kps(plant, one, ride)[0]
    g, capacity = sheds.at(every, coolant[None], fan[None])
    conductance, share = g[0], np.broadcast_to(np.asarray(capacity), g.shape)[0]
    lifted = coolant - (np.nan_to_num(ride.ambient_c) + theta[thermal.AMBIENT])
    flow = conductance - sheds.still[0]
    turning = np.log(np.maximum(np.nan_to_num(ride.turning), thermal.SLOWEST_TURNING))
    known = ride.running & np.isfinite(ride.turning)
    usual = float(turning[known].mean()) if known.any() else 0.0
    middle = float(np.median(coolant[known])) if known.any() else 0.0
    slow = np.convolve(q, np.full(SURGE_STEPS, 1.0 / SURGE_STEPS))[: q.size]
    slow[:SURGE_STEPS] = q[:SURGE_STEPS]
    along = ride.t_s / max(float(ride.t_s[-1]), 1.0) - 0.5
    pull = np.nan_to_num(ride.power_kw) / plant.peak_kw
    source = np.stack(
        [
            -flow * (turning - usual) * lifted,
            -flow * (coolant - middle) / WARMTH_C * lifted,
            q - slow,
            flow * along * lifted,
            q * np.maximum(pull - PULL_SHARE * 0.5, 0.0) / PULL_SHARE,
        ]
    )
    rate = (conductance + thermal.driven_by(q, 0.0)[1]) / share
    keep = np.exp(-rate * thermal.STEP_S)
    gain = source / share * (-np.expm1(-rate * thermal.STEP_S) / np.maximum(rate, 1e-9))
    change = np.zeros((windows.steps + 1, len(WAYS), windows.starts.size))
    for k in range(windows.steps):
        at = windows.starts + k
        change[k + 1] = keep[at] * change[k] + gain[:, at]
    return change
