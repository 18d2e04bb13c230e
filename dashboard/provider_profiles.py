"""Bikes and advice sheets for the pages."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

from dashboard import texts
from dashboard.views import ProfileItem
from ridelog.bike import Bike

if TYPE_CHECKING:
    from ridelog.advice import Advice
    from ridelog.flips import Flips
    from ridelog.store.library import Library
    from ridelog.store.profiles import Kind, Version


class ProfileDoor(Protocol):
    """What pages and callbacks know of bikes and sheets."""

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


class ProfileLibrary:
    """The same over a library folder."""

    _library: Library

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


def _parsed(kind: Kind, text: str) -> Bike | Advice:
    from ridelog.advice import parse_advice
    from ridelog.bike import parse_bike

    return parse_bike(text, texts.THE_TEXT) if kind == "bike" else parse_advice(text, texts.THE_TEXT)
