"""Stretches in which a channel says nothing while the rest of the log goes on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ridelog.channels import DROPOUT
from ridelog.intervals import Interval, difference
from ridelog.quality.trace import Trace
from ridelog.results import FloatArray
from ridelog.ride import QualityMark
from ridelog.words import doubt_details


def find(
    name: str, trace: Trace, t_s: FloatArray, gaps: Sequence[Interval], rate_hz: float | None
) -> list[QualityMark]:
    """Marks (action "kept": there is nothing to leave out) where a channel has no sample for long, gaps of the whole
    log left aside; before its first sample and after its last one too."""
    steps = np.diff(trace.t_s)
    period = float(np.median(steps)) if steps.size else 0.0
    if rate_hz:
        period = max(period, 1.0 / rate_hz)
    shortest = max(DROPOUT.shortest_s, DROPOUT.shortest_periods * period)
    edges = np.concatenate(([t_s[0]], trace.t_s, [t_s[-1]]))
    long = np.flatnonzero(np.diff(edges) > shortest)
    marks = []
    for at in long:
        silent = [Interval(float(edges[at]), float(edges[at + 1]))]
        for start_s, end_s in difference(silent, gaps):
            if end_s - start_s > shortest:
                marks.append(
                    QualityMark(name, "dropout", start_s, end_s, "kept", doubt_details.dropout(end_s - start_s))
                )
    return marks
