"""The heat balance step by step, kept with the traces: every figure of a page can be worked out from it again.

Columns, one value a step of `thermal.STEP_S`:

    t_s                   start of the step, s from the ride's first sample
    coolant_c             coolant at that moment, C
    coolant_estimated_c   the same where the sensor does not tell and the balance does, with _low_c and _high_c (95 %)
    power_kw              mean brake power, kW, none where negative
    turning               mean engine speed over peak-power speed, half where the wheel turns the engine
    speed_mps             mean ground speed, m/s
    air_c                 mean air temperature with the fit's correction, C
    running, known, fan   1 or 0: engine on; all but the coolant known; fan running (as logged, else from the coolant)
    conservative          1 or 0, NaN where the map is not known
    load_kps              q, heating as it leaves the gas, coolant at 90 C, K/s
    still_per_s           g_still, 1/s
    flow_per_s            the air's share with the fan off and an open thermostat, 1/s
    flow_fan_per_s        the same with the fan on, 1/s
    opens_c, bypass       where the thermostat starts to open, C, and what passes it closed, 1; only behind one
"""

from __future__ import annotations

import numpy as np

from ridelog.analysis import thermal
from ridelog.analyze_heat import Balance
from ridelog.analyze_heat_use import ALONG_DRAWS, HIGH, LOW, estimated_rows
from ridelog.results import FloatArray


def steps(balance: Balance) -> dict[str, FloatArray]:
    """The columns above by the best fit; empty without a balance to go by."""
    if balance.drawn is None:
        return {}
    best = balance.drawn.first(1)
    ride, theta = best.ride, best.thetas[0]
    told = {
        "t_s": ride.t_s,
        "coolant_c": ride.coolant_c,
        "power_kw": ride.power_kw,
        "turning": ride.turning,
        "speed_mps": ride.speed_mps,
        "air_c": np.where(np.isfinite(ride.ambient_c), best.ambient_c[0], np.nan),
        "running": ride.running.astype(np.float64),
        "known": ride.known.astype(np.float64),
        "fan": thermal.observed_fan(best.plant, ride),
        "conservative": ride.conservative,
        "load_kps": np.where(ride.known, best.load_kps[0], np.nan),
        "still_per_s": best.sheds.still[0],
        "flow_per_s": np.where(ride.known, best.sheds.fan_off[0], np.nan),
        "flow_fan_per_s": np.where(ride.known, best.sheds.fan_on[0], np.nan),
    }
    if best.sheds.opens_c is not None:
        told["opens_c"] = np.full(ride.t_s.size, theta[thermal.OPENS])
        told["bypass"] = np.full(ride.t_s.size, best.sheds.bypass[0])
    return told | _estimated(balance)


def _estimated(balance: Balance) -> dict[str, FloatArray]:
    found = estimated_rows(balance, ALONG_DRAWS)
    if found is None:
        return {}
    rows, where = found
    low, high = np.quantile(rows[1:, where], [LOW, HIGH], axis=0)
    told = {}
    for name, values in (("", rows[0, where]), ("_low", low), ("_high", high)):
        whole = np.full(where.size, np.nan)
        whole[where] = values
        told[f"coolant_estimated{name}_c"] = whole
    return told
