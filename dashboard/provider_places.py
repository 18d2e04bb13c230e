"""The hottest places of all rides for the pages: looked for in a thread, since rides that nobody has asked for yet have
to be analyzed first; what is kept of them makes the next look quick."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol

from dashboard import texts
from dashboard.views import PlacesView

if TYPE_CHECKING:
    from ridelog.places_hot import HotPlaces
    from ridelog.results import FloatArray
    from ridelog.store.library import Library

PATIENCE_S = 1.5
"""So long a page waits for the places before it says how far they are."""

FRESH_S = 10.0
"""An answer that nobody has fetched for so long is looked for anew: rides may have been added."""


@dataclass
class _Look:
    """One look for places: what it is doing, then what it found or why it failed."""

    doing: str
    done: threading.Event = field(default_factory=threading.Event)
    ended_s: float = 0.0
    found: tuple[HotPlaces, FloatArray] | None = None
    failed: Exception | None = None


class PlacesDoor(Protocol):
    """What pages and callbacks know of hot places."""

    def places_of(self, bike: str | None) -> PlacesView:
        """The hottest places of a bike's rides, or of all; what is being done where they are not known yet. Raises
        NotInLibrary for an unknown bike, LibraryError."""


class PlacesLibrary:
    """The same over a library folder."""

    _library: Library

    def __init__(self) -> None:
        super().__init__()
        self._looks: dict[str | None, _Look] = {}
        self._looks_door = threading.Lock()
        self._one_look = threading.Lock()

    def places_of(self, bike: str | None) -> PlacesView:
        """The hottest places of a bike's rides, or of all; what is being done where they are not known yet. Raises
        NotInLibrary for an unknown bike, LibraryError."""
        if bike is not None:
            bike = self._library.bike(bike).id
        look = self._look(bike)
        look.done.wait(PATIENCE_S)
        bikes = tuple(one.id for one in self._library.bikes())
        if not look.done.is_set():
            return PlacesView(bike, bikes, None, None, look.doing, {})
        with self._looks_door:
            if self._looks.get(bike) is look:
                del self._looks[bike]
        if look.failed is not None or look.found is None:
            raise look.failed or RuntimeError("a look for places ended without an answer")
        found, ground = look.found
        listed = {one.ride for place in found.places for one in place.listed}
        listed |= {one.question for one in found.cannot_tell}  # rides left out are named by their day too
        when = {row.id: (row.start_utc, row.timezone, row.start_local) for row in self._library.list_rides()}
        return PlacesView(bike, bikes, found, ground, "", {ride: when[ride] for ride in listed if ride in when})

    def _look(self, bike: str | None) -> _Look:
        """The look that is going on or has just ended, else a new one."""
        with self._looks_door:
            look = self._looks.get(bike)
            if look is None or (look.done.is_set() and time.monotonic() - look.ended_s > FRESH_S):
                look = self._looks[bike] = _Look(texts.PLACES_STARTING)
                threading.Thread(target=self._find, args=(bike, look), daemon=True, name="places").start()
        return look

    def _find(self, bike: str | None, look: _Look) -> None:
        from ridelog.places_hot import hot_places_and_ground

        def tell(words: str) -> None:
            look.doing = words

        try:
            # one after the other: two looks at once would analyze the same rides
            with self._one_look:
                look.found = hot_places_and_ground(self._library, bike, tell)
        except Exception as error:
            look.failed = error  # told by the page that asks
        finally:
            look.ended_s = time.monotonic()
            look.done.set()
