"""Frozen records of a comparison: what two sides of rides, or a bike and its build, have in common and in difference.

Differences are the first side less the others. Temperatures in C, differences of temperature in K, speeds in m/s, times
in s. A figure that can't be told is None, and `cannot_tell` says why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from ridelog.analysis.matched import Rate
from ridelog.analysis.matched_use import Cruise, GearUse
from ridelog.results import Band, CannotTell

Answer = Literal["hotter", "cooler", "same", "cant_tell"]
"""Three-way, with "same" for a difference that is nothing within its band, where that rules out one that matters."""

More = Literal["more", "less", "cant_tell"]

Mode = Literal["rides", "service", "build"]


@dataclass(frozen=True)
class SideRide:
    """One ride of a side. `reason`: why no heat balance could be made of it; `ambient_source`: how its air temperature
    is known; `settle_c`: where it alone would settle on the reference stretch."""

    id: str
    bike: str | None
    start_utc: str | None
    duration_s: float
    ambient_c: float | None
    ambient_source: str | None
    fitted: bool
    reason: str | None
    map_known: bool
    conservative_share: float | None
    settle_c: float | None = None


@dataclass(frozen=True)
class Cells:
    """Seconds by engine speed and throttle on each side: (engine speeds, openings). `share`: of each side's time in
    cells that both have ridden for ten seconds."""

    rpm_edges: tuple[float | None, ...]
    opening_edges: tuple[float | None, ...]
    first_s: tuple[tuple[float, ...], ...]
    others_s: tuple[tuple[float, ...], ...]
    share: tuple[float, float] | None


@dataclass(frozen=True)
class RateRow:
    """A rate of heating between two loads (share of peak power) or of cooling between two speeds (m/s); `high` None for
    no end."""

    low: float
    high: float | None
    rate: Rate
    answer: Answer


@dataclass(frozen=True)
class Figure:
    """A figure of the balance on each side, the first over the others (None where the others' may be nothing), and the
    first less the others; `unit` of the sides' values."""

    name: str
    unit: str
    first: Band
    others: Band
    ratio: Band | None
    difference: Band
    answer: More


@dataclass(frozen=True)
class Settle:
    """Where the coolant would settle on one and the same stretch in the same air with either side's parameters."""

    stretch: str
    ambient_c: float
    first: Band
    others: Band
    difference: Band
    answer: Answer


@dataclass(frozen=True)
class CruisePair:
    """Coolant above the air at steady cruise on both sides, and share of each side's time; a side without: None."""

    low_mps: float
    high_mps: float | None
    first: Cruise | None
    others: Cruise | None
    share: tuple[float, float]


@dataclass(frozen=True)
class CoolDown:
    """Events of a side: their number, Kaplan and Meier's median until half of the way down and until back, how many
    ended before (censored), and the highest coolant at the start of one."""

    events: int
    half_s: float | None
    half_seen: int
    back_s: float | None
    back_seen: int
    highest_c: float | None


@dataclass(frozen=True)
class FanUse:
    """The fan of a side. `on_c`: coolant where it cut in, median, lowest, highest; `run_s` likewise of whole runs."""

    source: Literal["logged", "saw-tooth", "none"]
    runs: int
    per_hour: float | None
    on_c: Band | None
    run_s: Band | None
    observed_s: float


@dataclass(frozen=True)
class GearPair:
    """One gear on both sides; `first_over_others`: its ratio on the first side over that on the others."""

    gear: int
    first: GearUse | None
    others: GearUse | None
    first_over_others: float | None


@dataclass(frozen=True)
class Scatter:
    """Rides as their own yardstick: where each ride alone would settle on the reference stretch. `difference`: of the
    sides' means, 95 % by Welch; None under three rides a side, where only the range is told."""

    first: Band
    others: Band
    first_rides: int
    others_rides: int
    difference: Band | None
    apart: bool


@dataclass(frozen=True)
class BuildBike:
    """One bike of the build: rides heard, and where it would settle on the reference stretch."""

    bike: str
    rides: tuple[str, ...]
    settle: Band


@dataclass(frozen=True)
class BuildPlace:
    """This bike among the others of its build. `rank`: 1 for the coolest of all; None under three other bikes."""

    build: str
    bike: str
    settle: Band
    others: tuple[BuildBike, ...]
    rank: int | None
    difference: Band | None
    answer: Answer


@dataclass(frozen=True)
class Comparison:
    """Everything `compare --json` prints; see the fields' own records."""

    mode: Mode
    first_name: str
    others_name: str
    first: tuple[SideRide, ...]
    others: tuple[SideRide, ...]
    verdict: Answer
    reason: str
    summary: tuple[str, ...] = ()
    common_share: tuple[float, float] | None = None
    common_s: tuple[float, float] | None = None
    ambient_difference_k: float | None = None
    ambient_stretch: bool = False
    overall: RateRow | None = None
    settle: tuple[Settle, ...] = ()
    heating: tuple[RateRow, ...] = ()
    cooling: tuple[RateRow, ...] = ()
    figures: tuple[Figure, ...] = ()
    cruise: tuple[CruisePair, ...] = ()
    cool_down: tuple[CoolDown, CoolDown] | None = None
    fan: tuple[FanUse, FanUse] | None = None
    gears: tuple[GearPair, ...] = ()
    gear_reading: str | None = None
    cells: Cells | None = None
    scatter: Scatter | None = None
    build: BuildPlace | None = None
    service: str | None = None
    left_out: tuple[str, ...] = ()
    cannot_tell: tuple[CannotTell, ...] = ()
    cautions: tuple[str, ...] = field(default=())
