"""The part of a ride in the address: `?from=120&to=300.5&stretch=3&what-if=on`, seconds from the first sample.

What the address says wrongly is left aside, and said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import parse_qsl, urlencode

from dashboard import config, texts
from ridelog.figures.ride_stack import View, whole
from ridelog.results import Analysis
from ridelog.words.display import clock

FROM, TO, STRETCH, WHAT_IF = config.FROM, config.TO, "stretch", "what-if"

SHORTEST_S = 2.0
"""No view is narrower than this."""

AROUND_S, AROUND_SHARE = 15.0, 0.35
"""What is shown before and after a stretch: so much of its length, and not less."""


@dataclass(frozen=True)
class Asked:
    """The view an address asks for, and what is said of what it can't be."""

    view: View
    said: str = ""


def asked_in(search: object) -> dict[str, str]:
    """What an address asks for (`?from=1&to=2`); of what it says twice, the last. Nothing where it is no text."""
    return dict(parse_qsl(search.lstrip("?"))) if isinstance(search, str) else {}


def view_of(query: Mapping[str, str], analysis: Analysis, *, touch: bool = False) -> Asked:
    """The view that an address asks for; all of the ride where it asks for none that can be shown."""
    shown, said = whole(analysis, touch=touch), []
    if STRETCH in query:
        index = _stretch(query[STRETCH], len(analysis.segments))
        if index is None:
            said.append(texts.address_stretch(query[STRETCH], len(analysis.segments)))
        else:
            around_it = around(analysis, index, shown)
            shown = around_it if around_it is not None else shown
    if FROM in query or TO in query:
        found = _span(query, shown, whole(analysis).end_s)
        if found is None:
            asked = " ".join(f"{name}={query[name][:20]}" for name in (FROM, TO) if name in query)
            said.append(texts.address_part(asked, clock(analysis.ride.duration_s)))
        else:
            shown = replace(shown, start_s=found[0], end_s=found[1])
    if query.get(WHAT_IF, "off") not in ("on", "off"):
        said.append(texts.address_switch(query[WHAT_IF]))
    return Asked(replace(shown, what_if=query.get(WHAT_IF) == "on"), " ".join(said))


def query_of(view: View, analysis: Analysis) -> str:
    """What the address says of a view: nothing for the whole ride."""
    told: dict[str, str] = {}
    start, end, last = (_number(value) for value in (view.start_s, view.end_s, whole(analysis).end_s))
    if (start, end) != ("0", last) or view.selected is not None:
        told |= {FROM: start, TO: end}
    if view.selected is not None:
        told[STRETCH] = str(view.selected + 1)
    if view.what_if:
        told[WHAT_IF] = "on"
    return urlencode(told)


def around(analysis: Analysis, index: int | None, current: View) -> View | None:
    """A view of one stretch with what came before and after it; None for an index no stretch has."""
    if index is None or not 0 <= index < len(analysis.segments):
        return None
    segment = analysis.segments[index]
    return replace(around_span(analysis, segment.start_s, segment.end_s, current), selected=index)


def around_span(analysis: Analysis, start_s: float, end_s: float, current: View) -> View:
    """A view of some seconds with what came before and after them."""
    start, end = with_margin(start_s, end_s)
    return fit(replace(current, start_s=start, end_s=end, selected=None), whole(analysis).end_s)


def with_margin(start_s: float, end_s: float) -> tuple[float, float]:
    """Some seconds with what came before and after them."""
    pad = max(AROUND_S, AROUND_SHARE * (end_s - start_s))
    return start_s - pad, end_s + pad


def fit(view: View, whole_s: float) -> View:
    """The view moved and cut so that it lies inside the ride and is not too narrow; all of it where it isn't finite."""
    if not (math.isfinite(view.start_s) and math.isfinite(view.end_s)):
        return replace(view, start_s=0.0, end_s=whole_s)
    middle = (view.start_s + view.end_s) / 2
    span = min(max(view.end_s - view.start_s, SHORTEST_S), whole_s)
    start = min(max(middle - span / 2, 0.0), whole_s - span)
    return replace(view, start_s=start, end_s=start + span)


def _span(query: Mapping[str, str], shown: View, whole_s: float) -> tuple[float, float] | None:
    """From and to inside the ride; None for what is no part of it."""
    try:
        start = float(query.get(FROM, shown.start_s))
        end = float(query.get(TO, max(shown.end_s, whole_s)))
    except ValueError:
        return None
    if not (math.isfinite(start) and math.isfinite(end)) or start >= end or end <= 0.0 or start >= whole_s:
        return None
    found = fit(View(max(start, 0.0), min(end, whole_s)), whole_s)
    return found.start_s, found.end_s


def _stretch(text: str, count: int) -> int | None:
    good = text.isascii() and text.isdigit() and len(text) < 7
    return int(text) - 1 if good and 1 <= int(text) <= count else None


def _number(seconds: float) -> str:
    """Hundredths do: the shortest view has two seconds."""
    return f"{seconds:.2f}".rstrip("0").rstrip(".")
