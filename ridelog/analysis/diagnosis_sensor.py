"""Is the coolant sensor sick? Settled first: nothing is concluded from a sick sensor.

It goes by the marks of the import (see the quality rules): what they leave out, and how often.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ridelog.intervals import Interval, total_s, union
from ridelog.results import Mark

INVENTED = ("stuck", "substitute")
"""One such mark is enough: nothing but the sensor or its control unit makes it."""

TROUBLE = (*INVENTED, "sentinel", "out_of_range", "impossible_rate", "spike", "dropout", "ignition_noise", "noise")

CLEAR_SHARE, CLEAR_MARKS = 0.02, 6
SLIGHT_SHARE, SLIGHT_MARKS = 0.002, 2
"""So much of the ride under marks, or so many marks an hour (in all, on a ride of an hour or less). Assumed."""


@dataclass(frozen=True)
class Sensor:
    """State of the coolant sensor: `share` of the ride under marks of trouble, their number by kind."""

    state: Literal["well", "slight", "clear"]
    share: float
    kinds: dict[str, int]


def sensor(marks: Sequence[Mark], channel: str, duration_s: float) -> Sensor:
    """From the marks on one channel."""
    found = [mark for mark in marks if mark.channel == channel and mark.kind in TROUBLE]
    kinds: dict[str, int] = {}
    for mark in found:
        kinds[mark.kind] = kinds.get(mark.kind, 0) + 1
    spans = union(Interval(mark.start_s, mark.end_s) for mark in found)
    share = total_s(spans) / max(duration_s, 1.0)
    state: Literal["well", "slight", "clear"] = "well"
    hours = max(duration_s / 3600.0, 1.0)
    if any(kind in kinds for kind in INVENTED) or share >= CLEAR_SHARE or len(found) >= CLEAR_MARKS * hours:
        state = "clear"
    elif share >= SLIGHT_SHARE or len(found) >= SLIGHT_MARKS * hours:
        state = "slight"
    return Sensor(state, share, kinds)
