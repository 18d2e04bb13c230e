"""What the pages are made from: records that the provider fills."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ridelog.advice import Advice
from ridelog.bike import Bike
from ridelog.figures.series import RideLines
from ridelog.results import Analysis, FloatArray, Traces
from ridelog.ride import Ride

if TYPE_CHECKING:
    from ridelog.analysis.matched_records import Comparison
    from ridelog.analysis.passes_records import SameGround
    from ridelog.analyze_heat_use import WhatIfAlong
    from ridelog.diagnose import Diagnosis
    from ridelog.effect import Effect
    from ridelog.places_hot import HotPlaces
    from ridelog.review import Review
    from ridelog.strips import Strip
    from ridelog.study import Study


@dataclass(frozen=True)
class RideItem:
    """One line of the list of rides. `channels` are canonical names, `files` base names; `start_local` stands where
    the log names a time but no zone."""

    id: str
    bike: str | None
    start_utc: datetime | None
    start_local: datetime | None
    timezone: str | None
    duration_s: float
    distance_m: float | None
    peak_c: float | None
    condition: str
    channels: tuple[str, ...]
    files: tuple[str, ...]


@dataclass(frozen=True)
class RideList:
    """One page of the list of rides, latest first: all, or those of `bike`. `number` counts pages from 1; `older` says
    whether another follows; `bikes` are those that have rides."""

    items: tuple[RideItem, ...]
    bike: str | None = None
    number: int = 1
    older: bool = False
    bikes: tuple[str, ...] = ()


@dataclass(frozen=True)
class RideView:
    """Everything the page of one ride shows."""

    study: Study

    @property
    def ride(self) -> Ride:
        """The ride with its samples."""
        return self.study.ride

    @property
    def bike(self) -> Bike | None:
        """The bike it was analyzed with."""
        return self.study.known.bike

    @property
    def advice(self) -> Advice:
        """The sheet in force on its day."""
        return self.study.known.advice

    @property
    def analysis(self) -> Analysis:
        """What was found."""
        return self.study.found.analysis

    @property
    def traces(self) -> Traces:
        """The grid behind it."""
        return self.study.found.traces

    @cached_property
    def lines(self) -> RideLines:
        """The samples of the figures; read out of the table once, kept with the view."""
        return RideLines(self.ride, self.traces)

    @cached_property
    def diagnosis(self) -> Diagnosis:
        """What may be behind it; worked out once, kept with the view."""
        from ridelog.diagnose import diagnose

        return diagnose(self.study)

    @cached_property
    def what_if(self) -> WhatIfAlong | None:
        """The same ride on the conservative map where advised; worked out when first asked for, kept with the view."""
        from ridelog.analyze_heat_use import what_if_along

        grace_s = {rule.kind: rule.grace_s for rule in self.advice.rules}
        effect = self.study.known.effect
        ratio = effect.heat_ratio if effect is not None else None
        return what_if_along(self.analysis.segments, grace_s, self.study.found.balance, ratio)


@dataclass(frozen=True)
class ProfileItem:
    """A bike or a sheet in the list: `told` says in a few words what it is."""

    name: str
    told: str


@dataclass(frozen=True)
class ReviewView:
    """Everything the page of the review shows. `bikes` and `months` are those there is something to see of; `strips`
    are of the latest rides, `strips_left` counts the others."""

    review: Review
    bike: str | None
    since: str | None
    bikes: tuple[str, ...]
    months: tuple[str, ...]
    strips: tuple[Strip, ...]
    strips_left: int
    failed: tuple[tuple[str, str], ...]
    effects: tuple[Effect, ...]
    record: dict[str, Any]
    sheet_note: str


@dataclass(frozen=True)
class CompareQuestion:
    """What the address asks to compare: rides, or the rides before and after work on a bike, or a ride's bike among its
    build."""

    rides: tuple[str, ...] = ()
    bike: str | None = None
    service: str | None = None
    build: bool = False


@dataclass(frozen=True)
class CompareView:
    """What the page of a comparison shows. `said` is why nothing is compared, '' where nothing was asked; `services`
    are bike, day and what was done; `traces` by ride."""

    items: tuple[RideItem, ...]
    services: tuple[tuple[str, str, str], ...]
    rides: tuple[str, ...]
    comparison: Comparison | None
    ground: SameGround | None
    traces: dict[str, Traces]
    said: str


@dataclass(frozen=True)
class PlacesView:
    """What the page of the hottest places shows. `found` is None while rides are being looked at, `doing` then says how
    far that is; `ground_deg` is the ground ridden, degrees, (n, 2); `when` tells start, zone and local start of the
    rides named."""

    bike: str | None
    bikes: tuple[str, ...]
    found: HotPlaces | None
    ground_deg: FloatArray | None
    doing: str
    when: dict[str, tuple[datetime | None, str | None, datetime | None]]
