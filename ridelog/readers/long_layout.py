"""Is a table in long format, one value a row, and which of its columns holds what?

Found by its header words together with what stands under them, never by the place of a column.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ridelog.channels import CHANNELS
from ridelog.errors import InputRefused
from ridelog.readers import naming
from ridelog.readers.dialect import Dialect, is_value, split_line
from ridelog.units import fold

_LOOK_ROWS = 2_000
_LEAST_NAMES = 2
_MOST_COLUMNS = 5
"""A table with more columns than this and no words of the long format is not asked whether it is one."""


@dataclass(frozen=True)
class Layout:
    """Which column holds what, by index; `passed` are columns of no use."""

    times: tuple[int, ...]
    dates: tuple[int, ...]
    channel: int
    value: int
    unit: int | None
    passed: tuple[int, ...]


def find_layout(dialect: Dialect, lines: Sequence[str], file_name: str, named: Sequence[str] = ()) -> Layout | None:
    """The layout of a table in long format, None for any other. `lines` are the first of the file, `named` the columns
    the user spoke of. Raises InputRefused for what is long format under a header that does not say so."""
    wanted = {fold(name) for name in named}
    means = [{one.channel for one in naming.candidates(name)} for name in dialect.names]
    roles = [naming.long_role(name) for name in dialect.names]
    times = [n for n, found in enumerate(means) if "time" in found]
    times = times or [n for n, name in enumerate(dialect.names) if fold(name) in wanted and roles[n] is None]
    dates = [n for n, found in enumerate(means) if "date" in found and n not in times]
    taken = {*times, *dates}
    if not times and len(dates) == 1:
        times, dates = dates, []  # a column named for the date may hold the time as well
    words = [n for n, role in enumerate(roles) if role == "channel" and n not in taken]
    values = [n for n, role in enumerate(roles) if role == "value" and n not in taken]
    others = [n for n in range(dialect.width) if n not in taken and not roles[n]]
    if not times or any(means[n] & CHANNELS.keys() for n in others):
        return None
    if any(fold(dialect.names[n]) in wanted for n in (*words, *values)):
        return None  # the user said what such a column is
    rows = [split_line(line, dialect.separator) for line in lines[dialect.data_line :][:_LOOK_ROWS]]
    rows = [row for row in rows if len(row) == dialect.width and any(row)]
    if not words or len(values) != 1:
        _refuse_unlabelled(dialect, rows, taken, file_name)
        return None
    holding = [n for n in words if _holds_names([row[n] for row in rows])]
    if not holding:
        return None
    channel = max(holding, key=lambda n: (_known_share([row[n] for row in rows]), -n))
    unit = next((n for n, role in enumerate(roles) if role == "unit" and n not in taken), None)
    used = {*taken, channel, values[0], unit}
    passed = tuple(n for n in range(dialect.width) if n not in used)
    return Layout(tuple(times), tuple(dates), channel, values[0], unit, passed)


def _holds_names(cells: Sequence[str]) -> bool:
    """Texts that come again, as names of channels do: no numbers, no times, and not another text in every row."""
    filled = [cell for cell in cells if cell]
    names = [cell for cell in filled if not is_value(cell)]
    return bool(filled) and len(names) >= 0.9 * len(filled) and (len(filled) < 4 or len(set(names)) < len(names))


def _share_of_values(cells: Sequence[str]) -> float:
    return sum(is_value(cell) for cell in cells) / len(cells)


def _known_share(cells: Sequence[str]) -> float:
    names = {cell for cell in cells if cell}
    return sum(bool(_channels(name)) for name in names) / len(names) if names else 0.0


def _channels(name: str) -> set[str]:
    found = naming.candidates(naming.split_unit(naming.mend(name))[0])
    return {one.channel for one in found} & CHANNELS.keys()


def _refuse_unlabelled(dialect: Dialect, rows: Sequence[Sequence[str]], taken: set[int], file_name: str) -> None:
    """A column of channel names beside one of numbers, under other words: what it is can be seen, but is not said."""
    if not rows or dialect.width > _MOST_COLUMNS:
        return
    free = [n for n in range(dialect.width) if n not in taken]
    for n in free:
        cells = [row[n] for row in rows if row[n]]
        names = set(cells)
        if not _holds_names(cells) or len(names) < _LEAST_NAMES:
            continue
        known = [name for name in names if len(name) > 2 and _channels(name)]
        if len(known) < max(_LEAST_NAMES, 0.8 * len(names)):
            continue
        if not any(_share_of_values([row[other] for row in rows]) > 0.5 for other in free if other != n):
            continue
        shown = ", ".join(sorted(known)[:3])
        raise InputRefused(
            f"column {dialect.names[n]!r} holds names of channels ({shown}): this looks like long format, one value a "
            "row, but the header does not say so",
            where=file_name,
            expected="a header such as Time,Channel,Value, where each row holds one value",
            to_do=f"rename {dialect.names[n]!r} to 'Channel' and the column of its values to 'Value'",
        )
