"""What is told of ground that was ridden more than once (`places --json`).

Times are seconds from each ride's first sample, ways in m, temperatures in C. A figure that can't be told is None.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from ridelog.analysis.passes_measure import Compared, Measured
from ridelog.results import CannotTell, to_json


@dataclass(frozen=True)
class PassRow:
    """One pass of a ride over a stretch. `at_m`: how far along the ride it began. `from_m`..`to_m`: the part of the
    stretch; `compared_share`: how much of that part lies on ground the others rode. `full`: fit to be compared."""

    ride: str
    number: int
    start_s: float
    end_s: float
    at_m: float
    from_m: float
    to_m: float
    compared_share: float
    full: bool
    measured: Measured


@dataclass(frozen=True)
class ComparedRow:
    """Pass `number` of `ride` held against pass `against_number` of `against_ride`."""

    ride: str
    number: int
    against_ride: str
    against_number: int
    compared: Compared


@dataclass(frozen=True)
class StretchRow:
    """Ground that was ridden more than once. `ride`, `start_s`, `at_m`: where it begins, told by the ride that was
    there first. `against_m`: how much of it was ridden the other way as well, which is not compared. `start_deg`:
    latitude and longitude of its beginning."""

    name: str
    kind: Literal["loop", "stretch"]
    length_m: float
    ride: str
    start_s: float
    at_m: float
    against_m: float
    start_deg: tuple[float, float] | None
    passes: tuple[PassRow, ...]
    compared: tuple[ComparedRow, ...]


@dataclass(frozen=True)
class RideCover:
    """A ride that was looked at: way its positions cover, and way it rode against the direction it had ridden."""

    ride: str
    bike: str | None
    start_utc: str | None
    covered_m: float
    opposed_m: float


@dataclass(frozen=True)
class SameGround:
    """What rides repeat. `cannot_tell`: rides that could not be looked at, and why."""

    rides: tuple[RideCover, ...]
    stretches: tuple[StretchRow, ...]
    cannot_tell: tuple[CannotTell, ...]
    summary: tuple[str, ...]

    def to_json(self, *, positions: bool) -> dict[str, Any]:
        """Plain values; without positions where a ride's begin must not be told."""
        told: dict[str, Any] = to_json(self)
        for stretch in told["stretches"]:
            if not positions:
                del stretch["start_deg"]
        return {"schema": 1, **told}
