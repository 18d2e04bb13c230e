"""What the user said of columns, and what was decided of all of them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from ridelog.ride import Meaning, Note, RawColumn
from ridelog.units import fold
from ridelog.words.terms import printable


@dataclass(frozen=True)
class ColumnChoice:
    """What the user said of a column: `names` are the ways its header may be written, `channel` a canonical channel,
    "time", "date" or "raw", `unit` a unit text or None."""

    names: tuple[str, ...]
    channel: str
    unit: str | None = None

    def fits(self, column: RawColumn) -> bool:
        """Is this column meant? A name that holds control characters is also known as messages show it."""
        keys = {fold(name) for name in self.names} | {fold(printable(name)) for name in self.names}
        return fold(column.name) in keys or fold(printable(column.name)) in keys

    def option(self) -> str:
        """The choice as `--column` takes it."""
        return f"{self.names[0]}={self.channel}" + (f":{self.unit}" if self.unit else "")


@dataclass(frozen=True)
class Settled:
    """A choice that holds for tables with one header only. `header` is its fingerprint, `day` when a choice of an
    earlier import was confirmed (ISO 8601), None for one of this import."""

    header: str
    choice: ColumnChoice
    day: str | None = None


@dataclass
class Plan:
    """The meaning of every column, and notes on how it was found. `time` lists the time columns, best first;
    `chosen` are the columns of which the user spoke, `remembered` those of which an earlier import knows; `languages`
    counts the languages that the names of the columns belong to."""

    meanings: list[Meaning]
    time: list[int]
    date: int | None
    chosen: frozenset[int]
    remembered: frozenset[int] = frozenset()
    notes: list[Note] = field(default_factory=list)
    languages: Counter[str] = field(default_factory=Counter)
