"""What a reader notes of a table of text: its lines, its cells, its columns.

A note names what was found and what was done; `Note.sentence` puts the count and an example behind it.
"""

from __future__ import annotations

from collections.abc import Sequence

# the file and its lines

TABLE_OF_TEXT = "rows of values under a line of column names, split by comma, semicolon, tab or |"
PREAMBLE = "lines above the header were passed over"
UNITS_ROW = "the line under the header holds units"
MENDED_NAMES = "column names were saved in the wrong encoding and were put right"
WINDOWS_1252 = "the file is not UTF-8; it was read as Windows-1252"
UTF_16 = "the file is in UTF-16"
BLANK_LINES = "blank lines were passed over"
REPEATED_HEADER = "the header was found again inside the table; a new recording begins there"
CUT_LINE = "the last line has no line end and its last value may be cut off; it was left out"
MARKER_LINES = "comment or marker lines between the rows were left out"
LOOSE_QUOTES = "quotation marks do not enclose whole cells and were read as ordinary characters"
SHORT_ROWS = "rows with too few cells; the missing ones count as no value"
LONG_ROWS = "rows with more cells than the header names were left out"
DECIMAL_COMMA = "numbers have a decimal comma"
LINE_ENDS = "lines end in different ways or in CR alone; all were read as line ends"
COPIES = "rows that only repeat the row before were left out"


def nul_tail(count: int) -> str:
    """Zero bytes at the end of a file."""
    return f"the file ends in {_empty_bytes(count)}, as after a power cut"


def nul_bytes(count: int) -> str:
    """Zero bytes elsewhere in it."""
    return f"{_empty_bytes(count)} inside the file {'was' if count == 1 else 'were'} read as a line break"


def _empty_bytes(count: int) -> str:
    return "an empty byte" if count == 1 else f"{count:,} empty bytes"


def cells_of(line: int, found: int, width: int) -> str:
    """A row with fewer cells than the header has names."""
    return f"line {line} has {found} of {width}"


def cells_over(line: int, found: int, width: int) -> str:
    """A row with more of them."""
    return f"line {line} has {found}, the header names {width}"


def spreadsheet_end(row: int) -> str:
    """The file's last row, where that is the last row a spreadsheet holds."""
    return f"the table ends in row {row:,}, the last a spreadsheet holds: the rest of the ride may have been cut off"


def same_name(name: str, columns: Sequence[tuple[str, str]]) -> str:
    """Columns with one name: what each is called here, and where it came from."""
    told = ", ".join(f"'{own}' from {origin}" for own, origin in columns)
    return f"{name} is there {len(columns)} times: {told}"


# cells; each reads on after "column: "

MISSING = "cells with a word for 'no value' count as no value"
NOT_FINITE = "cells that are infinite or not a number count as no value"
GROUPED = "values with signs between thousands were read without them"
ODD_CHARACTERS = "values written with unusual digits or signs were read as plain numbers"
UNIT_IN_CELL = "values with their unit behind them were read without it"
OTHER_UNIT = "values with another unit than the rest of the column count as no value"
NO_NUMBERS = "cells that are no numbers count as no value"

# why a comma or a point was read as it was

THOUSANDS = "a sign between thousands"
DECIMAL = "the decimal sign"
SIGN_SHOWN = "other values of the column show it"


def sign_fits(other_top: float, channel: str | None) -> str:
    """The other reading would give values that the channel (None where it is open) does not have."""
    return f"otherwise its values would reach {other_top:g}" + (f", which {channel} does not" if channel else "")


def sign_in_thousands(top: float) -> str:
    """Thousands have a sign, smaller values none."""
    return f"values up to {top:g} have none, those with one have three digits behind it"


def sign_read(sign: str, role: str, why: str) -> str:
    """How an ambiguous sign of a column was read."""
    return f"the {sign} was read as {role}: {why}"


# one value a row, or a time column a signal

NO_CHANNEL = "rows that name no channel were left out"
NO_VALUE = "rows with a channel but no value count as no value"
ROWS_JOINED = "rows were joined to the row of the same time"
ROWS_COARSE = "the times are coarser than the rows, which were kept one after the other"
LAST_KEPT = "the last value was kept"
SAMPLES_COARSE = "the times are coarser than the samples, which were kept one after the other"
UNTIMED_VALUES = "values without a time in their own time column were left out"
SAMPLES_JOINED = "samples of one time were joined to one row"
OUT_OF_ORDER = "rows written out of order were put in the order of their times"
CHANNEL_BY_CHANNEL = "the rows run channel by channel, or in blocks; they were joined by their times"


def long_format(channels: int) -> str:
    """A table with one value a row."""
    return f"one value a row: its channels ({channels:,}) were put side by side, one row a time"


def passed_over(columns: str) -> str:
    """Its other columns, by name."""
    return f"columns beside channel and value were passed over: {columns}"


def rows_share_time(done: str) -> str:
    """Rows of one channel with one time, and what was done."""
    return f"rows share their channel and time with one before; {done}"


def same_times(name: str, count: int) -> str:
    """Time columns that are all the same."""
    return f"{name} is there {count} times with the same times; kept once"


def time_per_signal(signals: int) -> str:
    """Signals that each have their own times."""
    return f"each signal has its own time column ({signals} of them); they were read as one clock and put on one axis"


def samples_share_time(done: str) -> str:
    """Samples of one signal with one time, and what was done."""
    return f"samples share their time with one before of the same signal; {done}"


# positions

POSITIONS_IN_MINUTES = "the positions are degrees and minutes in one number, as receivers write them; they were read so"
POSITIONS_SWAPPED = (
    "ATTENTION: the latitudes lie beyond 90 degrees and the longitudes do not: the two columns were taken for each "
    "other"
)


def positions_in_degrees(lost: int) -> str:
    """Positions written as text, and how many of them can't be read."""
    return (
        "positions written with their hemisphere, or in degrees and minutes, were read as degrees; N and E count up, "
        "S and W down" + (f"; {lost:,} that can't be read count as none" if lost else "")
    )
