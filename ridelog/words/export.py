"""What stands in an exported file beside its figures."""

from __future__ import annotations

NO_POSITION = "no position was logged along this stretch"


def trimmed(ends_m: float) -> str:
    """What was left out of a ride that others may see."""
    return (
        f"The first and last {ends_m:g} m of the ride, its notes, file names, unrecognised columns and doubtful "
        "positions were left out. "
        "Rate, resolution and coverage of the channels are those of the whole ride; its length was not measured again"
    )
