"""What a rule looks at and what it says."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from ridelog.intervals import runs
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark

MOST_MARKS = 500
"""More marks of one kind on one channel are joined, the nearest first: a list nobody can read helps nobody."""


@dataclass(frozen=True)
class Trace:
    """One channel's own samples: `t_s` rises strictly, `y` is finite. `resolution` is the sensor's step (0 unknown),
    `hold_s` how long a value is repeated between updates (0 where it is not), `shortest_step_s` the shortest time from
    sample to sample (0 where it was not looked at)."""

    name: str
    t_s: FloatArray
    y: FloatArray
    resolution: float = 0.0
    hold_s: float = 0.0
    shortest_step_s: float = 0.0

    @cached_property
    def low(self) -> float:
        """Smallest value."""
        return float(self.y.min())

    @cached_property
    def high(self) -> float:
        """Largest value."""
        return float(self.y.max())

    @cached_property
    def largest_step(self) -> float:
        """Largest change from one sample to the next; 0 where there is one sample."""
        if self.y.size < 2:
            return 0.0
        steps = np.diff(self.y)
        return max(float(steps.max()), -float(steps.min()))


@dataclass(frozen=True)
class Finding:
    """Samples that a rule does not trust (`bad`, one flag a sample), and why. `detail` may hold {value}, the first
    bad one."""

    kind: str
    bad: BoolArray
    detail: str
    action: Literal["excluded", "kept", "repaired"] = "excluded"


def end_of(trace: Trace, last: int) -> float:
    """Where a stretch ends whose last bad sample is `last`: at the next sample, or just past the very last one."""
    if last + 1 < trace.t_s.size:
        return float(trace.t_s[last + 1])
    return float(np.nextafter(trace.t_s[last], np.inf))


def to_marks(trace: Trace, finding: Finding) -> list[QualityMark]:
    """One mark a run of bad samples."""
    found = runs(finding.bad)
    found = _join(found)
    return [
        QualityMark(
            trace.name,
            finding.kind,
            float(trace.t_s[first]),
            end_of(trace, past - 1),
            finding.action,
            finding.detail.format(value=f"{round(float(trace.y[first]), 2):g}"),
        )
        for first, past in found
    ]


def _join(found: list[tuple[int, int]]) -> list[tuple[int, int]]:
    room = 8
    while len(found) > MOST_MARKS:
        joined = [found[0]]
        for first, past in found[1:]:
            if first - joined[-1][1] <= room:
                joined[-1] = (joined[-1][0], past)
            else:
                joined.append((first, past))
        found, room = joined, room * 4
    return found
