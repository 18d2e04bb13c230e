"""What is told of columns: what each was taken for, and what it holds."""

from __future__ import annotations

# what a column was taken for


def no_such_column(name: str) -> str:
    """A column the user spoke of and the log does not have."""
    return f"no column is named {name!r}; what was said of it was not used"


def taken_as(column: str, meaning: str, channel: str) -> str:
    """One of several meanings that its name can have."""
    return f"{column!r} was taken as {meaning} ({channel})"


def text_for_numbers(column: str, channel: str) -> str:
    """Text under a name of numbers."""
    return f"{column} bears the name of {channel}, but holds text; it was kept as it is"


def text_kept(column: str) -> str:
    """Text where the channel has numbers."""
    return f"{column} holds text where numbers are needed; it was kept as it is"


def no_map(column: str) -> str:
    """A column named like the map, that holds none."""
    return f"{column} does not hold map numbers (perhaps a pressure); it was kept as it is"


def stands_in(column: str, channel: str) -> str:
    """A column taken for want of a better one."""
    return f"{column} stands in for {channel}: no column bears its own name"


def same_values(column: str) -> str:
    """A column that is there twice."""
    return f"{column} is there twice with the same values; kept once"


def same_in_units(column: str, unit: str, other: str) -> str:
    """The same values in two units."""
    return f"{column} is there in {unit} and in {other} with the same values; kept in {unit}"


def second_sensor(column: str, unit: str) -> str:
    """Other values in another unit."""
    return f"{column} is there in two units with different values; the one in {unit} was taken as a second sensor"


def not_understood(named: str, more: str, option: str) -> str:
    """Columns without a meaning, and the option that gives the first one."""
    return (
        f"columns not understood, kept as they are: {named}{more}; if one is one of ridelog's channels, say so: "
        f"{option}"
    )


# what was remembered of a bike's columns


def remembered(bike: str, columns: str) -> str:
    """Meanings that were used again."""
    return f"columns read as remembered for bike {bike} and this header: {columns}"


def remembered_not_used(bike: str, meant: str, day: str | None, why: str) -> str:
    """A meaning that was not."""
    return f"for bike {bike} it is remembered to read {meant} ({confirmed(day)}), but {why}; it was not used"


def confirmed(day: str | None) -> str:
    """When somebody confirmed a meaning; None where the day is not known."""
    return f"confirmed {day}" if day else "confirmed"


BARE_DATES = "its dates are bare digits, in which another order may hold"
HOLDS_TEXT = "it holds text"


def mostly_outside(low: float, high: float, unit: str) -> str:
    """Values that the channel can't have."""
    return f"most of its values would be outside {low:g} to {high:g} {unit}"


def no_month(month: int) -> str:
    """A number that is no month."""
    return f"a month {month} can't be"


# values and states


def empty(columns: str) -> str:
    """Columns that hold nothing, by name."""
    return f"columns without a single value were left out: {columns}"


def derived_speed(window_s: float) -> str:
    """Speed from positions."""
    return f"speed (gps_speed_mps) was derived from the positions, over {window_s:g} s at a time"


def beyond(column: str, most: float) -> str:
    """Values that nothing on a bike has."""
    return f"{column}: values beyond {most:g} are no measurement and count as no value"


def no_state(column: str) -> str:
    """Words that are no states."""
    return f"{column}: its values are no state that is known; it was kept as it is"


def some_no_state(column: str, unknown: str) -> str:
    """Words among others that are no states."""
    return f"{column}: {unknown} count as unknown, because no state is known by these words"


def map_numbers(column: str) -> str:
    """Numbers of a map, without a bike file."""
    return f"{column}: no bike file says what its numbers mean; they were kept as slot numbers"


def map_words(column: str, line: str) -> str:
    """Words of a map, without a bike file."""
    return f"{column}: no bike file says what its words mean; it was kept as it is; {line}"


def line_to_add(slots: str) -> str:
    """The line of a bike file that would list them."""
    return (
        f"under [maps] it takes a line such as: slot_values = {{ {slots} }} (set each number to the slot it stands for)"
    )


def map_unlisted(column: str, bike: str, words: str, line: str, kept: str) -> str:
    """Words of a map that the bike file does not list."""
    return (
        f"{column}: the bike file of {bike} does not say which map {words} stands for, so that its time counts as "
        f"unknown; {line}; what the log wrote was kept as {kept}, so that a corrected bike file counts without "
        "importing again"
    )


# positions

O_BY_LANGUAGE = "o, which is east or west by the language"


def hemisphere_unread(column: str, holds: str) -> str:
    """A column of hemispheres that holds something else."""
    return (
        f"ATTENTION: {column} should hold the hemisphere of the positions, but holds {holds!r}; without it the "
        "positions could be on the wrong side, so they were left out (kept unnamed): give the log with signs, or name "
        "the columns with --column"
    )


def hemisphere_contradicts(column: str, values: str) -> str:
    """Signs that contradict the hemisphere."""
    return (
        f"ATTENTION: {column} says north or east where {values} is negative; the positions were left out (kept "
        "unnamed): correct the log, or take one of them out"
    )


def sign_and_gaps(values: str, column: str) -> str:
    """Signs from the hemisphere, which is not always there."""
    return f"{values} has its sign from {column}; where that is empty there is no position"


def sign(values: str, column: str, south: int) -> str:
    """Signs from the hemisphere, negative in so many rows."""
    rows = f": negative in {south:,} {'row' if south == 1 else 'rows'}" if south else ""
    return f"{values} has its sign from {column}{rows}"
