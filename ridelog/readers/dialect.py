"""How a delimited text is laid out: separator, header line, units, where the data begin."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ridelog.errors import InputRefused
from ridelog.readers import naming
from ridelog.readers.limits import Limits
from ridelog.units import fold

SEPARATORS = ("\t", ";", ",", "|")
_LONGEST_QUOTED = 100_000
"""A longer line is split as it is: the csv module takes no cell over 131,072 characters."""

_LOOK_LINES = 400
"""How far down a header is looked for."""

_NUMBER = re.compile(r"[+\-−]?(?:\d[\d.,' ]*|\.\d+)(?:[eE][+-]?\d+)?")
_TIMEISH = re.compile(r"\d{1,4}[:./-]\d{1,2}[:./-]?[\dT .,:Z+-]*")
_COMMENT = ("#", "//", "%")
_DIGITS = frozenset("0123456789+-.−")


@dataclass(frozen=True)
class Header:
    """A header line found: its index among all lines, its cells as they are, and how many of them a table knows."""

    line: int
    separator: str
    cells: tuple[str, ...]
    known: int


@dataclass(frozen=True)
class Dialect:
    """The layout of one table. `names` and `units` have one entry a column; `data_line` is the index of the first line
    under the header (and the row of units, where there is one); `mended` tells that names were saved in the wrong
    encoding and put right."""

    separator: str
    header_line: int
    header_text: str
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    units_text: str | None
    data_line: int
    mended: bool

    @property
    def width(self) -> int:
        """Number of columns."""
        return len(self.names)


def split_line(line: str, separator: str) -> list[str]:
    """The cells of one line; quotation marks count only where they come in pairs."""
    if '"' in line and line.count('"') % 2 == 0 and len(line) < _LONGEST_QUOTED:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    return [cell.strip() for cell in line.split(separator)]


def is_number(cell: str) -> bool:
    """True for what looks like a number in any locale."""
    return _NUMBER.fullmatch(cell.strip().strip('"')) is not None


def is_time(cell: str) -> bool:
    """True for a clock time, or a date with or without one."""
    return _TIMEISH.fullmatch(cell.strip().strip('"')) is not None


def is_value(cell: str) -> bool:
    """True for a number, a time or a date."""
    cell = cell.strip().strip('"')
    return _NUMBER.fullmatch(cell) is not None or _TIMEISH.fullmatch(cell) is not None


def find_header(lines: Sequence[str], named: Sequence[str] = ()) -> Header | None:
    """The line that names the columns, or None. `named` are further names to know (the user's own)."""
    wanted = {fold(name) for name in named}
    found: list[tuple[float, Header]] = []
    for separator in SEPARATORS:
        rows = _Rows([split_line(line, separator) for line in lines[:_LOOK_LINES]])
        for index, cells in enumerate(rows.cells):
            if len(cells) < 2:
                continue
            bare = [cells[0].lstrip("#").strip(), *cells[1:]]
            filled = [cell for cell in bare if cell]
            # A row of values, also one split at the wrong sign, has cells that begin like numbers; a header has few.
            if not filled or sum(cell[0] in _DIGITS for cell in filled) > 0.3 * len(filled):
                continue
            known = max(sum(_is_known(cell, wanted) for cell in bare), _long_known(bare))
            fit = rows.fit_below(index, len(_trim(cells)))
            if known >= 2 or (known == 1 and fit > 0.5) or fit >= 0.8:
                found.append((fit, Header(index, separator, tuple(bare), known)))
    if not found:
        return None
    _, best = max(found, key=lambda one: (one[1].known + one[0], one[0], -one[1].line))
    # A later header may fit its rows better only because the rows under the first one end at it.
    earlier = [
        header
        for other, header in found
        if header.separator == best.separator and other >= 0.5 and header.known >= max(2.0, 0.6 * best.known)
    ]
    return min([best, *earlier], key=lambda header: header.line)


def _is_known(cell: str, wanted: set[str]) -> bool:
    name, _ = naming.split_unit(naming.mend(cell))
    return bool(naming.candidates(name)) or fold(name) in wanted or fold(cell) in wanted


def _long_known(cells: Sequence[str]) -> int:
    """Known names of a header of the long format; 0 where it lacks one of time, channel and value."""
    names = [naming.split_unit(naming.mend(cell))[0] for cell in cells]
    roles = [naming.long_role(name) for name in names]
    if not {"channel", "value"} <= set(roles):
        return 0
    times = sum(any(one.channel in ("time", "date") for one in naming.candidates(name)) for name in names)
    return times + sum(role is not None for role in roles) if times else 0


def _trim(cells: Sequence[str]) -> Sequence[str]:
    return cells[:-1] if cells and not cells[-1] else cells


class _Rows:
    """The first lines of a file split by one separator, and how well rows of values fit a header above them."""

    def __init__(self, cells: list[list[str]]) -> None:
        self.cells = cells
        self._shape: dict[int, tuple[int, bool] | None] = {}

    def _row(self, index: int) -> tuple[int, bool] | None:
        """Width of a line and whether it holds values; None for a blank one."""
        if index not in self._shape:
            cells = self.cells[index]
            filled = [cell for cell in cells if cell]
            values = sum(is_value(cell) for cell in filled)
            self._shape[index] = (len(_trim(cells)), values >= 0.4 * len(filled)) if filled else None
        return self._shape[index]

    def fit_below(self, index: int, width: int) -> float:
        """Share (0..1) of the next lines that hold values in as many cells as the header has."""
        below = [row for at in range(index + 1, min(index + 41, len(self.cells))) if (row := self._row(at)) is not None]
        return sum(has in (width, width - 1) and values for has, values in below) / len(below) if below else 0.0


def read_dialect(lines: Sequence[str], file_name: str, limits: Limits, named: Sequence[str] = ()) -> Dialect:
    """The layout of a text from its first lines. Raises InputRefused where no line names columns."""
    header = find_header(lines, named)
    if header is None:
        raise _no_header(lines, file_name)
    cells = list(header.cells)
    if len(cells) > 2 and not cells[-1] and not _filled_below(lines, header, len(cells) - 1):
        cells = cells[:-1]
    if len(cells) > limits.max_columns:
        raise limits.exceeded("max_columns", f"the header names {len(cells):,} columns", where=file_name)
    mended_cells = [naming.mend(cell) for cell in cells]
    pairs = [naming.split_unit(cell) for cell in mended_cells]
    names = [name for name, _ in pairs]
    units = [unit for _, unit in pairs]
    data_line, units_text = header.line + 1, None
    while data_line < len(lines) and not lines[data_line].strip():
        data_line += 1
    if data_line < len(lines):
        below = split_line(lines[data_line], header.separator)[: len(cells)]
        if _is_units_row(below, len(cells)):
            units_text = lines[data_line]
            below += [""] * (len(cells) - len(below))
            for column, cell in enumerate(below):
                text = naming.mend(cell).strip().strip("[](){}").strip()
                if units[column] is None and text:
                    units[column] = text
            data_line += 1
    return Dialect(
        separator=header.separator,
        header_line=header.line,
        header_text=lines[header.line],
        names=tuple(name if name else f"column {number + 1}" for number, name in enumerate(names)),
        units=tuple(units),
        units_text=units_text,
        data_line=data_line,
        mended=mended_cells != cells,
    )


def _filled_below(lines: Sequence[str], header: Header, column: int) -> bool:
    """Does a column without a name hold anything? If not, it is only a separator at the end of the lines."""
    rows = (split_line(line, header.separator) for line in lines[header.line + 1 : header.line + 200])
    return any(len(row) > column and row[column] for row in rows)


def _is_units_row(cells: Sequence[str], width: int) -> bool:
    filled = [naming.mend(cell) for cell in cells if cell]
    if not filled or len(cells) < width - 1 or any(is_number(cell) for cell in filled if cell not in ("1", "-")):
        return False
    units = sum(naming.is_unit(cell) for cell in filled)
    short = sum(len(cell) <= 10 for cell in filled)
    return units >= 1 and short == len(filled) and units >= 0.4 * len(filled)


def _no_header(lines: Sequence[str], file_name: str) -> InputRefused:
    filled = [line for line in lines if line.strip() and not line.lstrip().startswith(_COMMENT)]
    if not filled:
        return InputRefused("no line holds anything", where=file_name, expected="a header and rows of values",
                            to_do="copy the log again")  # fmt: skip
    numeric = [
        line
        for line in filled[:200]
        for separator in SEPARATORS
        if len(split_line(line, separator)) > 1 and all(is_value(c) for c in split_line(line, separator) if c)
    ]
    if len(numeric) > 0.5 * len(filled[:200]):
        return InputRefused(
            "there are rows of values but no line that names the columns",
            where=file_name,
            expected="a header line such as Time [s],Coolant temp [C],Engine speed [rpm]",
            to_do="add a header line on top; which column is which is never guessed from its place",
        )
    return InputRefused(
        "no line names columns of a log",
        where=file_name,
        expected="a header line with a column of times, columns split by comma, semicolon, tab or |",
        to_do="check that this is the log; if its column names are unusual, name them: --column 'NAME=time:s' "
        "--column 'NAME=coolant_c:C'",
    )
