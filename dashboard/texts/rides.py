"""The list of rides."""

from __future__ import annotations

RIDES = "Rides"
RIDES_FILTER = "Show the rides of"
RIDES_PAGES = "Pages of the list"
RIDES_OLDER, RIDES_NEWER = "Older rides", "Newer rides"


def rides_count(count: int, first: int, bike: str | None, *, whole: bool) -> str:
    """How many rides stand there; `whole`: there are no others."""
    of_bike = f" of {bike}" if bike is not None else ""
    if whole:
        return f"One ride{of_bike}." if count == 1 else f"{count} rides{of_bike}, latest first."
    return f"Rides {first} to {first + count - 1}{of_bike}, latest first."


def no_rides_of(bike: str) -> str:
    """A bike nobody imported a ride of."""
    return f"The library has no ride of {bike} yet. Add a log, and name the bike there."
