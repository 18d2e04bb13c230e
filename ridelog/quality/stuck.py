"""A coolant trace that does not move while the engine works: a stuck sensor, or a substitute value of the control
unit."""

from __future__ import annotations

import numpy as np
import polars as pl

from ridelog.channels import STUCK, TIME
from ridelog.intervals import runs
from ridelog.quality.trace import Finding, Trace
from ridelog.results import FloatArray
from ridelog.words import doubt_details


class Movement:
    """What the engine did meanwhile, for the rule to look at: engine speed or ground speed, whichever is there."""

    def __init__(self, samples: pl.DataFrame) -> None:
        self._samples = samples
        self._name = next((n for n in ("engine_rpm", "wheel_speed_mps", "gps_speed_mps") if n in samples.columns), None)

    def varied(self, start_s: float, end_s: float) -> bool:
        """Did the load vary in a stretch? False too where nothing tells."""
        if self._name is None:
            return False
        t_s: FloatArray = self._samples[TIME].to_numpy()
        first, past = np.searchsorted(t_s, [start_s, end_s])
        values = self._samples[self._name].slice(int(first), int(past - first)).drop_nulls().to_numpy()
        if values.size < 20:
            return False
        low, high = np.quantile(values, [0.1, 0.9])
        return bool(high - low > (STUCK.worked_rpm if self._name == "engine_rpm" else STUCK.worked_mps))


def find(trace: Trace, moving: Movement) -> list[Finding]:
    """Stretches in which the coolant stays exactly equal for many minutes while the load varies."""
    if trace.t_s.size < 3:
        return []
    shortest = STUCK.shortest_fine_s if 0 < trace.resolution < STUCK.fine_c else STUCK.shortest_s
    if float(trace.t_s[-1] - trace.t_s[0]) < shortest:
        return []
    change = np.flatnonzero(np.diff(trace.y)) + 1
    first = np.concatenate(([0], change))
    last = np.concatenate((change - 1, [trace.t_s.size - 1]))
    long = np.flatnonzero(trace.t_s[last] - trace.t_s[first] >= shortest)
    steps = np.diff(trace.t_s)
    whole = max(1.0, 5.0 * float(np.median(steps[:: steps.size // 200_000 + 1])))
    bad = np.zeros(trace.t_s.size, dtype=np.bool_)
    for a, b in zip(first[long].tolist(), last[long].tolist(), strict=True):
        # A hole in the log is no proof that the value stood still in it.
        for c, d in runs(np.concatenate((steps[a:b] <= whole, [False]))):
            start_s, end_s = float(trace.t_s[a + c]), float(trace.t_s[a + d])
            if end_s - start_s >= shortest and moving.varied(start_s, end_s):
                bad[a + c : a + d + 1] = True
    if not bad.any():
        return []
    return [
        Finding(
            "stuck",
            bad,
            doubt_details.STUCK,
        )
    ]
