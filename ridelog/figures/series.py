"""Which samples a figure draws: logged channels from the ride itself, derived ones from the analysis' grid."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, TypeVar

import numpy as np

from ridelog.channels import TIME
from ridelog.figures.downsample import downsample, hole_after_s
from ridelog.intervals import Interval, to_mask
from ridelog.results import FloatArray, Traces
from ridelog.ride import Ride

Made = TypeVar("Made")


@dataclass(frozen=True)
class Line:
    """One trace in full: `t_s` rising, `y` finite or NaN where not known; `hole_s` the step that is a hole."""

    t_s: FloatArray
    y: FloatArray
    hole_s: float

    def view(self, start_s: float, end_s: float, n_out: int) -> tuple[FloatArray, FloatArray]:
        """What a view of it shows (see downsample)."""
        return downsample(self.t_s, self.y, n_out, start_s=start_s, end_s=end_s, hole_s=self.hole_s)

    def low_high(self) -> tuple[float, float] | None:
        """Smallest and largest known value, None where nothing is known."""
        known = self.y[np.isfinite(self.y)]
        return (float(known.min()), float(known.max())) if known.size else None


@dataclass(frozen=True)
class RideLines:
    """The lines of one ride, read out of the ride's table once and kept: a zoom only picks points.

    `get` never copies the table; it takes the samples a channel has, with the stretches marked as excluded set to NaN.
    """

    ride: Ride
    traces: Traces
    _kept: dict[str, Line | None] = field(default_factory=dict)
    _worked_out: dict[str, Any] = field(default_factory=dict)

    def once(self, name: str, make: Callable[[], Made]) -> Made:
        """What `make` gives; worked out when first asked for by this name, and kept with the lines."""
        if name not in self._worked_out:
            self._worked_out[name] = make()
        made: Made = self._worked_out[name]
        return made

    def get(self, name: str) -> Line | None:
        """A logged channel or a series of the grid by name; None where the ride has neither or knows nothing in it."""
        if name not in self._kept:
            self._kept[name] = self._logged(name) or self._derived(name) or self._stepped(name)
        return self._kept[name]

    def first(self, *names: str) -> tuple[str, Line] | None:
        """The first of several names the ride has, with its line."""
        for name in names:
            line = self.get(name)
            if line is not None:
                return name, line
        return None

    def _logged(self, name: str) -> Line | None:
        if name not in self.ride.samples.columns or not self.ride.samples.schema[name].is_numeric():
            return None
        table = self.ride.samples.select(TIME, name).drop_nulls()
        if table.height == 0:
            return None
        t = table[TIME].to_numpy()
        y = table[name].cast(float).to_numpy()
        excluded: list[Interval] = self.ride.excluded(name)
        if excluded:
            y = np.where(to_mask(t, excluded), np.nan, y)
            if not np.isfinite(y).any():
                return None
        return Line(t, y, hole_after_s(t))

    def _stepped(self, name: str) -> Line | None:
        """A column of the heat balance's own steps."""
        y, t = self.traces.steps.get(name), self.traces.steps.get(TIME)
        if y is None or t is None or t.size < 2 or not np.isfinite(y).any():
            return None
        return Line(t, y, 1.5 * float(t[1] - t[0]))

    def _derived(self, name: str) -> Line | None:
        y = self.traces.series.get(name)
        if y is None or not np.isfinite(y).any():
            return None
        return Line(self.traces.t_s, y, 1.5 * self.traces.step_s)
