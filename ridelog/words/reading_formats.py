"""What a reader notes of a file with typed columns (Parquet, Arrow, MDF), and of readers that others add."""

from __future__ import annotations

# Parquet and Arrow

ARROW = "Parquet and Arrow files: a table of typed columns"
NO_END_MARK = "the stream has no end mark; rows may be missing at its end"
REPORT_UNREAD = "the import report inside this export can't be read; its samples can"
INDEX_IS_TIME = "the rows' index holds times and was taken as the time column"


def columns_left_out(columns: str) -> str:
    """Columns of lists and the like, by name."""
    return f"columns that hold no plain values were left out: {columns}"


def start_in_report(start: str) -> str:
    """An export of ridelog whose start no column holds."""
    return f"the export says that the ride began at {start}; --start gives it again"


def no_moments(column: str) -> str:
    """Cells that no calendar holds."""
    return f"{column}: values that are no date or time count as no value"


def not_finite(column: str) -> str:
    """Cells that are infinite or NaN."""
    return f"{column}: values that are infinite or not a number count as no value"


def odd_texts(column: str, kind: str) -> str:
    """Cells of a column of text that did not simply parse."""
    return f"{column}: cells of text that are no plain numbers ({kind})"


# MDF

MDF = "ASAM MDF measurement files, versions 3 and 4"
UNFINISHED = "the logger never closed the file; its last records may be missing"
START_UNKNOWN = "the file does not tell when it began; --start tells it"
START_IS_NOW = (
    "the file's start is the time of this import, which its writer puts where it knows none; --start tells it"
)


def groups_joined(groups: int) -> str:
    """Channel groups with times of their own."""
    return f"{groups} channel groups were put on one time base"


def times_wrapped(group: int) -> str:
    """Times under zero that an unsigned counter held."""
    return f"times of group {group} had run under zero in an unsigned counter and were put right"


def times_wrong(group: int) -> str:
    """Times that can't be true."""
    return f"records of group {group} whose time can't be true were left out"


def group_sorted(group: int) -> str:
    """Records that went back in time."""
    return f"records of group {group} were put in the order of time"


def same_times(group: int) -> str:
    """Records with one time."""
    return f"records of group {group} with the time of the next one were left out"


def groups_left_out(groups: str) -> str:
    """Groups without times, by name."""
    return f"channel groups without a time channel were left out: {groups}"


def channels_left_out(channels: str) -> str:
    """Channels of arrays and the like, by name."""
    return f"channels that hold no plain values were left out: {channels}"


def invalid(channel: str) -> str:
    """Values with the mark that they are invalid."""
    return f"{channel}: values that the file marks as invalid count as no value"


# readers of other packages


def plugin_left_out(name: str, why: str) -> str:
    """A reader that another package adds and that can't be used."""
    return f"the reader plug-in {name} was left out: {why}"


PLUGIN_NONE = "it is not a reader"


def plugin_twice(name: str) -> str:
    """It has the name of another one."""
    return f"there is a reader named {name} already"


def plugin_failed(error: str) -> str:
    """Loading it failed with this kind of error."""
    return f"{error} while loading it"
