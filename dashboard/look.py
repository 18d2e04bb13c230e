"""How somebody wants to see the pages: units, light or dark ground, what stays hidden. The browser keeps it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ridelog.words.display import IMPERIAL, METRIC, Display

THEMES = ("system", "light", "dark")
UNITS = ("metric", "imperial")
MOST_TRIM_M = 5000.0


@dataclass(frozen=True)
class Look:
    """One reader's way of seeing. `touch` leaves drawing a zoom box out, so that a finger scrolls; `hide_course` shows
    no map; `trim_m` is what downloads leave out at either end of a ride."""

    units: Display = METRIC
    dark: bool = False
    touch: bool = False
    hide_course: bool = False
    trim_m: float = 0.0


def look_of(screen: Any) -> Look:
    """From what the browser keeps and knows of itself; anything it should not hold counts as not said."""
    told = screen if isinstance(screen, dict) else {}
    prefs = told.get("prefs") if isinstance(told.get("prefs"), dict) else {}
    trim = prefs.get("trim_m")
    if isinstance(trim, bool) or not isinstance(trim, int | float) or not math.isfinite(trim):
        trim = 0.0
    return Look(
        units=IMPERIAL if prefs.get("units") == "imperial" else METRIC,
        dark=told.get("dark") is True,
        touch=told.get("touch") is True,
        hide_course=prefs.get("hide_course") is True,
        trim_m=min(max(float(trim), 0.0), MOST_TRIM_M),
    )
