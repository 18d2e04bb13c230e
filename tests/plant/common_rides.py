"""Rides that several tests look at, ridden once."""

from __future__ import annotations

from functools import cache

from plant import Simulated, simulate

SEEDS = (4, 7)


@cache
def ride(seed: int, bike: str = "heron-300", fault: str | None = None, ambient_c: float = 20.0) -> Simulated:
    """A shared 30-minute ride."""
    return simulate(seed, bike, fault=fault, ambient_c=ambient_c, duration_s=1800.0)  # type: ignore[arg-type]
