"""What the user said of columns, and what was decided of all of them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from ridelog.ride import Meaning, Note, RawColumn
from ridelog.units import fold


@dataclass(frozen=True)
class ColumnChoice:
    """What the user said of a column: `names` are the ways its header may be written, `channel` a canonical channel,
    "time", "date" or "raw", `unit` a unit text or None."""

    names: tuple[str, ...]
    channel: str
    unit: str | None = None

    def fits(self, column: RawColumn) -> bool:
        """Is this column meant?"""
        return fold(column.name) in {fold(name) for name in self.names}


@dataclass
class Plan:
    """The meaning of every column, and notes on how it was found. `time` lists the time columns, best first;
    `languages` counts those that the names of the columns belong to."""

    meanings: list[Meaning]
    time: list[int]
    date: int | None
    chosen: frozenset[int]
    notes: list[Note] = field(default_factory=list)
    languages: Counter[str] = field(default_factory=Counter)
