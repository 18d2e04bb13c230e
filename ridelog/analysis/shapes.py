"""What the stages hand to each other: no stage imports another, all of them may import this."""

from __future__ import annotations

from dataclasses import dataclass

from ridelog.intervals import Interval
from ridelog.results import FloatArray

POWER_TOLERANCE = 0.20
"""Brake power is good to ± 20 %: curve, law and map together."""

MASS_TOLERANCE = 0.10
"""The bike file's mass is good to ± 10 %: fuel, kit and mud."""

BLOCK_S = 1.0
MEDIAN_S = 21.0
"""Terrain drag is averaged to one value a second, then the median over 21 s is taken."""


@dataclass(frozen=True)
class Terrain:
    """One value a second (block k stands for k..k+1 s), NaN where not known.

    `raw`: drag of that second; `low` and `high`: the same with power and mass at the ends of their tolerance;
    `smooth`: the median of `raw` over 21 s; `power_share`: mean power over peak power in the same window, all seconds
    counted.
    """

    t_s: FloatArray
    raw: FloatArray
    low: FloatArray
    high: FloatArray
    smooth: FloatArray
    power_share: FloatArray


@dataclass(frozen=True)
class Signals:
    """What the rules look at, on the grid; None where the ride does not have it. `terrain` has its own, slower
    times; `over_limit_c`: settle temperature less the bike's limit, best and low."""

    t_s: FloatArray
    step_s: float
    speed_mps: FloatArray | None
    grade: FloatArray | None
    opening: FloatArray | None
    rpm: FloatArray | None
    terrain: Terrain | None
    over_limit_c: FloatArray | None = None
    over_limit_low_c: FloatArray | None = None


@dataclass(frozen=True)
class Stretch:
    """A flagged stretch before anything is measured on it."""

    start_s: float
    end_s: float
    kind: str
    also: tuple[str, ...]

    @property
    def interval(self) -> Interval:
        """The stretch as an interval."""
        return Interval(self.start_s, self.end_s)
