"""How the clocks of two devices lie to each other, by what both felt of the ride: why, and what lies between them."""

from __future__ import annotations

# why it is so, or can't be told


def speeds_agree(offset_s: float, drift_ppm: float, error_s: float, correlation: float, overlap_s: float) -> str:
    """One offset fits."""
    return (
        f"speeds agree at an offset of {offset_s:.2f} s and a drift of {drift_ppm:.0f} ppm, good to {error_s:.2f} s "
        f"(correlation {correlation:.2f} over {overlap_s:.0f} s)"
    )


def some_disagree(apart: int, stretches: int) -> str:
    """Reads on after `speeds_agree`."""
    return f"; {apart} of {stretches} stretches do not agree with it: a clock may have jumped, or tyres spun"


def none_fits(most_s: float) -> str:
    """No offset does."""
    return f"no offset within {most_s:.0f} s lets both tell of the same ride for at least a minute of movement"


def several_fit(shown: str) -> str:
    """More than one does."""
    return f"more than one offset fits ({shown}): laps at one pace, or a clock that jumped"


def agrees_little(correlation: float, overlap_s: float) -> str:
    """The best one is not good enough."""
    return (
        f"the best of all offsets agrees little (correlation {correlation:.2f} over {overlap_s:.0f} s): another ride, "
        "or too little in common"
    )


def on_a_gear(share_pct: float) -> str:
    """Engine speed against road speed, by the bike's gears."""
    return f"rpm over speed lies on a gear of the bike for {share_pct:.0f} % of the riding"


BY_CHANCE = ", no more than by chance: check the bike's gearing"


def changes_little(what: str, seconds: float) -> str:
    """A speed that hardly changes."""
    return f"{what} changes noticeably for only {seconds:.0f} s, too little to tell one moment from another"


def hardly_changes(device: str, most: float, span_s: float) -> str:
    """A channel that hardly changes."""
    return f"the channel of {device} hardly changes (by {most:g} at most within {span_s:g} s)"


# what lies between two clocks


def leap_seconds(seconds: int) -> str:
    """One counts them, one does not."""
    return f"{seconds} s is what GPS time and UTC differ by: one of the two does not count leap seconds"


WEEKS_LOST = "1,024 weeks is what a satellite receiver loses whose count of weeks ran over"


def zone(hours: float) -> str:
    """A time zone."""
    return f"{hours:g} h is a time zone or summer time"


def and_leap_seconds(what: str, seconds: int) -> str:
    """Both at once."""
    return f"{what}, and {seconds} s what GPS time and UTC differ by"


def and_rest(what: str, rest_s: float) -> str:
    """A time zone and something else."""
    return f"{what}, the other {rest_s:.1f} s a clock that was off"


WRONG_DAY = "one of the two shows a wrong day, as a clock does that was never set"
