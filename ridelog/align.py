"""Several devices, one ride: tables that share a clock, joined by time.

Rows of all devices are kept as they are; those of one moment share a row. Nothing is resampled or filled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
import polars as pl

from ridelog.channels import TIME
from ridelog.errors import InputRefused
from ridelog.intervals import Interval, difference, union
from ridelog.results import FloatArray


@dataclass(frozen=True)
class Part:
    """One device's recording: samples with `t_s` from 0, where 0 is `start` on the clock that all parts share.
    `derived` names channels that were not logged. `name` is the file's."""

    name: str
    samples: pl.DataFrame
    start: datetime
    gaps: tuple[Interval, ...]
    breaks: tuple[Interval, ...] = ()
    derived: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Joined:
    """The joint times, each channel's values on them, and for each the part (index) and name it came from."""

    t_s: FloatArray
    start: datetime
    columns: dict[str, pl.Series]
    origin: dict[str, tuple[int, str]]
    gaps: tuple[Interval, ...]
    breaks: tuple[Interval, ...]
    renamed: tuple[tuple[str, str], ...]


def join(parts: Sequence[Part]) -> Joined:
    """All parts on one clock. Raises InputRefused where a part shares no moment with the others."""
    starts = [part.start for part in parts]
    first = min(starts)
    offsets = [(start - first) / timedelta(microseconds=1) for start in starts]
    # Whole microseconds, so that the same moment on two devices is the same number.
    keys = [
        np.round(p.samples[TIME].to_numpy() * 1e6 + o).astype(np.int64) for p, o in zip(parts, offsets, strict=True)
    ]
    _check_near(parts, keys)
    times = np.unique(np.concatenate(keys))
    columns: dict[str, pl.Series] = {}
    origin: dict[str, tuple[int, str]] = {}
    renamed: list[tuple[str, str]] = []
    logged = {name for part in parts for name in part.samples.columns if name not in part.derived}
    for number, (part, key) in enumerate(zip(parts, keys, strict=True)):
        place = np.full(times.size, -1, dtype=np.int64)
        place[np.searchsorted(times, key)] = np.arange(key.size)
        index = pl.Series(place)
        index = index.set(index < 0, None)
        for name in part.samples.columns:
            if name in (TIME, "time_utc") or (name in part.derived and name in logged):
                continue
            final = _free(name, columns)
            if final != name:
                renamed.append((f"{part.name}, {name}", final))
            columns[final] = part.samples[name].gather(index)
            origin[final] = (number, name)
    covered = [
        difference([Interval(float(key[0]) / 1e6, float(key[-1]) / 1e6)], [_moved(g, o) for g in part.gaps])
        for part, key, o in zip(parts, keys, offsets, strict=True)
    ]
    t_s = (times - times[0]) / 1e6
    gaps = difference([Interval(0.0, float(t_s[-1]))], union(*covered))
    breaks = tuple(_moved(b, o) for part, o in zip(parts, offsets, strict=True) for b in part.breaks)
    return Joined(t_s, first, columns, origin, tuple(gaps), breaks, tuple(renamed))


def _moved(interval: Interval, offset_us: float) -> Interval:
    return Interval(interval.start_s + offset_us / 1e6, interval.end_s + offset_us / 1e6)


def _free(name: str, taken: dict[str, pl.Series]) -> str:
    """The name itself, or its next free number: `coolant_c`, `coolant_c.2` ..."""
    if name not in taken:
        return name
    base, _, tail = name.rpartition(".")
    stem = base if tail.isdecimal() and base else name
    number = 2
    while f"{stem}.{number}" in taken:
        number += 1
    return f"{stem}.{number}"


def _check_near(parts: Sequence[Part], keys: Sequence[npt.NDArray[np.int64]]) -> None:
    """Recordings of one ride share some of their time; two that don't are most often two time zones."""
    spans = sorted((int(key[0]), int(key[-1]), part.name) for part, key in zip(parts, keys, strict=True))
    end, name = spans[0][1], spans[0][2]
    for start, stop, other in spans[1:]:
        if start > end:
            raise InputRefused(
                f"begins {_apart((start - end) / 1e6)} after {name} ended, so the two share no moment",
                where=other,
                expected="recordings of one ride, at the same time",
                to_do="check --timezone if one of them writes local time, and --offset if it was given; else import "
                "them one by one",
            )
        if stop > end:
            end, name = stop, other


def _apart(seconds: float) -> str:
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60.0)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"
