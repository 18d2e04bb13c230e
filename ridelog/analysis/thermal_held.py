"""How soon a coolant gets somewhere while heating and what sheds heat stay as they are: the balance in closed form.

With everything held the coolant rises along an exponential until something switches. Up to the fan's switch point it
runs without the fan, from there on with it. A thermostat cuts the way in three: shut, on its way (conductance and
capacity grow in step with the coolant, which leaves two logarithms) and open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.airflow import THERMOSTAT_SPAN_C
from ridelog.analysis.thermal import Cooling, Opening, Plant, driven_by
from ridelog.results import FloatArray


def reach_s(
    plant: Plant, held: tuple[Cooling, FloatArray, FloatArray], start_c: FloatArray, target_c: float
) -> FloatArray:
    """Seconds from `start_c` (n,) until `target_c` is reached first, (K, n); infinite where it never is, 0 where it is
    there already. `held`: what sheds heat, heating in K/s and air in C, (K, n) each.

    Example: no fan, no thermostat, air 25 C, settling at 150 C with 0.015 1/s, from 85 C: 115 C after 41.23 s.
    """
    sheds, q, ambient_c = held
    goes_on = _Held(sheds, *driven_by(q, ambient_c), ambient_c)
    start = np.broadcast_to(start_c, q.shape)
    if plant.fan_on_c is None:
        return goes_on.climb_s(start, target_c, 0.0)
    first = goes_on.climb_s(start, min(target_c, plant.fan_on_c), 0.0)
    if target_c <= plant.fan_on_c:
        return first
    return first + goes_on.climb_s(np.maximum(start, plant.fan_on_c), target_c, 1.0)


@dataclass(frozen=True)
class _Held:
    """A stretch whose means go on, (K, n) each."""

    sheds: Cooling
    heat: FloatArray
    falls: FloatArray
    ambient_c: FloatArray

    def climb_s(self, start_c: FloatArray, target_c: float, fan: float) -> FloatArray:
        """Seconds up to the target with the fan's state held; 0 where it is there."""
        flow = self.sheds.flow(fan)
        target = np.full(start_c.shape, target_c)
        if self.sheds.opens_c is None:
            return self._straight_s(start_c, target, self.sheds.still + self.falls + flow, 1.0)
        opening = Opening.of(self.sheds, self.heat, self.falls, self.ambient_c, flow)
        low = self.sheds.opens_c[:, None]
        high = low + THERMOSTAT_SPAN_C
        return (
            self._straight_s(start_c, np.minimum(target, low), opening.shut_per_s, self.sheds.closed[:, None])
            + self._opening_s(np.maximum(start_c, low), np.minimum(target, high), opening)
            + self._straight_s(np.maximum(start_c, high), target, self.sheds.still + self.falls + flow, 1.0)
        )

    def _straight_s(
        self, start_c: FloatArray, target_c: FloatArray, per_s: FloatArray, capacity: FloatArray | float
    ) -> FloatArray:
        per_s = np.maximum(per_s, 1e-9)
        settles = self.ambient_c + self.heat / per_s
        with np.errstate(invalid="ignore", divide="ignore"):
            seconds = np.log((settles - start_c) / (settles - target_c)) * (capacity / per_s)
        return _climbed(seconds, start_c, target_c, settles)

    def _opening_s(self, start_c: FloatArray, target_c: FloatArray, opening: Opening) -> FloatArray:
        closed = self.sheds.closed[:, None]
        opens = self.sheds.opens_c[:, None] if self.sheds.opens_c is not None else np.inf
        # Capacity is `least` + `more` x, with x the coolant above the air's temperature.
        more = (1.0 - closed) / THERMOSTAT_SPAN_C
        least = closed + more * (self.ambient_c - opens)
        begin, end = start_c - self.ambient_c, target_c - self.ambient_c
        settles, other = opening.settles, opening.other
        with np.errstate(invalid="ignore", divide="ignore"):
            seconds = (least + more * settles) * np.log((settles - begin) / (settles - end))
            seconds += (least + more * other) * np.log1p((end - begin) / (begin - other))
            seconds /= opening.spread
        return _climbed(seconds, start_c, target_c, settles + self.ambient_c)


def _climbed(seconds: FloatArray, start_c: FloatArray, target_c: FloatArray, settles_c: FloatArray) -> FloatArray:
    return np.where(start_c >= target_c, 0.0, np.where(settles_c > target_c, seconds, np.inf))
