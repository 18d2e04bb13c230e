"""Rides as their own yardstick: two groups of single figures, their ranges and the difference of their means."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.results import Band

ENOUGH = 3
"""Under three rides a side nothing but the range is told."""


def band(values: Sequence[float]) -> Band:
    """Mean, lowest and highest."""
    return Band(float(np.mean(values)), float(min(values)), float(max(values)))


def welch(first: Sequence[float], others: Sequence[float]) -> Band | None:
    """Difference of the means with its 95 % band for groups of unequal spread; None under three values a side.

    Source: Welch's test with Satterthwaite's degrees of freedom, any handbook of statistics; held against a reference
    library in the tests.
    """
    if min(len(first), len(others)) < ENOUGH:
        return None
    from scipy.special import stdtrit

    parts = [float(np.var(values, ddof=1)) / len(values) for values in (first, others)]
    difference = float(np.mean(first) - np.mean(others))
    total = sum(parts)
    if total <= 0.0:
        return Band(difference, difference, difference)
    counts = (len(first), len(others))
    freedom = total**2 / sum(part**2 / (count - 1) for part, count in zip(parts, counts, strict=True))
    reach = float(stdtrit(freedom, 0.975)) * float(np.sqrt(total))
    return Band(difference, difference - reach, difference + reach)
