"""What a reader hands over (`RawLog`) and what the rest of the project works on (`Ride`)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, tzinfo
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import polars as pl

from ridelog.channels import TIME
from ridelog.errors import plain
from ridelog.intervals import Interval
from ridelog.units import Unit

Condition = Literal["healthy", "faulty", "unknown"]


@dataclass(frozen=True)
class Note:
    """Something the importer found, repaired or left out. `rows` counts rows (or cells); `example` shows one."""

    kind: str
    text: str
    rows: int | None = None
    example: str | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", plain(self.text))
        if self.example is not None:
            object.__setattr__(self, "example", plain(self.example))

    def sentence(self) -> str:
        """The note as one sentence, with its count and example."""
        parts = [self.text.rstrip(".")]
        if self.rows is not None:
            parts.append(f"({self.rows:,} row{'' if self.rows == 1 else 's'})")
        if self.example:
            parts.append(f"for example {self.example}")
        return " ".join(parts)


About = Literal["map_conservative", "map_standard", "stop", "coolant_lost", "service", "other"]
"""What a note on a ride speaks of: switched to that map, stood still, coolant seen outside the system, work done."""


@dataclass(frozen=True)
class RideNote:
    """What somebody wrote of a moment of a ride. `at_s` counts from the ride's first sample."""

    at_s: float
    about: About
    text: str


@dataclass(frozen=True)
class RawColumn:
    """One column as it stands in a log.

    `name` is as written, without its unit; `unit` the unit text found beside it or in a units row, None where the file
    gives none. `values` are Float64 (finite or null) where every cell is a number, else String (null where empty).
    """

    name: str
    unit: str | None
    values: pl.Series


@dataclass(frozen=True)
class RawLog:
    """One table of a log file: columns of equal length in the order of the rows.

    `breaks` are row indices at which a new recording starts although the table goes on (a repeated header, a new track
    segment): no step across one is ever bridged. `first_row` is the file line of the first data row, for messages; 0
    where lines mean nothing; `row_lines` are the lines of all rows where they do not follow each other. `rows_in`
    counts the rows the file holds, so that kept + reported = rows_in can be checked.
    """

    format: str
    columns: tuple[RawColumn, ...]
    rows_in: int
    breaks: tuple[int, ...] = ()
    first_row: int = 0
    notes: tuple[Note, ...] = ()
    row_lines: npt.NDArray[np.int64] | None = None

    @property
    def height(self) -> int:
        """Rows in the table."""
        return len(self.columns[0].values) if self.columns else 0


@dataclass(frozen=True)
class Candidate:
    """One thing a column's name can mean.

    `channel` is a canonical name, or "time" or "date". `language` names the table that said so. `fallback` is true
    for a name that only counts where no other column bears the channel's own (a pedal for the throttle). `number` is
    the sensor's number in the name ("coolant 2"), 1 where there is none.
    """

    channel: str
    language: str
    fallback: bool = False
    number: int = 1


@dataclass(frozen=True)
class Meaning:
    """What a column of a log was found to hold: `channel` is canonical (with `.2` for a second sensor), "time", "date"
    or `raw.<name>`; `unit` converts its values to the channel's unit, None where they stay as they are."""

    column: int
    channel: str
    unit: Unit | None = None
    unit_text: str | None = None


@dataclass(frozen=True)
class Recording:
    """The rows of a table that make one ride, and their times.

    `t_s` rises strictly from 0; `origin_s` is the stamp, in the log's own count, of its first entry. `rows` are indices
    into the table in the order of time, None where they are all rows in order. `run`: how many consecutive entries of
    `rows` share each time (the later value of a column wins), None where all are single. `breaks` are the entries of
    `t_s` with which another recording of the same file begins; `gaps` hold the steps before them and all long steps.
    """

    t_s: npt.NDArray[np.float64]
    origin_s: float
    rows: npt.NDArray[np.int64] | None
    run: npt.NDArray[np.int64] | None
    gaps: tuple[Interval, ...]
    breaks: tuple[int, ...] = ()


@dataclass(frozen=True)
class SourceFile:
    """A file a ride came from. `name` is its base name only."""

    name: str
    sha256: str
    size_bytes: int
    format: str


@dataclass(frozen=True)
class ChannelInfo:
    """What is known of one channel of a ride.

    `rate_hz` is the sensor's own rate (a 1 Hz sensor repeated at 20 Hz has 1), `resolution` its smallest step,
    `coverage` the share of the ride's duration it speaks of, `held` true where values are repeated between updates.
    """

    name: str
    unit: str
    rate_hz: float | None
    resolution: float | None
    coverage: float
    held: bool
    origin: Literal["logged", "derived", "estimated"]
    source: str


@dataclass(frozen=True)
class QualityMark:
    """A stretch in which a channel is not to be trusted. `action` says what the analysis does about it."""

    channel: str
    kind: str
    start_s: float
    end_s: float
    action: Literal["excluded", "kept", "repaired"]
    detail: str


@dataclass(frozen=True)
class Ride:
    """One normalized ride.

    `samples`: `t_s` (Float64, strictly increasing from 0) and one column per channel, null where it has no sample at
    that time; no NaN, no infinity. `gaps`: stretches without any sample. Import facts do not change; `bike`,
    `ambient_c`, `start_utc` and `condition` are what the user said and may be edited.
    """

    id: str
    samples: pl.DataFrame
    channels: Mapping[str, ChannelInfo]
    sources: tuple[SourceFile, ...]
    gaps: tuple[Interval, ...]
    start_utc: datetime | None
    timezone: str | None
    notes: tuple[Note, ...] = ()
    quality: tuple[QualityMark, ...] = ()
    bike: str | None = None
    ambient_c: float | None = None
    condition: Condition = "unknown"
    distance_m: float | None = None
    peak_c: float | None = None
    extra: Mapping[str, str] = field(default_factory=dict)

    @property
    def duration_s(self) -> float:
        """Seconds from the first sample to the last."""
        return float(self.samples[TIME][-1]) if self.samples.height else 0.0

    def excluded(self, channel: str) -> list[Interval]:
        """Stretches in which a channel's values must not be used."""
        return [
            Interval(mark.start_s, mark.end_s)
            for mark in self.quality
            if mark.channel == channel and mark.action == "excluded"
        ]


LOCAL_START = "start_local"
"""Key of `Ride.extra`: date and time of the first sample as the log writes them, ISO 8601, where no zone is known."""


def local_start(ride: Ride) -> datetime | None:
    """Date and time of the first sample without a zone, where the log has them and nobody told their zone."""
    text = ride.extra.get(LOCAL_START)
    return datetime.fromisoformat(text) if text is not None and ride.start_utc is None else None


def ride_day(ride: Ride) -> date | None:
    """The day the ride began on its own clock (UTC where its zone is not known); None for an undated ride."""
    return day_of(ride.start_utc, ride.timezone, local_start(ride))


def day_of(start_utc: datetime | None, timezone: str | None, start_local: datetime | None) -> date | None:
    """The day of a start on its own clock (UTC where its zone is not known); `start_local` serves where there is no
    aware start."""
    if start_utc is not None:
        return start_utc.astimezone(_zone(timezone)).date()
    return start_local.date() if start_local is not None else None


def _zone(name: str | None) -> tzinfo:
    """A zone of a stored ride: `UTC`, `Z`, an offset or an IANA name; UTC for what this machine does not know."""
    if name is None or name.upper() in ("UTC", "GMT"):
        return UTC
    try:
        return datetime.fromisoformat(f"2000-01-01T00:00:00{name}").tzinfo or UTC
    except ValueError:
        pass
    try:
        return ZoneInfo(name)
    except (ValueError, OSError, LookupError):  # ZoneInfoNotFoundError is a LookupError
        return UTC
