"""What the user says of a column: `--column 'NAME=channel:unit'`."""

from __future__ import annotations

import difflib

from ridelog.channels import CHANNELS
from ridelog.errors import UsageError
from ridelog.normalize.channel_units import examples, unit_for
from ridelog.normalize.plan import ColumnChoice

_OTHERS = ("time", "date", "raw")


def parse_choice(text: str) -> ColumnChoice:
    """`'NAME=channel:unit'` as a choice; the unit may be left out. Raises UsageError."""
    name, equals, rest = text.rpartition("=")
    if not equals or not name.strip() or not rest.strip():
        raise UsageError(
            f"{text!r} is not NAME=channel or NAME=channel:unit",
            where="--column",
            expected="the column's name, '=', a channel and perhaps ':' and a unit, such as 'Temp=coolant_c:F'",
            to_do="correct the option",
        )
    channel, _, unit = (part.strip() for part in rest.partition(":"))
    if channel not in _OTHERS and (channel not in CHANNELS or CHANNELS[channel].kind == "time"):
        near = difflib.get_close_matches(channel, [*CHANNELS, *_OTHERS], n=1, cutoff=0.5)
        raise UsageError(
            f"there is no channel {channel!r}",
            where=f"--column {text!r}",
            expected=f"a channel such as {near[0] if near else 'coolant_c'}, or time, date, raw",
            to_do="correct the channel",
        )
    if unit and channel != "raw":
        fits, conversion = unit_for(channel, unit)
        if not fits or (conversion is None and channel not in _OTHERS):
            of_time = channel in ("time", "date")
            raise UsageError(
                f"{unit!r} is no unit of {channel}",
                where=f"--column {text!r}",
                expected="s, ms, us, min, dmy or mdy" if of_time else f"a unit such as {examples(channel)}",
                to_do="correct the unit",
            )
    return ColumnChoice((name.strip(),), channel, unit or None)
