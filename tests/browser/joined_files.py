"""Two files of one invented ride, as two devices write them."""

from __future__ import annotations

import numpy as np


def devices(seed: int, late_s: float) -> tuple[str, str]:
    """What a receiver and an engine logger have of a ride; the engine's was switched on later and has no date."""
    noise = np.convolve(np.random.default_rng(seed).normal(0.0, 1.0, 6000), np.hanning(60), "same")
    speed = 45.0 + 25.0 * noise / np.abs(noise).max()
    first = round(late_s * 10)
    track = "".join(f"{n / 10:.1f},{v:.2f}\n" for n, v in enumerate(speed))
    engine = "".join(f"{n / 10:.1f},{100 * v:.0f},{70 + n * 0.001:.1f}\n" for n, v in enumerate(speed[first:]))
    return f"Time s,GPS speed km/h\n{track}", f"Time s,RPM,Coolant C\n{engine}"
