"""Octane as pumps show it.

A pump shows either RON or, elsewhere, the anti-knock index AKI = (RON + MON) / 2. RON is the mild test and MON the
severe one; RON - MON (the sensitivity) is 8 to 12 for pump petrol, so RON alone gives AKI only as a band.
"""

from __future__ import annotations

SENSITIVITY = (8.0, 12.0)
"""RON - MON of pump petrol, least and most."""


def anti_knock_index(ron: float, mon: float) -> float:
    """AKI from both ratings, by its definition."""
    return 0.5 * (ron + mon)


def aki_band(ron: float) -> tuple[float, float]:
    """Lowest and highest AKI a fuel of this RON can have: 98 gives 92 to 94."""
    least, most = SENSITIVITY
    return anti_knock_index(ron, ron - most), anti_knock_index(ron, ron - least)
