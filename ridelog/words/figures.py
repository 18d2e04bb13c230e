"""What stands in and beside pictures: titles of panels, what a line is called, what a hand over it is told, and why a
panel is missing. A single name of a quantity stands where its line is drawn.
"""

from __future__ import annotations

from collections.abc import Sequence

from ridelog.words.display import Display

# a ride over its time: the panels, from top to bottom

DRAG_TITLE = "Terrain drag, share of the bike's weight"
STRIP_TITLE = "Flagged stretches and map in use"
AT_THIS_MOMENT = "At this moment"

SETTLES = "settles at"
ESTIMATED = "coolant, estimated"
WOULD_SETTLE = "on the conservative map it would settle at"
WOULD_BE = "on the conservative map the coolant would be"


def coolant_title(display: Display) -> str:
    """The panel of the coolant."""
    return f"Coolant, {display.temperature_unit}"


def speed_title(display: Display) -> str:
    """The panel of the speed."""
    return f"Speed, {display.speed_unit}"


def heat_title(rate: str, capacity_kj_per_k: float) -> str:
    """The panel of the ledger, with the unit of its scale and the capacity its kW rest on."""
    return f"Heat in and out, {rate} (right: kW at {capacity_kj_per_k:g} kJ/K)"


def throttle_title(*, throttle: bool, work: str | None) -> str:
    """The panel of throttle and `work` ("power_w" or "engine_rpm", None where neither is known)."""
    words = None if work is None else "power, kW" if work == "power_w" else "engine speed, 1/min"
    if not throttle:
        return (words or "").capitalize().replace("kw", "kW")
    return f"Throttle, % (line) and {words} (dotted)" if words else "Throttle, %"


def with_band(line: str) -> str:
    """The band of a line."""
    return f"{line}, 95 %"


def at_value(line: str, display: Display) -> str:
    """A temperature under the hand, as the plotting library fills it in."""
    return f"{line} %{{y:.0f}} {display.temperature_unit}<extra></extra>"


def at_moment(display: Display) -> str:
    """The coolant at a place of the course, with the time of the ride."""
    return f"%{{customdata}}: %{{marker.color:.1f}} {display.temperature_unit}<extra></extra>"


def value_of(channel: str, unit: str) -> str:
    """The value of a channel of which only the shape is drawn."""
    return f"{channel} %{{customdata:.5~g}} {unit}<extra></extra>"


WOULD_SETTLE_AT = "would settle at"
DRAG_AT = "drag %{y:.2f} of weight<extra></extra>"


def drag_level(level: float) -> str:
    """The level of the rule of the advice sheet."""
    return f"rule {level:.2f}"


# why a panel is missing

_ABSENT = {
    "coolant": ("Coolant is not shown", "the log holds no coolant temperature"),
    "heat": ("Heat in and out are not shown", "the heat balance was not fitted"),
    "speed": ("Speed is not shown", "the log holds neither a speed nor a position"),
    "throttle": ("Throttle and engine speed are not shown", "the log holds neither"),
    "drag": ("Terrain drag is not shown", "it could not be computed from this log"),
}
PANELS = tuple(_ABSENT)


def absent(panel: str, told: Sequence[str]) -> str:
    """A panel that is not drawn, with the first reason of `told`, or what is so where none is given."""
    what, general = _ABSENT[panel]
    return f"{what}: {(told or [general])[0].rstrip('.')}."


# small pictures


def glance(peak: str | None) -> str:
    """The ride at a glance, for those who can't see it; `peak` with its unit, None where coolant is not logged."""
    shown = f"peak {peak}" if peak is not None else "coolant not logged"
    return f"Coolant temperature along the ride, {shown}; below it the flagged stretches and the map in use."


FOLLOWED_TITLE = "% on the map where advised"


def followed(share: tuple[int, int, int], rides: int, advised: str) -> str:
    """A share in % with its ends, of so many rides and so much time."""
    return f"{share[0]} % ({share[1]} to {share[2]}), {rides} {'ride' if rides == 1 else 'rides'}, advised {advised}"


# marks of doubt


def more_in_list(count: int) -> str:
    """Marks that are not shown."""
    return f"and {count} more, in the list"


def doubtful(channel: str, kind: str, at: tuple[str, str], action: str, detail: str) -> str:
    """One mark: where, what, since when and until when, what was done."""
    span = at[0] if at[0] == at[1] else f"{at[0]} to {at[1]}"
    return f"doubtful: {channel}, {kind}, {span}, {action}. {detail}"
