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
_LOOK_LINES = 400
"""How far down a header is looked for."""

_NUMBER = re.compile(r"[+\-−]?(?:\d[\d.,' ]*|\.\d+)(?:[eE][+-]?\d+)?")
_TIMEISH = re.compile(r"\d{1,4}[:./-]\d{1,2}[:./-]?[\dT .,:Z+-]*")
_COMMENT = ("#", "//", "%")


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
    if '"' in line and line.count('"') % 2 == 0:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    return [cell.strip() for cell in line.split(separator)]


def is_number(cell: str) -> bool:
    """True for what looks like a number in any locale."""
    return _NUMBER.fullmatch(cell.strip().strip('"')) is not None


def is_value(cell: str) -> bool:
    """True for a number, a time or a date."""
    cell = cell.strip().strip('"')
    return _NUMBER.fullmatch(cell) is not None or _TIMEISH.fullmatch(cell) is not None


def find_header(lines: Sequence[str], named: Sequence[str] = ()) -> Header | None:
    """The line that names the columns, or None. `named` are further names to know (the user's own)."""
    wanted = {fold(name) for name in named}
    best: tuple[float, float, int] | None = None
    found: Header | None = None
    for separator in SEPARATORS:
        split = [split_line(line, separator) for line in lines[:_LOOK_LINES]]
        widths = [len(_trim(cells)) for cells in split]
        for index, cells in enumerate(split):
            if len(cells) < 2 or lines[index].lstrip().startswith('"#'):
                continue
            bare = list(cells)
            bare[0] = bare[0].lstrip("#").strip()
            filled = [cell for cell in bare if cell]
            if not filled or sum(is_value(cell) for cell in filled) > 0.3 * len(filled):
                continue
            split_names = [naming.split_unit(naming.mend(cell)) for cell in bare]
            known = sum(
                bool(naming.candidates(name)) or fold(name) in wanted or fold(cell) in wanted
                for (name, _), cell in zip(split_names, bare, strict=True)
            )
            fit = _fit_below(split, widths, index, len(_trim(cells)))
            if known < 2 and not (known == 1 and fit > 0.5) and fit < 0.8:
                continue
            rank = (known + fit, fit, -index)
            if best is None or rank > best:
                best, found = rank, Header(index, separator, tuple(bare), known)
    return found


def _trim(cells: Sequence[str]) -> Sequence[str]:
    return cells[:-1] if cells and not cells[-1] else cells


def _fit_below(split: list[list[str]], widths: list[int], index: int, width: int) -> float:
    """Share (0..1) of the next lines that hold values in as many cells as the header has."""
    below = [row for row in range(index + 1, min(index + 41, len(split))) if any(split[row])]
    if not below:
        return 0.0
    fitting = 0
    for row in below:
        cells = [cell for cell in split[row] if cell]
        values = sum(is_value(cell) for cell in cells)
        fitting += widths[row] in (width, width - 1) and values >= 0.4 * len(cells)
    return fitting / len(below)


def read_dialect(lines: Sequence[str], file_name: str, limits: Limits, named: Sequence[str] = ()) -> Dialect:
    """The layout of a text from its first lines. Raises InputRefused where no line names columns."""
    header = find_header(lines, named)
    if header is None:
        raise _no_header(lines, file_name)
    cells = list(header.cells)
    if len(cells) > 2 and not cells[-1]:
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
            for column, text in enumerate(below):
                text = naming.mend(text).strip().strip("[](){}").strip()
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
