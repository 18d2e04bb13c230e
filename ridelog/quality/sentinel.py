"""Numbers that stand for "no value": the ends of a byte or a word after scaling, and what loggers write by habit.

A sentinel comes and goes at a jump. 127 C reached degree by degree is a very hot engine; 127 C between two 85s is not.
"""

from __future__ import annotations

import numpy as np

from ridelog.channels import SENTINEL, Channel
from ridelog.intervals import runs
from ridelog.quality.trace import Finding, Trace
from ridelog.results import BoolArray
from ridelog.words import doubt_details

_OTHERS = dict(SENTINEL.others)
_MINUS_40 = -40.0


def find(trace: Trace, channel: Channel, bad: BoolArray) -> list[Finding]:
    """Runs of a sentinel that begin or end at a jump."""
    values = SENTINEL.temperatures_c if channel.unit == "C" else _OTHERS.get(channel.name, ())
    if not values:
        return []
    jump = SENTINEL.jump_c if channel.unit == "C" else SENTINEL.jump_share * (channel.high - channel.low)
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
            found.append(Finding("sentinel", marked, doubt_details.sentinel(channel.unit)))
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
