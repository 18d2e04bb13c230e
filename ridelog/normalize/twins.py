"""The same quantity written twice in two units."""

from __future__ import annotations

import numpy as np
import polars as pl

from ridelog.results import FloatArray
from ridelog.units import Unit

_SHARE_ALIKE = 0.99
_MOST_DECIMALS = 6


def alike(one: pl.Series, one_unit: Unit | None, other: pl.Series, other_unit: Unit | None) -> bool:
    """Are two columns the same values but for their units? Compared in the canonical unit, to half a written step of
    each. A column without a unit is never called the same."""
    if one_unit is None or other_unit is None or one.dtype != pl.Float64 or other.dtype != pl.Float64:
        return False
    both = one.is_not_null() & other.is_not_null()
    if not both.any() or float(both.mean() or 0.0) < _SHARE_ALIKE * float(  # type: ignore[arg-type]
        (one.is_not_null() | other.is_not_null()).mean() or 0.0  # type: ignore[arg-type]
    ):
        return False
    a, b = one.filter(both).to_numpy(), other.filter(both).to_numpy()
    steps = _step(a) * one_unit.factor + _step(b) * other_unit.factor
    apart = np.abs(a * one_unit.factor + one_unit.offset - b * other_unit.factor - other_unit.offset)
    return bool(np.mean(apart <= 0.5001 * steps + 1e-9) >= _SHARE_ALIKE)


def _step(values: FloatArray) -> float:
    """The last decimal place written, as a step in the column's own unit."""
    some = values[:: max(1, values.size // 20_000)]
    for decimals in range(_MOST_DECIMALS):
        if bool((np.abs(some - np.round(some, decimals)) < 1e-9 * np.maximum(1.0, np.abs(some))).all()):
            return float(10.0**-decimals)
    return float(10.0**-_MOST_DECIMALS)
