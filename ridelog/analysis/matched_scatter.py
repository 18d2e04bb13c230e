"""Rides as their own yardstick: two groups of single figures, their ranges and the difference of their means."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.results import Band

NORMAL = 1.959963984540054
"""97.5 % of a normal distribution."""

ENOUGH = 3
"""Under three rides a side nothing but the range is told."""


def band(values: Sequence[float]) -> Band:
    """Mean, lowest and highest."""
    return Band(float(np.mean(values)), float(min(values)), float(max(values)))


def one_more(value: float, value_sd: float, others: Sequence[float]) -> Band:
    """A value less the mean of others, with a 95 % band that holds nothing if it is one more of their kind; `value_sd`
    is how well it is known itself, the others are taken as they come. Three others or more.

    Source: the prediction interval of a normal sample, any handbook of statistics: t(n - 1) s sqrt(1 + 1 / n).
    """
    from scipy.special import stdtrit

    count = len(others)
    reach = float(stdtrit(count - 1, 0.975)) * float(np.std(others, ddof=1)) * float(np.sqrt(1.0 + 1.0 / count))
    reach = float(np.hypot(reach, NORMAL * value_sd))
    apart = value - float(np.mean(others))
    return Band(apart, apart - reach, apart + reach)


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
