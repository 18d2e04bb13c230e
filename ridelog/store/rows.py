"""What a listing shows of a ride: light records, free of polars, so that listing starts quickly."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import Final, Literal

Condition = Literal["healthy", "faulty", "unknown"]


class Keep(Enum):
    """The type of `KEEP`."""

    KEEP = "keep"


KEEP: Final = Keep.KEEP
"""Leave a fact as it is; None would clear it."""


@dataclass(frozen=True)
class FileRow:
    """A file behind a ride. `name` is its base name as it was when imported."""

    name: str
    sha256: str
    size_bytes: int
    format: str


@dataclass(frozen=True)
class RideRow:
    """One ride of the catalogue.

    `start_utc` is aware and in UTC, or None where the log holds no date and the user gave none. `distance_m` and
    `peak_c` (highest coolant temperature, C) are None where the log can't tell. `channels` are in the order of the
    ride file.
    """

    id: str
    bike: str | None
    start_utc: datetime | None
    timezone: str | None
    duration_s: float
    distance_m: float | None
    peak_c: float | None
    condition: Condition
    ambient_c: float | None
    channels: tuple[str, ...]
    files: tuple[FileRow, ...]
