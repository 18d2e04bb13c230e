"""What makes a stretch unsure, and why power over mass can't be measured: said where it is measured.

These stand below the stages of the analysis, which use them; all other reasons are in `words.doubts`.
"""

from __future__ import annotations

# what makes a stretch unsure: each reads on after "unsure: "

POWER_NEAR_LEVEL = "its power is close to the level"
CLIMB_LOOKS_ALIKE = "without elevation a climb looks the same"
OPEN_STOP_UNSEEN = "the throttle's open stop was never seen in this ride"
SPEED_FROM_POSITIONS = "speed was worked out from positions alone"
STANDING_FROM_POSITIONS = "standing still was worked out from positions alone"
SETTLES_BELOW = "the band of its settle temperature reaches below the limit"


def drag_near_level(lowest: float | None, level: float) -> str:
    """Drag over weight (0..1) with less power and more mass would be `lowest`, under the sheet's `level`."""
    text = f"{100.0 * lowest:.0f} %" if lowest is not None else "less than that"
    return f"with 20 % less power and 10 % more mass it would be {text}, under the level of {100.0 * level:.0f} %"


def slope_near_level(reach: float) -> str:
    """The slope (rise over run) is good to `reach` only."""
    return f"the slope is within its own error ({100.0 * reach:.1f} %) of the level"


# why power over mass can't be set beside the bike file

NO_BIKE_FILE = "no bike file"
LACKS_CHANNELS = "it needs engine speed, throttle and speed, in a known gear"
SPEED_TOO_SMOOTH = "speed was worked out from positions, too smooth to set beside the throttle"
LACKS_ELEVATION = "it needs elevation and a known gear: a slope would pass for a weak engine"
SPEED_IGNORES_THROTTLE = "speed hardly follows the throttle, so force and motion can't be compared"
CHANGES_ONCE = "speed and throttle change in one place only, so force and motion can't be compared"


def too_little_driving(seconds: float, least_s: float, windows: int) -> str:
    """Too little to measure; the curve of the bike file holds for the standard map alone."""
    return (
        f"the ride has {seconds:.0f} s of driving in gear on the standard map with little slip; it takes "
        f"{least_s:.0f} s, on {windows} stretches of ground"
    )


# why the build can't be set beside the ground

ELEVATION_UNKNOWN = "the log has no elevation, so where it was ridden is not known"
BUILD_NOT_GIVEN = "the bike file gives neither compression, fuel nor the elevation it was built for"
