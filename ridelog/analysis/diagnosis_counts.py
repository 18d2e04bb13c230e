"""How well each cause explains counts: leaps of the coolant, and marks on its sensor."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridelog.analysis.diagnosis_jumps import Leaps


@dataclass(frozen=True)
class Rate:
    """Leaps a minute: between rides a gamma distribution of that mean and shape, within a ride by chance."""

    per_min: float
    shape: float

    def log_chance(self, count: int, minutes: float) -> float:
        """Natural logarithm of the chance of a count: negative binomial."""
        if minutes <= 0.0:
            return 0.0
        mean = self.per_min * minutes
        k = self.shape
        return (
            math.lgamma(count + k)
            - math.lgamma(k)
            - math.lgamma(count + 1)
            + k * math.log(k / (k + mean))
            + count * math.log(mean / (k + mean))
        )


@dataclass(frozen=True)
class LeapRates:
    """What a cause makes of the three kinds of leap."""

    up_loaded: Rate
    up_idle: Rate
    down: Rate

    def log_chance(self, found: Leaps) -> float:
        """Natural logarithm of the chance of all three counts."""
        return (
            self.up_loaded.log_chance(found.up_loaded, found.loaded_min)
            + self.up_idle.log_chance(found.up_idle, found.idle_min)
            + self.down.log_chance(found.down, found.minutes)
        )
