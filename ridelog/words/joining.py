"""What is told of files of one ride: how their clocks were put together, and rides of the library at the same time."""

from __future__ import annotations

from datetime import datetime

# clocks; `how`, `measured` and `why` are those of `words.device_clocks`


def weeks_lost(device: str, weeks: int) -> str:
    """The kept clock lost turns of the week count."""
    return (
        f"the day is that of the later clock: the one kept, of {device}, lost {weeks:,} weeks, as a receiver does "
        "whose count of weeks ran over"
    )


def only_ends_fit(seconds: float) -> str:
    """A place where hardly anything is shared."""
    return f"they only fit where the last {seconds:.0f} s of one meet the first of the other"


def placed(device: str, zone: str, against: str, *, start_s: float, drift_ppm: float, measured: str) -> str:
    """A clock without a date."""
    return (
        f"{device} has no date{zone}: its clock was placed against {against}, {start_s:+.2f} s after its start (drift "
        f"{drift_ppm:+.0f} ppm); {measured}"
    )


def own_clock_off(apart: str) -> str:
    """Reads on after "has no date": what its clock shows."""
    return f" in UTC (its own clock is {apart} from UTC)"


def agree(how: str, measured: str) -> str:
    """Clocks that agree."""
    return f"the clocks agree: {how}; {measured}. Both stand as they are"


NAMED_FIRST = "it was named first"
PLACED_BEFORE = "it was placed before"
HAS_RECEIVER = "its device has the satellite receiver"


def corrected(how: str, cause: str, measured: str, kept: tuple[str, str], device: str) -> str:
    """A clock that was put right; `cause` "" where it is open, `kept` the clock that stands and why."""
    return (
        f"{how}{f' ({cause})' if cause else ''}; {measured}. The clock of {kept[0]} was kept because {kept[1]}, that "
        f"of {device} was put right"
    )


def as_told(given: str) -> str:
    """What the user said of a clock (`words.device_clocks.given`)."""
    return f"{given}, as told"


def given_unchecked(given: str, why: str) -> str:
    """The same, where the ride could not check it."""
    return f"{as_told(given)}; it could not be checked: {why}"


def given_checked(given: str, measured: str, how: str | None) -> str:
    """The same, where it could: `how` None where the ride agrees, else what it says instead."""
    if how is None:
        return f"{as_told(given)}; {measured}; the ride agrees with it"
    return f"{as_told(given)}; {measured}; by the ride itself {how}: check the offset that was given"


def unchecked(device: str, other: str, why: str) -> str:
    """Clocks that were taken as they are."""
    return f"{device} and {other} were joined by their clocks, which could not be checked: {why}"


def second_sensor(old: str, new: str) -> str:
    """A channel that two files have."""
    return f"{old} became {new}: another file has that channel too"


# other rides at the same time; each begins with `overlaps`


def more_overlap(count: int, rides: str) -> str:
    """Further ones, some by name."""
    if count == 1:
        return f"one more ride of the library overlaps this one: {rides}"
    return f"{count} more rides of the library overlap this one: {rides}"


def overlaps(ride: str, since: datetime, until: str, zone: str) -> str:
    """Which ride, and when."""
    return f"overlaps ride {ride} from {since:%Y-%m-%d %H:%M:%S} to {until} {zone}"


def same_file(overlaps: str) -> str:
    """Both are of one file."""
    return f"{overlaps}: both are in the same file; unpack it to import them together"


def shared_file(overlaps: str, files: str, ride: str) -> str:
    """One is a part of the other."""
    return f"{overlaps}: {files} is in both. To keep one ride: ridelog remove {ride}"


def not_compared(overlaps: str, why: str) -> str:
    """A stored ride that can't be read."""
    return f"{overlaps}, which could not be compared: {why}"


def nothing_in_common(overlaps: str, join: str) -> str:
    """They can't be compared."""
    return (
        f"{overlaps}: another device, or another bike: they have nothing in common to compare. If both are of one "
        f"ride: {join}"
    )


def channel_agrees_little(channel: str, correlation: float) -> str:
    """What speaks against one ride."""
    return f"{channel} agrees little, correlation {correlation:.2f}"


def not_alike(overlaps: str, why: str, join: str) -> str:
    """They do not look like one ride."""
    return (
        f"{overlaps}: it does not look like the same ride ({why}): another bike, or a clock that is wrong. If both are "
        f"of one ride: {join}"
    )


def same_ride(overlaps: str, agree: str, fuller: str, ride: str, stored: str) -> str:
    """One export and another of the same ride."""
    return (
        f"{overlaps}: it looks like the same ride exported twice ({agree}). Both are stored; {fuller} To keep one: "
        f"ridelog remove {ride}, or ridelog remove {stored}"
    )


def other_device(overlaps: str, agree: str, join: str) -> str:
    """Two devices on one ride."""
    return f"{overlaps}: another device on the same ride ({agree}). {join}"


def channel_agrees(channel: str, correlation: float) -> str:
    """What speaks for one ride."""
    return f"{channel} of both agrees, correlation {correlation:.2f}"


def clocks_apart(what: str, apart: str, confidence: float) -> str:
    """The same, by comparing what both felt."""
    return f"by {what}, clocks {apart} apart, confidence {confidence:.0%}"


def more_channels(ride: str, most: int, least: int) -> str:
    """Which holds more."""
    return f"{ride} has more channels ({most} against {least})."


def more_rows(ride: str, most: float, least: float) -> str:
    """Which is finer."""
    return f"{ride} has more rows a second ({most:.3g} against {least:.3g})."


THEY_AGREE = "they agree"
OWN_CLOCKS = "on their own clocks"
NO_MORE = "neither holds more."


def import_together(files: str, stored: str, ride: str) -> str:
    """How to make one ride of both."""
    return (
        f"Import both together: ridelog import {files} --together; then remove the single ones: ridelog remove "
        f"{stored}, ridelog remove {ride}"
    )
