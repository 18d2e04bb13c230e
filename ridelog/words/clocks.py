"""What is told of times: where a log's clock was put right or can't be believed, and how its stamps were read."""

from __future__ import annotations

from datetime import datetime

# the rows of a recording

NO_TIME = "rows without a readable time were left out"
REVERSED = "the rows run from last to first and were turned round"
MIDNIGHT = "the clock ran over midnight; the day after was counted on"
MIDNIGHT_DATED = "the clock ran over midnight and the date stood still; the day after was counted on"
NO_HOURS = "the times have no hours; they were counted on over the full hour"
STRAY_TIMES = "rows whose time fits neither the rows before nor those after were left out"
NO_ORDER = "the rows stand in no order of time, as after sorting by another column; they were put in order"
STEPS_BACK = "the clock steps back, so a new recording was begun there"
OUT_OF_ORDER = "rows written out of order were put in the order of their times"
RECORDINGS_SORTED = "the recordings in the file were put in the order of their dates"
SINGLE_MOMENTS = "recordings of a single moment were left out"
STAMPS_SPREAD = "several rows share each stamp; they were spread over its length"
SAME_STAMP = "rows with the stamp of the row before were merged with it; later values win"
BURSTS_SPREAD = (
    "rows were stamped as they were written out, many at once; each burst was spread over the time to the next"
)


def back_by(seconds: float, row: str) -> str:
    """How far, and where."""
    return f"by {seconds:.3f} s at {row}"


def counter_ran_over(width: str) -> str:
    """A counter that began again at its highest number."""
    return f"the time counter ran over its {width} end and was counted on"


# how times and dates were read

MIXED_ZONES = "some times name a zone and some do not; those were read as UTC"
DATE_UNREAD = "the date column is no date that can be read; the date is not known"
ZONE_UNKNOWN = "the times name no zone, so the moment in UTC is not known; --timezone tells it"


def date_not_used(column: str) -> str:
    """A date column beside a counter."""
    return (
        f"{column} was read as a counter, which tells no time of day, so the date column was not used; --start tells "
        "the moment of the first sample"
    )


def unit_contradicted(column: str, label: str, unit: str) -> str:
    """A label that would make the numbers no dates."""
    return (
        f"{column} bears the unit {label}, but only {unit} make its numbers a date: they were read as Unix time in "
        f"{unit}. --column '{column}=time:{label}' keeps to the label"
    )


def unit_by_steps(what: str, unit: str) -> str:
    """A time column without a unit."""
    return f"the time column has no unit; its steps and length fit {what}{unit}"


AS_SAID = "as its header or you say"
ONLY_READING = "the only reading in which all are days of the calendar and lie together"


def date_numbers(column: str, form: str, how: str) -> str:
    """Dates of six or eight digits."""
    return f"{column} holds dates written as numbers ({form}), {how}"


def clock_numbers(column: str, form: str) -> str:
    """Times of six digits."""
    return f"{column} holds clock times written as numbers ({form})"


def clock_numbers_labelled(column: str, label: str, form: str) -> str:
    """The same under a unit that contradicts them."""
    return (
        f"{column} bears the unit {label}, but its numbers are clock times ({form}): they run from 59 to 100 at the "
        "end of every minute; they were read as clock times"
    )


def unpadded(column: str, unit: str) -> str:
    """Fractions of a second without their leading zeros."""
    return (
        f"{column}: the fractions of its seconds have lost their leading zeros and were read as whole {unit}; read as "
        "decimals, the time would run back"
    )


# the date


def dated_by(column: str) -> str:
    """The column that tells date and time."""
    return f"date and time of day come from column {column}"


def date_open(found: str, to_do: str) -> str:
    """A date that can be read in two ways."""
    return f"the date is not known: {found}. {to_do}"


SET_ON_THE_WAY = "the clock was set during the recording; the rows before have their times from the counter beside it"
START_GIVEN = "the log's own date and time were replaced by the given start"
OUTSIDE_CALENDAR = "a day outside the calendar"


def not_set(shown: str) -> str:
    """A clock at the beginning of its count; the day it shows."""
    return (
        f"the log's clock was not set: it shows {shown}. The date is not known; the times between the rows stand. "
        "--start tells the moment of the first sample"
    )


def weeks_added(shown: datetime, later: datetime) -> str:
    """A receiver whose count of weeks ran over."""
    return (
        f"the log shows {shown:%Y-%m-%d}, a day before any such log. Satellite receivers count weeks up to 1,024 and "
        f"begin anew: whole turns were added, which gives {later:%Y-%m-%d}; --start sets another moment"
    )


def lies_ahead(shown: datetime) -> str:
    """A day in the future."""
    return (
        f"the log shows {shown:%Y-%m-%d}, a day that lies ahead: its clock was not set right, or this machine's is "
        "not. Give the moment with --start"
    )


def weeks_perhaps(shown: datetime, later: datetime) -> str:
    """An old day, and the one it may have been."""
    return (
        f"the log shows {shown:%Y-%m-%d}. Satellite receivers count weeks up to 1,024 and begin anew; if this one lost "
        f"count, the day was {later:%Y-%m-%d}: give the moment with --start"
    )
