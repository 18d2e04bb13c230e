"""The ignition table of one map: degrees before top dead centre over engine speed and throttle.

Two forms: a file of comma (semicolon, tab) separated values whose first row holds throttle in % and whose first column
holds engine speed in 1/min, and the same figures as a table of the bike file, which is how a library keeps them.
"""

from __future__ import annotations

import csv
import io
import itertools
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ridelog import profile_file
from ridelog.errors import ProfileError
from ridelog.profile_file import Table

RPM_RANGE = (0.0, 20_000.0)
THROTTLE_RANGE = (0.0, 100.0)
ADVANCE_RANGE = (-20.0, 60.0)
"""What can stand in a table. Common practice, no source: more than 60 degrees is no ignition advance of any engine."""

MOST = 64
"""Rows, and columns, of a table at most: two such tables still fit into a bike file."""

_NUMBER = re.compile(r"[+-]?\d+([.,]\d+)?")

_FORM = "a first row of throttle openings in %, then rows of an engine speed in 1/min and its degrees"


@dataclass(frozen=True)
class IgnitionTable:
    """`advance_deg[i][j]` holds at `rpm[i]` and `throttle_pct[j]`; both rise one by one."""

    rpm: tuple[float, ...]
    throttle_pct: tuple[float, ...]
    advance_deg: tuple[tuple[float, ...], ...]

    def as_toml(self) -> str:
        """The table as an inline table of TOML."""
        rows = ",\n".join("  " + _listed(row) for row in self.advance_deg)
        return (
            f"{{ throttle_pct = {_listed(self.throttle_pct)}, rpm = {_listed(self.rpm)}, advance_deg = [\n{rows},\n] }}"
        )


def _listed(values: Sequence[float]) -> str:
    return "[" + ", ".join(f"{value:g}" if float(f"{value:g}") == value else repr(value) for value in values) + "]"


def read_file(path: Path) -> IgnitionTable:
    """The table in a file. Raises ProfileError with file, row and column."""
    return parse_csv(profile_file.read_text(path, what="a table of separated values"), path.name)


def parse_csv(text: str, where: str) -> IgnitionTable:
    """The table in a text of separated values. Empty lines, and lines that start with `#`, are passed over."""
    lines = [
        (number, line)
        for number, line in enumerate(io.StringIO(text, newline=None), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(lines) < 3:
        raise _error(where, f"has {len(lines)} lines of figures", f"{_FORM}, two rows at least")
    separator = max(";\t,", key=lines[0][1].count)
    rows = [(number, _cells(where, number, line, separator)) for number, line in lines]
    first, head = rows[0]
    if len(head) > 2 and not head[-1]:
        # A spreadsheet may end every row with a separator.
        rows = [(number, cells[:-1] if cells and not cells[-1] else cells) for number, cells in rows]
        head = rows[0][1]
    throttle = _figures(f"{where}, row {first}", _numbered(head)[1:], THROTTLE_RANGE, "% of throttle")
    speeds: list[float] = []
    degrees = []
    for number, cells in rows[1:]:
        if len(cells) != len(head):
            raise _error(
                f"{where}, row {number}",
                f"has {len(cells)} cells, the first row {len(head)}",
                "a cell for every throttle opening of the first row",
            )
        place, (speed, *angles) = f"{where}, row {number}", _numbered(cells)
        speeds += _figures(place, [speed], RPM_RANGE, "1/min")
        degrees.append(_figures(place, angles, ADVANCE_RANGE, "degrees before top dead centre"))
    _check_size(where, len(throttle), len(speeds))
    _check_rising(f"{where}, row {first}", "throttle openings", throttle)
    _check_rising(f"{where}, column 1", "engine speeds", speeds)
    return IgnitionTable(tuple(speeds), throttle, tuple(degrees))


def _cells(where: str, row: int, line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line.rstrip("\n")], delimiter=separator))]
    except csv.Error as error:
        raise _error(f"{where}, row {row}", f"can't be read ({error})", _FORM) from error


def _numbered(cells: list[str]) -> list[tuple[int, str]]:
    return list(enumerate(cells, 1))


def _figures(place: str, cells: list[tuple[int, str]], bounds: tuple[float, float], unit: str) -> tuple[float, ...]:
    """The numbers of some cells, each with its column. `place` names file and row."""
    low, high = bounds
    numbers = []
    for column, text in cells:
        number = float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else math.nan
        if not low <= number <= high:
            raise _error(
                f"{place}, column {column}",
                f"{text[:30]!r} is no figure that can stand there" if text else "there is no figure",
                f"{low:g} to {high:g} {unit}",
            )
        numbers.append(number)
    return tuple(numbers)


def parse_table(table: Table, key: str) -> IgnitionTable:
    """The table under a key of the bike file. Raises ProfileError that names the key."""
    inner = table.table(key)
    lacking = [name for name in ("throttle_pct", "rpm", "advance_deg") if not inner.has(name)]
    if lacking:
        raise inner.fail(lacking[0], "is missing", "throttle_pct, rpm and advance_deg")
    throttle = inner.numbers("throttle_pct", (), *THROTTLE_RANGE, "%")
    speeds = inner.numbers("rpm", (), *RPM_RANGE, "1/min")
    rows = inner.raw("advance_deg")
    inner.close()
    if not isinstance(rows, list) or len(rows) != len(speeds):
        found = f"has {len(rows)} rows" if isinstance(rows, list) else f"is {rows!r}"
        raise inner.fail("advance_deg", found, f"a list of degrees for each of the {len(speeds)} engine speeds")
    low, high = ADVANCE_RANGE
    degrees = []
    for number, row in enumerate(rows, 1):
        if not isinstance(row, list) or len(row) != len(throttle):
            found = f"row {number} has {len(row)} figures" if isinstance(row, list) else f"row {number} is {row!r}"
            raise inner.fail("advance_deg", found, f"one for each of the {len(throttle)} throttle openings")
        for column, value in enumerate(row, 1):
            fits = isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
            if not fits:
                raise inner.fail(
                    "advance_deg",
                    f"row {number}, column {column} is {value!r}",
                    f"{low:g} to {high:g} degrees before top dead centre",
                )
        degrees.append(tuple(float(value) for value in row))
    where = f"{table.where}, {key}"
    _check_size(where, len(throttle), len(speeds))
    _check_rising(where, "throttle openings", throttle)
    _check_rising(where, "engine speeds", speeds)
    return IgnitionTable(speeds, throttle, tuple(degrees))


def _check_size(where: str, columns: int, rows: int) -> None:
    if not (2 <= columns <= MOST and 2 <= rows <= MOST):
        raise _error(
            where,
            f"has {rows} engine speeds and {columns} throttle openings",
            f"two of each at least, {MOST} at most",
        )


def _check_rising(where: str, what: str, values: Sequence[float]) -> None:
    for before, after in itertools.pairwise(values):
        if after <= before:
            raise _error(where, f"{what} go from {before:g} to {after:g}", "values that rise one by one")


def _error(where: str, found: str, expected: str) -> ProfileError:
    return ProfileError(found, where=where, expected=expected, to_do="correct the table")
