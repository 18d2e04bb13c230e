"""A column of plain numbers as time: its unit, and whether it counts from 1970."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.results import FloatArray
from ridelog.units import TIME_UNITS_S, fold

EPOCH_S = (946_684_800.0, 4_102_444_800.0)
"""1 January 2000 to 1 January 2100 in Unix time: no ride was logged outside."""

_RATE_HZ = (0.5, 1000.0)
_RIDE_S = (120.0, 28_800.0)
_WIDER_RATE_HZ = (0.05, 2000.0)
_WIDER_RIDE_S = (1.0, 86_400.0)
_UNITS = ("s", "ms", "us")
_LONGEST_STEP_S = 3600.0
"""Rows further apart than this are taken for separate recordings sooner or later (`recordings.SPLIT_PAUSE_S`)."""


@dataclass(frozen=True)
class CounterUnit:
    """Seconds per count, whether the count starts in 1970, the unit's name, and whether it had to be inferred.
    `against` is the unit the label names where the numbers can't be that."""

    factor_s: float
    epoch: bool
    unit: str
    inferred: bool
    against: str | None = None


def unit_of(values: FloatArray, unit: str | None, name: str, where: str, *, unit_certain: bool = False) -> CounterUnit:
    """The unit of a counter (finite values, two at least). Raises AmbiguousColumn where two fit.

    A label is believed, unless only another unit makes the numbers a date and a ride; `unit_certain` is the user's own
    word, which stands over that. Without a label the unit is that in which a ride of 2 minutes to 8 hours was logged
    at 0.5 to 1000 Hz (common practice, no source).
    """
    if values.max() == values.min():
        raise InputRefused(
            f"all {values.size:,} rows bear the same time ({values[0]:g})",
            where=f"{where}, column {name}" if where else f"column {name}",
            expected="a time in every row that rises from row to row",
            to_do="use the log as the device wrote it: a spreadsheet rounds long numbers when it saves them",
        )
    labelled = fold(unit or "").strip("[]() .")
    if not unit_certain:
        _refuse_parts_of_a_day(values, labelled, name, where)
    if labelled in TIME_UNITS_S:
        factor = TIME_UNITS_S[labelled]
        epoch = _is_epoch(values, factor)
        # Most counters are a date in no unit: nothing speaks against their label.
        if unit_certain or epoch or values.max() < EPOCH_S[0]:
            return CounterUnit(factor, epoch, labelled, inferred=False)
    step, span = _step_and_span(values)
    epochs = [
        u
        for u in (*_UNITS, "ns")
        if _is_epoch(values, TIME_UNITS_S[u]) and _fits(step, span, u, wider=True, epoch=True)
    ]
    if labelled in TIME_UNITS_S:
        factor = TIME_UNITS_S[labelled]
        if len(epochs) != 1 or _fits(step, span, labelled, wider=False):
            return CounterUnit(factor, epoch=False, unit=labelled, inferred=False)
        return CounterUnit(TIME_UNITS_S[epochs[0]], epoch=True, unit=epochs[0], inferred=True, against=labelled)
    if len(epochs) == 1:
        return CounterUnit(TIME_UNITS_S[epochs[0]], epoch=True, unit=epochs[0], inferred=True)
    for wider in (False, True):
        fitting = [u for u in _UNITS if _fits(step, span, u, wider=wider)]
        if len(fitting) == 1:
            return CounterUnit(TIME_UNITS_S[fitting[0]], epoch=False, unit=fitting[0], inferred=True)
        if len(fitting) > 1:
            break
    # Whatever the ride looks like in it: a unit is offered only where its rows still make one.
    options = fitting or [u for u in (*_UNITS, "ns") if step * TIME_UNITS_S[u] < _LONGEST_STEP_S]
    if not options:
        raise InputRefused(
            f"it steps by {step:g}, which is too far for the rows of one ride in any unit",
            where=f"{where}, column {name}" if where else f"column {name}",
            expected="a counter in seconds or parts of them",
            to_do="if another column holds the time, name it: --column 'NAME=time:s'",
        )
    raise AmbiguousColumn(
        f"{name!r} has no unit, steps by {step:g} over {span:g}, and "
        + (
            " and ".join(options) + " both fit"
            if fitting
            else "fits a ride in none of seconds, milliseconds, microseconds"
        ),
        where=where,
        options=tuple(f"{name}=time:{u}" for u in options),
        expected="a time column with a unit",
    )


def _step_and_span(values: FloatArray) -> tuple[float, float]:
    # Steps backward are resets and wraps; pauses are few: the median step is neither.
    steps = np.diff(values)
    steps = steps[steps > 0]
    step = float(np.median(steps)) if steps.size else 0.0
    return step, float(np.sum(np.minimum(steps, 1000.0 * step))) if steps.size else 0.0


_DAY_S = 86_400.0
_SERIAL_DAYS = (36_526.0, 73_050.0)
"""1 January 2000 to 1 January 2100 as a spreadsheet counts days."""


def _refuse_parts_of_a_day(values: FloatArray, labelled: str, name: str, where: str) -> None:
    """Spreadsheets keep a clock time as a part of a day and a date as a count of days: numbers that rise far too slowly
    for any unit a logger counts in."""
    low, high = float(values.min()), float(values.max())
    clock, dated = low >= 0.0 and high < 2.0, _SERIAL_DAYS[0] <= low and high < _SERIAL_DAYS[1]
    if not (clock or dated) or high == low:
        return
    step, span = _step_and_span(values)
    units = (labelled,) if labelled in TIME_UNITS_S else _UNITS
    if any(_fits(step, span, unit, wider=True) for unit in units):
        return
    if not (1.0 <= span * _DAY_S <= _WIDER_RIDE_S[1] and 1.0 / _WIDER_RATE_HZ[1] <= step * _DAY_S <= 20.0):
        return
    what = "days and parts of a day" if dated else "parts of a day"
    raise InputRefused(
        f"its numbers ({low:.10g} to {high:.10g}) are {what}, as a spreadsheet keeps times",
        where=f"{where}, column {name}" if where else f"column {name}",
        expected="times as the device wrote them",
        to_do="use the log as the device wrote it: saved again from a spreadsheet its times are rounded",
    )


def _is_epoch(values: FloatArray, factor: float) -> bool:
    low, high = float(values.min()) * factor, float(values.max()) * factor
    return EPOCH_S[0] <= low and high <= EPOCH_S[1]


def _fits(step: float, span: float, unit: str, *, wider: bool, epoch: bool = False) -> bool:
    factor = TIME_UNITS_S[unit]
    if step * factor <= 0.0:  # also where a tiny step leaves the range of the arithmetic
        return False
    rate, ride = (_WIDER_RATE_HZ, _WIDER_RIDE_S) if wider else (_RATE_HZ, _RIDE_S)
    slow, fast = rate
    if epoch:
        return step * factor <= 1.0 / slow and span * factor <= ride[1] * 7
    return slow <= 1.0 / (step * factor) <= fast * 1.001 and ride[0] <= span * factor <= ride[1]
