"""The fan's own channel beside what the coolant asked of it.

A fan that is logged as off well above its switch point is a fan, a switch or a wire that fails, or a channel that shows
something else. What the fan does to the coolant can't tell the two apart where the balance is told that it stood still,
so the channel speaks for itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.analysis.airflow import fan_state
from ridelog.analysis.diagnosis_table import FAN_CALLED_S
from ridelog.analysis.thermal import STEP_S, Conditions, Plant
from ridelog.intervals import runs

MARGIN_C = 3.0
"""The fan's switch and the sensor sit in different places, and each is a degree or two off. Common practice, no
source."""

STANDING_MPS = 1.5
TURNS = 2
"""So many times turned round at the switch point while standing is a fan at work, whatever its channel says."""

FanState = Literal["off", "on", "unclear"]


@dataclass(frozen=True)
class FanLog:
    """`off_s`: seconds with the coolant at `from_c` or more, the engine running and the fan logged as off; `on_s`:
    seconds in which the coolant asked for the fan and it was logged as running; `turns`: times the coolant of a
    standing bike turned round at the switch point all the same while the fan was logged as off."""

    from_c: float
    off_s: float
    on_s: float
    turns: int

    @property
    def state(self) -> FanState:
        """What the channel says of the fan: it did not run when asked, it ran, or neither for long enough."""
        if self.off_s >= FAN_CALLED_S:
            return "off" if self.turns < TURNS else "unclear"
        return "on" if self.on_s >= FAN_CALLED_S else "unclear"


def called(plant: Plant, ride: Conditions) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where the coolant asked for the fan, whatever the fan did: from the switch point on until it is back down at the
    lower one."""
    if plant.fan_on_c is None or plant.fan_off_c is None:
        return np.zeros(ride.t_s.size, dtype=np.bool_)
    return np.asarray(fan_state(ride.coolant_c, plant.fan_on_c, plant.fan_off_c) & ride.running, dtype=np.bool_)


def fan_log(plant: Plant, ride: Conditions) -> FanLog | None:
    """None for a bike without a fan, or a ride whose fan was not logged."""
    if plant.fan_on_c is None or plant.fan_off_c is None or ride.fan_logged is None:
        return None
    known = np.isfinite(ride.fan_logged)
    on = known & (np.nan_to_num(ride.fan_logged) > 0.5)
    asked = called(plant, ride)
    # Where the fan cut in by its own log, its switch point is no lower than that: the bike file's may be off.
    starts = [float(ride.coolant_c[first]) for first, _ in runs(on) if np.isfinite(ride.coolant_c[first])]
    from_c = max([plant.fan_on_c, *([min(starts)] if starts else [])]) + MARGIN_C
    over = ride.running & (np.nan_to_num(ride.coolant_c, nan=-np.inf) >= from_c)
    slow = np.nan_to_num(ride.speed_mps, nan=np.inf) <= STANDING_MPS
    turns = 0
    for first, past in runs(asked):
        back = past < asked.size and bool(ride.coolant_c[past] <= plant.fan_off_c) and bool(ride.running[past])
        turns += back and bool(slow[first:past].mean() >= 0.8) and not on[first:past].any()
    return FanLog(
        from_c=from_c,
        off_s=float(np.count_nonzero(over & known & ~on) * STEP_S),
        on_s=float(np.count_nonzero(asked & on) * STEP_S),
        turns=int(turns),
    )
