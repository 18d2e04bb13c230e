"""Numbers that stand for "no value": the ends of a byte or a word after scaling, and what loggers write by habit.

A sentinel comes and goes at a jump. 127 C reached degree by degree is a very hot engine; 127 C between two 85s is not.
"""

from __future__ import annotations

import numpy as np

from ridelog.channels import Channel
from ridelog.intervals import runs
from ridelog.quality.trace import Finding, Trace
from ridelog.results import BoolArray

TEMPERATURES_C = (-40.0, 0.0, 127.0, 128.0, 140.0, 150.0, 215.0, 255.0, 327.67, 999.0, 3276.7, -273.15, -1.0)
"""-40 and 215: all bits clear or set in a byte scaled with an offset of 40 (SAE J1979 scaling). 127, 255, 327.67,
3276.7: the largest signed or unsigned byte or word, whole, in tenths or hundredths. 0, -1, 140, 150, 999: habits;
common practice, no source."""

OTHERS = {
    "engine_rpm": (16_383.75, 65_535.0, 9_999.0),
    "throttle_pct": (127.5, 127.0, -1.0, 255.0, 102.3),
    "gps_speed_mps": (255.0 / 3.6, 999.0 / 3.6),
    "wheel_speed_mps": (255.0 / 3.6, 999.0 / 3.6),
    "gear": (255.0, 15.0, -1.0),
    "battery_v": (0.0, 25.5, 65.535),
    "elevation_m": (-9_999.0, 9_999.0, 32_767.0),
}

JUMP_C = 20.0
"""A temperature that comes or goes by more than this from one sample to the next did not pass the values between."""

_MINUS_40 = -40.0


def find(trace: Trace, channel: Channel, bad: BoolArray) -> list[Finding]:
    """Runs of a sentinel that begin or end at a jump."""
    values = TEMPERATURES_C if channel.unit == "C" else OTHERS.get(channel.name, ())
    if not values:
        return []
    jump = JUMP_C if channel.unit == "C" else 0.1 * (channel.high - channel.low)
    found = []
    for value in values:
        # A converted -40 F is -40 C, a converted 255 is not 255: the tolerance only covers rounding.
        if not trace.low - 0.01 <= value <= trace.high + 0.01:
            continue
        same = (np.abs(trace.y - value) < 0.005) & ~bad
        if not same.any():
            continue
        marked = _by_jump(trace, same, jump, value)
        if marked.any():
            found.append(Finding("sentinel", marked, "{value} " + channel.unit + " stands for no value"))
    return found


def _by_jump(trace: Trace, same: BoolArray, jump: float, value: float) -> BoolArray:
    marked = np.zeros(same.size, dtype=np.bool_)
    if same.all():
        # A sensor that never says anything else than -40 is not connected; one that only says 0 may be.
        if value == _MINUS_40:
            marked[:] = True
        return marked
    for first, past in runs(same):
        before = abs(float(trace.y[first - 1]) - value) if first else None
        after = abs(float(trace.y[past]) - value) if past < same.size else None
        sides = [side for side in (before, after) if side is not None]
        if sides and all(side > jump for side in sides):
            marked[first:past] = True
    return marked
