"""What the pages ask of a library, and the one place that touches it. Its parts, by what is asked for, stand in the
files named provider_*.py and in casebook.py; the records it hands out in views.py."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from dashboard.casebook import CaseDoor, CaseLibrary
from dashboard.provider_many import ManyDoor, ManyLibrary
from dashboard.provider_originals import OriginalDoor, OriginalLibrary
from dashboard.provider_places import PlacesDoor, PlacesLibrary
from dashboard.provider_profiles import ProfileDoor, ProfileLibrary
from dashboard.provider_rides import RideDoor
from dashboard.views import CompareQuestion, CompareView, PlacesView, ProfileItem, ReviewView, RideItem, RideView

if TYPE_CHECKING:
    from ridelog.store.profiles import Kind, Version  # noqa: F401 - pages may not import the store

__all__ = [
    "CompareQuestion",
    "CompareView",
    "LibraryProvider",
    "PlacesView",
    "ProfileItem",
    "Provider",
    "ReviewView",
    "RideItem",
    "RideView",
]


class Provider(CaseDoor, RideDoor, ManyDoor, OriginalDoor, PlacesDoor, ProfileDoor, Protocol):
    """What pages and callbacks know of the data."""


class LibraryProvider(CaseLibrary, PlacesLibrary, ManyLibrary, OriginalLibrary, ProfileLibrary):
    """All of it over a library folder. May be shared by threads."""

    def __init__(self, root: Path | None) -> None:
        from ridelog.store.library import Library

        super().__init__()
        self._library: Library = Library.open(root)
        self.root = self._library.root
