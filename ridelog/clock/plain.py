"""The short way for a clock that simply rises: one look over its stamps, some thousands at a time."""

from __future__ import annotations

import numpy as np

from ridelog.clock.disorder import GAP_FLOOR_S, GAP_MEDIAN_STEPS
from ridelog.results import FloatArray

_BLOCK = 32_768
"""Stamps looked at together: so few that they stay in the processor's own memory."""

_MEDIAN_OF = 200_000


def rises_evenly(stamps_s: FloatArray, least_s: float, pause_s: float) -> bool:
    """True where every step is at least `least_s`, none is a gap or as long as `pause_s`, and the times from the first
    stamp rise as the stamps do.

    False does not mean that something is wrong: then the clock takes the long way.
    """
    count = stamps_s.size - 1
    if count < 1:
        return False
    every = count // _MEDIAN_OF + 1
    # The same even choice of steps that the gaps of other clocks are measured by.
    longest = max(GAP_FLOOR_S, GAP_MEDIAN_STEPS * float(np.median(stamps_s[1::every] - stamps_s[:-1:every])))
    first = stamps_s[0]
    room = np.empty(_BLOCK + 1)
    steps = np.empty(_BLOCK)
    for at in range(0, count, _BLOCK):
        block = stamps_s[at : at + _BLOCK + 1]
        step = np.subtract(block[1:], block[:-1], out=steps[: block.size - 1])
        if not (step.min() >= least_s and step.max() <= longest and step.max() < pause_s):
            return False
        if first != 0.0:
            since = np.subtract(block, first, out=room[: block.size])
            if not np.subtract(since[1:], since[:-1], out=step).min() > 0.0:
                return False
    return True
