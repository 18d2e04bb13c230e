"""Rides by the day they were ridden: an id names a ride in an address, a day names it to people."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING

from dashboard import texts
from ridelog.report.sentences import moment, shown

if TYPE_CHECKING:
    from dashboard.views import RideItem


def ride_names(items: Iterable[RideItem]) -> dict[str, str]:
    """Rides by their day and hour; those that share it, or have none, by their id too."""
    return names_of({item.id: (item.start_utc, item.timezone, item.start_local) for item in items})


def names_of(starts: Mapping[str, tuple[datetime | None, str | None, datetime | None]]) -> dict[str, str]:
    """The same from their starts: in UTC, with the zone it is told in, and by the log's own clock."""
    days = {ride: moment(*start) for ride, start in starts.items()}
    often = Counter(days.values())
    return {ride: day if day and often[day] == 1 else f"{day or texts.NO_DAY} ({ride})" for ride, day in days.items()}


def named(text: str, names: Mapping[str, str]) -> str:
    """A sentence or a cell as it stands on a page, its rides by their names instead of their ids."""
    for ride, name in names.items():
        if ride in text:
            text = re.sub(rf"\b([Rr])ide {re.escape(ride)}", lambda found, name=name: _the_ride(found[1], name), text)
            text = text.replace(ride, name) if ride not in name else text
    return degrees(shown(text))


def degrees(text: str) -> str:
    """Degrees without a number before them: `First, C a minute`."""
    return re.sub(r"(,| in) C\b", r"\1 °C", text)


def _the_ride(letter: str, name: str) -> str:
    return f"{'The' if letter == 'R' else 'the'} ride of {name}"
