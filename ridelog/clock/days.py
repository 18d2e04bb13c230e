"""A date column that stands still while the clock beside it runs over midnight."""

from __future__ import annotations

import numpy as np
import polars as pl

from ridelog.ride import Note
from ridelog.words import clocks

_DAY_US = 86_400_000_000
_ABOUT_US = 60_000_000
"""So near to a whole day back, a step is the clock's turn at midnight and no other recording."""


def count_on(us: pl.Series) -> tuple[pl.Series, list[Note]]:
    """Moments (microseconds, null where unreadable) with the day counted on where the date stood still at midnight, up
    to where the date catches up."""
    filled = us.fill_null(strategy="forward").to_numpy() if us.null_count() else us.to_numpy()
    steps = np.diff(filled.astype(np.float64))
    if not (steps < -_DAY_US / 2).any():
        return us, []
    forward = steps[steps > 0]
    about = max(_ABOUT_US, 10.0 * float(np.median(forward))) if forward.size else _ABOUT_US
    turns = (steps >= -_DAY_US) & (steps <= -_DAY_US + about)
    caught_up = (steps >= _DAY_US) & (steps <= _DAY_US + about)
    if not turns.any():
        return us, []
    days = np.zeros(filled.size, dtype=np.int64)
    behind = 0
    for at in np.flatnonzero(turns | caught_up).tolist():
        behind = behind + 1 if turns[at] else max(0, behind - 1)
        days[at + 1 :] = behind
    note = Note(
        "midnight",
        clocks.MIDNIGHT_DATED,
        rows=int(turns.sum()),
    )
    return us + pl.Series(days * _DAY_US), [note]
