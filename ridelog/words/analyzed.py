"""The heads and short lines of `ridelog analyze`; what stands under them has words of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ridelog.results import Boiling

BOILING = "Boiling"
NOTES = "Notes"
CHECKS = "Checks of the bike file"
OPEN = "What this log can't tell, and why"
DOUBTFUL = "Doubtful data"
STRETCHES = "Stretches"
STRETCH_COLUMNS = (
    "from", "to", "stretch", "speed", "drag", "coolant", "settles at", "limit", "conservative map", "advice"
)  # fmt: skip
TIME_ABOVE = "Time above"
ABOVE_COLUMNS = ("above", "time", "sensor allows", "longest", "times", "of it engine off", "not known")
ESTIMATED_COLUMN = "estimated, where not logged"
NOT_SEEN = "can't tell"
HEAT = "Heat balance"
OTHER_MAP = "Had the conservative map been on where advised"

CAUTIONS = (
    "Figures are estimates. A coolant sensor can't see a lean or detonating engine.",
    "Never open a hot cooling system.",
)


def head(ride: str, bike: str | None, duration: str, distance_m: float | None) -> str:
    """What was analyzed."""
    way = [f"{distance_m / 1000:.1f} km"] if distance_m is not None else []
    return ", ".join([f"Ride {ride}", bike or "no bike file", duration, *way])


def doubtful_line(channel: str, kind: str, at: tuple[str, str], action: str, detail: str) -> str:
    """One mark of doubt: where, from when to when, what, what became of the values, and what was seen."""
    span = at[0] if at[0] == at[1] else f"{at[0]} to {at[1]}"
    return f"{channel[:1].upper()}{channel[1:]}, {span}: {kind}, {action}" + (f"; {detail}" if detail else "")


def boiling_lines(found: Boiling) -> list[str]:
    """Where the coolant would boil, and how far its peak was from there, good to about 2 C."""
    return [
        f"With a cap that seals the coolant would boil at {found.sealed_c:.0f} C{_beside(found.margin_sealed_c)}.",
        f"With one that leaks, at {found.vented_c:.0f} C{_beside(found.margin_vented_c)}. Both are good to about 2 C.",
    ]


def _beside(margin_k: float | None) -> str:
    """`; its peak was 12 C below that`."""
    if margin_k is None:
        return ""
    size = round(abs(margin_k))
    if size == 0:
        return "; its peak was just there"
    return f"; its peak was {size} C {'below' if margin_k > 0.0 else 'above'} that"
