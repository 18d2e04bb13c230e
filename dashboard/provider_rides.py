"""Single rides for the pages: the list, and rides analyzed when first asked for."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from typing import TYPE_CHECKING, Protocol

from dashboard import config
from dashboard.views import RideItem, RideList, RideView
from ridelog.errors import NotInLibrary

if TYPE_CHECKING:
    from ridelog.store.library import Library
    from ridelog.study import Known


_MOST_PAGES = 10_000
"""A page number out of an address may be anything."""


class RideDoor(Protocol):
    """What pages and callbacks know of single rides."""

    def rides(self, limit: int | None = 200) -> list[RideItem]:
        """Rides, latest first."""

    def ride_list(self, bike: str | None = None, number: int = 1) -> RideList:
        """A page of the list, of one bike where named; the page nearest to the one asked for."""

    def holds(self, ride_id: str) -> bool:
        """True where the library has this ride; costs no analysis."""

    def view_of(self, ride_id: str) -> RideView:
        """One analyzed ride. Raises NotInLibrary for an id the library does not hold."""


class RideLibrary:
    """The same over a library folder.

    A kept analysis is used as long as everything it rests on is the same: the ride's catalogue entry (with what the
    user said of it), the bike file's text and the advice sheets. May be shared by threads: two that ask for the same
    ride at once wait for one analysis.
    """

    _library: Library

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, RideView] = OrderedDict()
        self._door = threading.Lock()
        self._busy: dict[Hashable, threading.Lock] = {}
        self._looked: dict[str, tuple[object, Hashable]] = {}
        """By ride: the library's mark when what a ride rests on was last looked up, and under what its view is kept."""

    def rides(self, limit: int | None = 200) -> list[RideItem]:
        """Rides, latest first."""
        return self._items(None, limit)

    def ride_list(self, bike: str | None = None, number: int = 1) -> RideList:
        """A page of the list. Raises NotInLibrary for a bike without a ride that the library does not know either."""
        bikes = self._library.bikes_with_rides()
        if bike is not None and bike not in bikes:
            self._library.bike(bike)
        number = max(1, min(number, _MOST_PAGES))
        items = self._items(bike, number * config.LATEST + 1)
        number = max(1, min(number, -(-len(items) // config.LATEST)))
        first = (number - 1) * config.LATEST
        shown = tuple(items[first : first + config.LATEST])
        return RideList(shown, bike, number, len(items) > first + config.LATEST, bikes)

    def _items(self, bike: str | None, limit: int | None) -> list[RideItem]:
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
            for row in self._library.list_rides(bike=bike, limit=limit)
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

        mark = self._library.mark()
        same = self._unchanged(ride_id, mark)
        if same is not None:
            return same
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
            self._looked[ride_id] = (mark, key)
            while len(self._looked) > config.CACHED_RIDES:
                self._looked.pop(next(iter(self._looked)))
        return view

    def _unchanged(self, ride_id: str, mark: object | None) -> RideView | None:
        """The view last given, where nothing at all was written into the library since: each drag over the picture asks
        several times, and to look up all that a ride rests on takes longer than to draw it."""
        before = self._looked.get(ride_id)
        if mark is None or before is None or before[0] != mark:
            return None
        return self._kept_view(before[1])

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
