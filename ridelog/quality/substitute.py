"""A coolant trace that a control unit invents while its sensor is lost: from a start value it climbs along one smooth
curve, whatever the engine does, to a round number, and stays there to the last digit.

It looks like a perfect cooling system, and it hides the real one. A healthy warm-up wavers with load, stops and the
thermostat, and a healthy engine never holds a temperature exactly for long.
"""

from __future__ import annotations

import numpy as np

from ridelog.channels import STUCK, SUBSTITUTE
from ridelog.quality.stuck import Movement
from ridelog.quality.trace import Finding, Trace
from ridelog.results import BoolArray, FloatArray
from ridelog.words import doubt_details

_SAME_C = 1e-6
_BENDS = np.concatenate(([0.0], np.geomspace(0.2, 8.0, 24)))
"""Shapes tried for the rise, k in exp(-k t) with t from 0 to 1: a straight ramp to one that is flat at its end."""


def find(trace: Trace, moving: Movement, bad: BoolArray) -> list[Finding]:
    """The whole trace, where all of this holds: it ends exactly at its highest value, a round one, held for minutes
    with the load varied; and it rose there without ever falling, along one smooth curve, with the load varied."""
    good = np.flatnonzero(~bad) if bad.any() else None
    t_s, y = (trace.t_s, trace.y) if good is None else (trace.t_s[good], trace.y[good])
    if y.size < 20 or y[-1] < float(y.max()) - _SAME_C or not round_cap(float(y[-1])):
        return []
    cap = float(y[-1])
    below = np.flatnonzero(y < cap - _SAME_C)
    if not below.size:
        return []  # nothing rises: the rule for stuck sensors judges it
    last = int(below[-1])
    fine = 0 < trace.resolution < STUCK.fine_c
    rise_t, rise_y = t_s[: last + 2], y[: last + 2]
    held_s = _without_holes(t_s[last + 1 :])
    if (
        held_s < (SUBSTITUTE.plateau_fine_s if fine else SUBSTITUTE.plateau_s)
        or cap - rise_y[0] < SUBSTITUTE.rise_c
        or _without_holes(rise_t) < SUBSTITUTE.rise_s
        or float(np.diff(rise_y).min()) < -_SAME_C
        or not moving.varied(float(rise_t[0]), float(rise_t[-1]))
        or not moving.varied(float(t_s[last + 1]), float(t_s[-1]))
    ):
        return []
    spread = _spread(rise_t, rise_y)
    if spread > SUBSTITUTE.spread_steps * trace.resolution + SUBSTITUTE.spread_c:
        return []
    detail = doubt_details.substitute(rise_y[0], cap, spread, held_s / 60.0)
    return [Finding("substitute", ~bad, detail)]


def round_cap(value_c: float) -> bool:
    """Is this a round number, in C or in F, at which an engine at work would be?"""
    if not SUBSTITUTE.lowest_cap_c <= value_c <= SUBSTITUTE.highest_cap_c:
        return False
    in_f = value_c * 1.8 + 32.0
    off_c = abs(value_c - SUBSTITUTE.round_c * round(value_c / SUBSTITUTE.round_c))
    off_f = abs(in_f - SUBSTITUTE.round_f * round(in_f / SUBSTITUTE.round_f))
    return off_c < 0.01 or off_f < 0.02


def _without_holes(t_s: FloatArray) -> float:
    """Seconds from the first to the last time, holes of the log left out."""
    steps = np.diff(t_s)
    if not steps.size:
        return 0.0
    return float(steps[steps <= max(1.0, 5.0 * float(np.median(steps)))].sum())


def _spread(t_s: FloatArray, y: FloatArray) -> float:
    """Root mean square distance of the rise from the best curve a + b exp(-k t), C."""
    # A held or rounded trace says most at the moments between two changes: the middle of each tread lies on the curve.
    edges = np.concatenate(([0], np.flatnonzero(np.diff(y)) + 1))
    ends = np.concatenate((edges[1:], [y.size])) - 1
    middle = 0.5 * (t_s[edges] + t_s[ends])
    values = y[edges]
    x = (middle - middle[0]) / (middle[-1] - middle[0]) if middle[-1] > middle[0] else np.zeros(middle.size)
    # The last tread is the cap's first sample, the first one began before the log did: neither has a true middle.
    x, values = (x[1:-1], values[1:-1]) if values.size > 8 else (x, values)
    bends = _BENDS
    for _ in range(3):
        spreads = [_left_over(x, values, float(k)) for k in bends]
        at = int(np.argmin(spreads))
        bends = np.linspace(bends[max(at - 1, 0)], bends[min(at + 1, bends.size - 1)], 9)
    return min(spreads)


def _left_over(x: FloatArray, values: FloatArray, k: float) -> float:
    """Root mean square of what the best a + b exp(-k x) leaves."""
    shape = np.exp(-k * x) if k > 0.0 else x
    shape = shape - shape.mean()
    centred = values - values.mean()
    square = float(shape @ shape)
    left = centred - (float(shape @ centred) / square if square > 0.0 else 0.0) * shape
    return float(np.sqrt(np.mean(left * left)))
