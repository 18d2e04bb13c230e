"""Many rides at once for the pages: the review, and rides beside rides."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Protocol

from dashboard import config, texts
from dashboard.provider_rides import RideLibrary
from dashboard.views import CompareQuestion, CompareView, ReviewView
from ridelog.errors import RidelogError, UsageError

if TYPE_CHECKING:
    from ridelog.after_work import AfterWork
    from ridelog.analysis.matched_records import Comparison
    from ridelog.results import Traces


class ManyDoor(Protocol):
    """What pages and callbacks know of many rides."""

    def review_of(self, bike: str | None, since: str | None) -> ReviewView:
        """Over many rides. Raises NotInLibrary for an unknown bike, UsageError for what is no day."""

    def after_work(self, bike: str | None) -> tuple[AfterWork, ...]:
        """Work on the bikes, or on one, with the rides before and after. Raises NotInLibrary, LibraryError."""

    def compare_of(self, asked: CompareQuestion) -> CompareView:
        """Rides beside rides. What can't be compared is said in the view."""


class ManyLibrary(RideLibrary):
    """The same over a library folder."""

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

    def after_work(self, bike: str | None) -> tuple[AfterWork, ...]:
        """Work on the bikes, or on one, with the rides before and after. Raises NotInLibrary, LibraryError."""
        from ridelog.after_work import after_work

        return after_work(self._library, bike)

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


def _day(text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f"{text[:40]!r} is not a day", where="the address", expected="a day such as 2026-05-01"
        ) from error
