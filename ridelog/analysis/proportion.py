"""A share of few cases, with the band that so few cases allow."""

from __future__ import annotations

import math
from collections.abc import Sequence


def wilson(hits: float, cases: float, z: float) -> tuple[float, float] | None:
    """Wilson's score interval for `hits` of `cases`, each end 0..1; None without a case, which tells nothing.

    `z` is the normal deviate of the coverage, 1.96 for 95 %. The ends p solve
    |p - hits/cases| = z sqrt(p (1 - p) / cases): they stay within 0..1 and lie apart even where all cases agree
    (E. B. Wilson, 1927). Both may be parts of cases, where cases that hang together count for fewer (`witnesses`).
    Raises ValueError where the counts can't be.
    """
    if cases < 0 or not 0 <= hits <= max(cases, 0):
        raise ValueError(f"{hits} of {cases}")
    if cases == 0:
        return None
    square = z * z
    middle = (hits + 0.5 * square) / (cases + square)
    reach = z / (cases + square) * math.sqrt(hits * (cases - hits) / cases + 0.25 * square)
    # Where all cases agree one end is exact; rounding must not say otherwise.
    low = 0.0 if hits == 0 else middle - reach
    high = 1.0 if hits == cases else middle + reach
    return low, high


def witnesses(sizes: Sequence[int]) -> float:
    """How many cases that stand alone groups of cases are worth, where those of one group are all alike: the square of
    their number over the sum of the groups' squares; 0 without any.

    Source: the effective size of a sample of clusters, L. Kish, Survey Sampling, 1965 (from memory).
    """
    total = sum(sizes)
    return total * total / sum(size * size for size in sizes) if total else 0.0
