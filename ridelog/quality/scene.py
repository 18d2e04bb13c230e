"""All channels of a ride once a second, for rules that weigh one channel against another.

Two million rows become some ten thousand seconds, so that such rules cost next to nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from ridelog.intervals import Interval, difference, runs
from ridelog.quality.trace import Trace
from ridelog.results import BoolArray, FloatArray
from ridelog.ride import QualityMark

MOST_SECONDS = 4_000_000
"""A clock gone wrong must not ask for memory: beyond this the rules that need seconds stay silent."""

_STALE_S = 1.5
_STALE_PERIODS = 3.0


class Scene:
    """One value a second of every channel, NaN where it has none or where another rule has named it.

    `t_s`: whole seconds of the ride's stretches between its gaps. Between two stretches stands one second at which all
    channels are NaN, so that nothing is ever compared across a gap. `derived` names channels that were worked out of
    others. `wholly` are the traces themselves, `bad` what is known to be wrong in them.
    """

    def __init__(
        self,
        traces: Mapping[str, Trace],
        bad: Mapping[str, BoolArray],
        gaps: Sequence[Interval],
        derived: Iterable[str] = (),
    ) -> None:
        self.traces = traces
        self.bad = bad
        self.derived = frozenset(derived)
        self._cache: dict[str, FloatArray] = {}
        self._latest_of: dict[int, tuple[npt.NDArray[np.intp], FloatArray]] = {}
        ends = [float(trace.t_s[-1]) for trace in traces.values() if trace.t_s.size]
        starts = [float(trace.t_s[0]) for trace in traces.values() if trace.t_s.size]
        parts: list[FloatArray] = []
        void: list[BoolArray] = []
        whole = [Interval(min(starts), np.nextafter(max(ends), np.inf))] if ends else []
        stretches = difference(whole, gaps)
        if sum(stretch.length_s + 2.0 for stretch in stretches) > MOST_SECONDS:
            stretches = []
        for start_s, end_s in stretches:
            seconds = np.arange(np.ceil(start_s), np.floor(end_s) + 1.0)
            if parts:
                parts.append(np.array([start_s]))
                void.append(np.ones(1, dtype=np.bool_))
            parts.append(seconds)
            void.append(np.zeros(seconds.size, dtype=np.bool_))
        self.t_s: FloatArray = np.concatenate(parts) if parts else np.zeros(0)
        self._void: BoolArray = np.concatenate(void) if void else np.zeros(0, dtype=np.bool_)

    def has(self, *names: str) -> bool:
        """Does the ride have all of these channels, with one sample at least?"""
        return all(name in self.traces and self.traces[name].t_s.size > 0 for name in names)

    def period_s(self, name: str) -> float:
        """Seconds from one reading of a channel's sensor to the next."""
        trace = self.traces[name]
        if trace.t_s.size < 2:
            return np.inf
        thin = trace.t_s[:20_001]
        return max(trace.hold_s, float(np.median(np.diff(thin))))

    def at(self, name: str) -> FloatArray:
        """The channel's latest reading at each second; NaN where that is older than 1.5 s and three of its periods."""
        if name not in self._cache:
            self._cache[name] = self._look_up(name)
        return self._cache[name]

    def maybe(self, name: str) -> FloatArray | None:
        """As `at`, or None where the ride does not have the channel."""
        return self.at(name) if self.has(name) else None

    def _look_up(self, name: str) -> FloatArray:
        trace = self.traces[name]
        safe, age = self._latest(trace)
        values: FloatArray = trace.y[safe]
        period = self.period_s(name)
        stale = max(_STALE_S, _STALE_PERIODS * period) if np.isfinite(period) else _STALE_S
        unknown = (age > stale) | self._void
        bad = self.bad.get(name)
        if bad is not None and bad.any():
            unknown |= bad[safe]
        values[unknown] = np.nan
        return values

    def _latest(self, trace: Trace) -> tuple[npt.NDArray[np.intp], FloatArray]:
        """The latest sample at each second and its age, s (infinite before the first). Channels of one clock share
        it."""
        key = id(trace.t_s)
        if key not in self._latest_of:
            index = np.searchsorted(trace.t_s, self.t_s, "right") - 1
            safe = np.maximum(index, 0)
            self._latest_of[key] = (safe, np.where(index < 0, np.inf, self.t_s - trace.t_s[safe]))
        return self._latest_of[key]

    def marks(
        self,
        mask: BoolArray,
        channels: Iterable[str],
        kind: str,
        detail: str,
        action: Literal["excluded", "kept", "repaired"] = "excluded",
    ) -> list[QualityMark]:
        """A mark on each of these channels that the ride has, for each run of seconds."""
        there = [name for name in channels if self.has(name)]
        return [
            QualityMark(name, kind, float(self.t_s[first]), self.end_of(past), action, detail)
            for first, past in runs(mask)
            for name in there
        ]

    def end_of(self, past: int) -> float:
        """Where a stretch ends whose last second is `past - 1`; past the very last sample where nothing follows."""
        if past < self.t_s.size and not self._void[past]:
            return float(self.t_s[past])
        last = max(float(trace.t_s[-1]) for trace in self.traces.values() if trace.t_s.size)
        return min(float(self.t_s[past - 1]) + 1.0, float(np.nextafter(last, np.inf)))


def clock(seconds: float) -> str:
    """Elapsed time for a sentence: `0:12:05`."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}"
