"""What the pages ask of a library, and the one place that touches it."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from dashboard import config, texts
from dashboard.casebook import CaseDoor, CaseLibrary
from ridelog.advice import Advice
from ridelog.bike import Bike
from ridelog.errors import NotInLibrary, RidelogError, UsageError
from ridelog.figures.series import RideLines
from ridelog.results import Analysis, Traces
from ridelog.ride import Ride

if TYPE_CHECKING:
    from ridelog.analysis.matched_records import Comparison
    from ridelog.analysis.passes_records import SameGround
    from ridelog.diagnose import Diagnosis
    from ridelog.effect import Effect
    from ridelog.flips import Flips
    from ridelog.review import Review
    from ridelog.store.library import Library
    from ridelog.store.profiles import Kind, Version
    from ridelog.strips import Strip
    from ridelog.study import Known, Study


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


class Provider(CaseDoor, Protocol):
    """What pages and callbacks know of the data."""

    def rides(self, limit: int | None = 200) -> list[RideItem]:
        """Rides, latest first."""

    def holds(self, ride_id: str) -> bool:
        """True where the library has this ride; costs no analysis."""

    def view_of(self, ride_id: str) -> RideView:
        """One analyzed ride. Raises NotInLibrary for an id the library does not hold."""

    def review_of(self, bike: str | None, since: str | None) -> ReviewView:
        """Over many rides. Raises NotInLibrary for an unknown bike, UsageError for what is no day."""

    def compare_of(self, asked: CompareQuestion) -> CompareView:
        """Rides beside rides. What can't be compared is said in the view."""

    def profiles(self, kind: Kind) -> list[ProfileItem]:
        """The bikes, or the sheets, of the library."""

    def profile_text(self, kind: Kind, name: str) -> str:
        """The file of a bike or a sheet. Raises NotInLibrary."""

    def profile_history(self, kind: Kind, name: str) -> list[Version]:
        """Every text it had, the one in use first."""

    def check_profile(self, kind: Kind, text: str) -> str:
        """The name a text gives itself. Raises ProfileError for one that can't be."""

    def flips(self, kind: Kind, text: str) -> Flips:
        """What would be told otherwise, were the text saved. Raises ProfileError."""

    def save_profile(self, kind: Kind, text: str) -> str:
        """Put a text in use; its name. Raises ProfileError."""


class LibraryProvider(CaseLibrary):
    """Rides of a library folder, analyzed when first asked for and kept while they are looked at.

    A kept analysis is used as long as everything it rests on is the same: the ride's catalogue entry (with what the
    user said of it), the bike file's text and the advice sheets. May be shared by threads: two that ask for the same
    ride at once wait for one analysis.
    """

    def __init__(self, root: Path | None) -> None:
        from ridelog.store.library import Library

        self._library: Library = Library.open(root)
        self.root = self._library.root
        self._kept: OrderedDict[Hashable, RideView] = OrderedDict()
        self._door = threading.Lock()
        self._busy: dict[Hashable, threading.Lock] = {}

    def rides(self, limit: int | None = 200) -> list[RideItem]:
        """Rides, latest first."""
        return [
            RideItem(
                id=row.id,
                bike=row.bike,
                start_utc=row.start_utc,
                start_local=row.start_local,
                timezone=row.timezone,
                duration_s=row.duration_s,
                distance_m=row.distance_m,
                peak_c=row.peak_c,
                condition=row.condition,
                channels=row.channels,
                files=tuple(file.name for file in row.files),
            )
            for row in self._library.list_rides(limit=limit)
        ]

    def holds(self, ride_id: str) -> bool:
        """True where the library has this ride. Raises LibraryError."""
        try:
            self._library.row(ride_id)
        except NotInLibrary:
            return False
        return True

    def view_of(self, ride_id: str) -> RideView:
        """One analyzed ride. Raises NotInLibrary, LibraryError."""
        from ridelog.study import known_of

        row = self._library.row(ride_id)
        with self._door:
            busy = self._busy.setdefault(ride_id, threading.Lock())
        with busy:
            known = known_of(self._library, row)
            key: Hashable = (row, known.hash)
            view = self._kept_view(key)
            if view is None:
                view = self._analyze(ride_id, known)
                self._keep(key, view)
        with self._door:
            self._busy.pop(ride_id, None)
        return view

    def _analyze(self, ride_id: str, known: Known) -> RideView:
        from ridelog.study import study

        return RideView(study(self._library.load(ride_id), known))

    def _kept_view(self, key: Hashable) -> RideView | None:
        with self._door:
            view = self._kept.get(key)
            if view is not None:
                self._kept.move_to_end(key)
            return view

    def _keep(self, key: Hashable, view: RideView) -> None:
        with self._door:
            self._kept[key] = view
            while len(self._kept) > config.CACHED_RIDES:
                self._kept.popitem(last=False)

    # -- bikes and sheets ---------------------------------------------------------------------------------------------

    def profiles(self, kind: Kind) -> list[ProfileItem]:
        """The bikes, or the sheets, of the library."""
        if kind == "bike":
            return [ProfileItem(bike.id, texts.bike_told(bike)) for bike in self._library.bikes()]
        return [ProfileItem(sheet.version, texts.sheet_told(sheet)) for sheet in self._library.advice_sheets()]

    def profile_text(self, kind: Kind, name: str) -> str:
        """The file of a bike or a sheet. Raises NotInLibrary."""
        return self._library.bike_text(name) if kind == "bike" else self._library.advice_text(name)

    def profile_history(self, kind: Kind, name: str) -> list[Version]:
        """Every text it had, the one in use first."""
        return self._library.profile_history(kind, name)

    def check_profile(self, kind: Kind, text: str) -> str:
        """The name a text gives itself. Raises ProfileError for one that can't be."""
        parsed = _parsed(kind, text)
        return parsed.id if isinstance(parsed, Bike) else parsed.version

    def flips(self, kind: Kind, text: str) -> Flips:
        """What would be told otherwise, were the text saved. Raises ProfileError."""
        from ridelog import flips

        parsed = _parsed(kind, text)
        if isinstance(parsed, Bike):
            return flips.with_bike(self._library, parsed)
        return flips.with_sheet(self._library, parsed)

    def save_profile(self, kind: Kind, text: str) -> str:
        """Put a text in use; its name. Raises ProfileError."""
        if kind == "bike":
            return self._library.put_bike(text, texts.THE_TEXT).id
        return self._library.put_advice(text, texts.THE_TEXT).version

    # -- many rides ---------------------------------------------------------------------------------------------------

    def review_of(self, bike: str | None, since: str | None) -> ReviewView:
        """Over many rides. Raises NotInLibrary for an unknown bike, UsageError for what is no day."""
        from ridelog.cases import tool_record
        from ridelog.effect import effect_of
        from ridelog.review import review
        from ridelog.strips import strips

        day = _day(since)
        bikes = self._library.bikes()
        named = [self._library.bike(bike)] if bike is not None else bikes
        found = review(self._library, bike=bike, since=day)
        listed = {one.ride for one in found.rides}
        rows = [row for row in self._library.list_rides() if row.id in listed]
        drawn, failed = strips(self._library, rows[: config.STRIPS])
        everything = review(self._library) if (bike, since) != (None, None) else found
        sheets = ", ".join(f"{one.version} from {one.valid_from} on" for one in self._library.advice_sheets())
        return ReviewView(
            review=found,
            bike=bike,
            since=since,
            bikes=tuple(one.id for one in bikes),
            months=tuple(group.key for group in everything.by_month if group.key[:1].isdigit()),
            strips=tuple(drawn),
            strips_left=max(0, len(rows) - config.STRIPS),
            failed=tuple(failed),
            effects=tuple(effect_of(self._library, one) for one in named),
            record=tool_record(self._library, bike, since=day),
            sheet_note=texts.sheet_starts(sheets) if sheets else "",
        )

    def compare_of(self, asked: CompareQuestion) -> CompareView:
        """Rides beside rides. What can't be compared is said in the view."""
        from ridelog.places import same_ground

        comparison, ground, said = None, None, ""
        traces: dict[str, Traces] = {}
        rides = asked.rides[: config.COMPARED_RIDES]
        try:
            if asked.service is not None or asked.build or len(rides) > 1:
                comparison = self._compared(asked, rides)
        except RidelogError as error:
            said = error.one_line()
        try:
            views = [self.view_of(ride) for ride in rides]
            traces = {view.ride.id: view.traces for view in views}
            ground = same_ground([view.study for view in views]) if views and not asked.build else None
        except RidelogError as error:
            said = said or error.one_line()
        services = [
            (bike.id, service.day.isoformat(), service.what)
            for bike in self._library.bikes()
            for service in bike.services
        ]
        return CompareView(tuple(self.rides()), tuple(services), rides, comparison, ground, traces, said)

    def _compared(self, asked: CompareQuestion, rides: tuple[str, ...]) -> Comparison:
        from ridelog import compare_rides
        from ridelog.compare import Asked, compare, compare_with_build

        if asked.service is not None:
            day = _day(asked.service)
            chosen = compare_rides.around_service(self._library, self._library.bike(asked.bike or ""), day or date.min)
            sides = Asked("service", chosen.first_name, chosen.others_name, chosen.service, chosen.left_out)
            return compare(chosen.first, chosen.others, sides)
        if asked.build:
            build = compare_rides.among_build(self._library, rides)
            return compare_with_build(build.bike, build.first, build.others)
        chosen = compare_rides.named(self._library, rides)
        return compare(chosen.first, chosen.others, Asked("rides", chosen.first_name, chosen.others_name))


def _parsed(kind: Kind, text: str) -> Bike | Advice:
    from ridelog.advice import parse_advice
    from ridelog.bike import parse_bike

    return parse_bike(text, texts.THE_TEXT) if kind == "bike" else parse_advice(text, texts.THE_TEXT)


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f"{text[:40]!r} is not a day", where="the address", expected="a day such as 2026-05-01"
        ) from error
