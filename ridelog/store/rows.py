"""What a listing shows of a ride: light records, free of polars, so that listing starts quickly."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import Final, Literal

_DATED_ID = re.compile(r"(\d{8}-\d{4})-[0-9a-f]{8}")

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

    @property
    def start_local(self) -> datetime | None:
        """Date and time, to the minute, of a ride whose log has them without a zone: its id begins with them."""
        dated = _DATED_ID.fullmatch(self.id)
        if dated is None or self.start_utc is not None or self.timezone is not None:
            return None
        try:
            return datetime.strptime(dated[1], "%Y%m%d-%H%M")  # noqa: DTZ007 - its zone is not known
        except ValueError:
            return None
