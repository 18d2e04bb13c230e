"""What asked for the heat of a healthy bike: ground, standing, the map in use, or the day.

Looks at the seconds over the bike's `hot` threshold with the engine on: where they fell, and how many would be left on
an ordinary day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.analysis.thermal import Conditions
from ridelog.intervals import Interval, to_mask
from ridelog.results import BoolArray

HOT_S = 30.0
"""So many seconds over the threshold make a hot ride."""

ORDINARY_C, HOT_DAY_C = 25.0, 30.0
"""An ordinary riding day, and from where on a day is hot. Common practice, no source."""

LEFT_ON_ORDINARY_DAY = 0.34
"""The day is to blame where a third of the hot time, or less, would be left on an ordinary day."""

DAY_PASSED_ON = 0.85
"""A warmer day makes the coolant warmer by a little less: the fan and the walls take their part."""

STANDING_MPS = 0.7

ABRUPT = 4.0
"""How abruptly the answer turns from one cause to the other around one half, and around HOT_S."""


@dataclass(frozen=True)
class Asked:
    """`hot_s` seconds over `hot_c`; shares of them on advised stretches ridden on the standard map (with the minute
    after), and standing; `ordinary_day_s`: what would be left at ORDINARY_C, None where the air is not known."""

    hot_c: float
    hot_s: float
    missed_share: float
    standing_share: float
    ambient_c: float | None
    ordinary_day_s: float | None

    @property
    def hot_day(self) -> bool:
        """Whether the day is to blame."""
        return (
            self.ambient_c is not None
            and self.ordinary_day_s is not None
            and self.hot_s > 0.0
            and self.ambient_c >= HOT_DAY_C
            and self.ordinary_day_s <= LEFT_ON_ORDINARY_DAY * self.hot_s
        )

    def _day_share(self) -> float:
        """The hot day's part beside the load that it was ridden with: the less would be left on an ordinary day, and
        the hotter it was, the more."""
        if not self.hot_day or self.ambient_c is None or self.ordinary_day_s is None:
            return 0.0
        gone = 1.0 - self.ordinary_day_s / (LEFT_ON_ORDINARY_DAY * self.hot_s)
        heat = min((self.ambient_c - HOT_DAY_C) / (VERY_HOT_DAY_C - HOT_DAY_C), 1.0)
        least, most = DAY_SHARES
        return least + (most - least) * gone * heat

    def shares(self) -> dict[str, float]:
        """How a healthy bike's probability is spread over the causes `normal` and those that asked for heat."""
        hot = self.hot_s**ABRUPT / (self.hot_s**ABRUPT + HOT_S**ABRUPT)
        missed = _turned(self.missed_share)
        standing = _turned(self.standing_share) * (1.0 - missed)
        found = {
            "normal": 1.0 - hot,
            "load_without_conservative_map": hot * missed,
            "standstill_soak": hot * standing,
            "terrain_load": hot * (1.0 - missed - standing),
        }
        day = self._day_share()
        found = {name: value * (1.0 if name == "normal" else 1.0 - day) for name, value in found.items()}
        return {**found, "hot_conditions": day * hot}


DAY_SHARES, VERY_HOT_DAY_C = (0.3, 0.6), 38.0
"""A hot day is the second reason beside the load that it was ridden with; where nothing would have been hot on an
ordinary day and the air was at VERY_HOT_DAY_C, the first. Assumed."""


def asked(ride: Conditions, missed: Sequence[Interval], *, hot_c: float, ambient_c: float | None) -> Asked:
    """From a ride step by step; `missed`: advised stretches ridden on the standard map, with the time after them in
    which their heat still shows."""
    t_s, coolant_c, running, speed_mps = ride.t_s, ride.coolant_c, ride.running, ride.speed_mps
    step_s = float(t_s[1] - t_s[0]) if t_s.size > 1 else 0.0
    hot = (np.nan_to_num(coolant_c, nan=-273.0) > hot_c) & running
    seconds = float(hot.sum()) * step_s
    inside = to_mask(t_s, list(missed)) if missed else np.zeros(t_s.size, dtype=np.bool_)
    standing = np.nan_to_num(speed_mps, nan=99.0) < STANDING_MPS
    ordinary = None
    if ambient_c is not None:
        cooler = coolant_c - DAY_PASSED_ON * (ambient_c - ORDINARY_C)
        ordinary = float(((np.nan_to_num(cooler, nan=-273.0) > hot_c) & running).sum()) * step_s

    def share(mask: BoolArray) -> float:
        return float((hot & mask).sum() / hot.sum()) if hot.any() else 0.0

    return Asked(hot_c, seconds, share(inside), share(standing), ambient_c, ordinary)


def _turned(share: float) -> float:
    """From a share to how sure it makes: one half stays one half."""
    yes, no = share**ABRUPT, (1.0 - share) ** ABRUPT
    return float(yes / (yes + no))
