"""The fast path: a clean table goes through one typed scan.

Clean means: every row has as many cells as the header, every cell of a number column is a number, nothing is quoted.
Each of these is checked on the bytes or on the result, never assumed, because the scan pads short rows, keeps blank
lines and reads infinity without a word. Whatever fails a check is left to the careful path.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from pathlib import Path

import polars as pl

from ridelog.readers import naming
from ridelog.readers.dialect import Dialect, split_line
from ridelog.readers.textfile import TextFile

_BLOCK = 4 * 1024 * 1024
_SAMPLE_ROWS = 300
_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?")
_COMMA = re.compile(r"[+-]?\d*,\d+")


def read_fast(text: TextFile, dialect: Dialect, lines: Sequence[str]) -> pl.DataFrame | None:
    """The table, one column a header cell, Float64 or String; None where the careful path has to do it.

    `lines` are the first lines of the file, for a guess at the types; a wrong guess fails the scan, never the values.
    """
    if text.quotes and (text.quotes != "".join(lines[: dialect.data_line]).count('"')):
        return None
    rows = [split_line(line, dialect.separator) for line in lines[dialect.data_line : dialect.data_line + _SAMPLE_ROWS]]
    rows = [row for row in rows if any(row)]
    if not rows:
        return None
    widths = {len(row) for row in rows}
    trailing = widths == {dialect.width + 1} and all(not row[-1] for row in rows)
    if widths != {dialect.width} and not trailing:
        return None
    decimal_comma = _decimal_comma(rows, dialect.separator)
    if decimal_comma is None:
        return None
    schema: dict[str, type[pl.Float64 | pl.String]] = {}
    for column in range(dialect.width):
        cells = [row[column] for row in rows if row[column]]
        pattern = _COMMA if decimal_comma else _PLAIN
        number = all(pattern.fullmatch(cell) or _PLAIN.fullmatch(cell) for cell in cells)
        if number and _may_be_thousands(dialect.names[column], cells):
            return None
        schema[f"column_{column}"] = pl.Float64 if number else pl.String
    if trailing:
        schema[f"column_{dialect.width}"] = pl.String
    columns = len(schema)
    expected = text.newlines - dialect.data_line
    first, separators, dots = _count(text.path, dialect, decimal_comma=decimal_comma)
    if first is None or separators != expected * (columns - 1):
        return None
    if decimal_comma and dots:
        return None
    try:
        frame = pl.scan_csv(
            text.path,
            has_header=False,
            separator=dialect.separator,
            quote_char=None,
            skip_lines=dialect.data_line,
            schema=schema,  # type: ignore[arg-type]
            decimal_comma=decimal_comma,
            glob=False,
        ).collect()
    except pl.exceptions.PolarsError:
        return None
    return frame.select(frame.columns[: dialect.width]) if _holds(frame, dialect, expected) else None


def _holds(frame: pl.DataFrame, dialect: Dialect, expected: int) -> bool:
    """The checks on the result: row count, finite numbers, no unnoticed blank line, no thousands."""
    if frame.height != expected or frame.height == 0:
        return False
    for name, column in zip(itertools.chain(dialect.names, [""]), frame.iter_columns(), strict=False):
        if column.dtype == pl.Float64:
            total = column.sum()  # one infinity or NaN makes the sum one
            if total - total != 0.0:
                return False
            if _is_large(name) and _odd_thousands(column):
                return False
        elif not name and column.null_count() != column.len():
            return False
    return any(column.null_count() == 0 for column in frame.iter_columns())


def _decimal_comma(rows: Sequence[Sequence[str]], separator: str) -> bool | None:
    """Whether the sample has decimal commas; None where it has both signs, which takes the careful path."""
    if separator == ",":
        return False
    commas = any(_COMMA.fullmatch(cell) for row in rows for cell in row)
    dots = any("." in cell and _PLAIN.fullmatch(cell) for row in rows for cell in row)
    return None if commas and dots else commas


def _is_large(name: str) -> bool:
    return any(candidate.channel == "engine_rpm" for candidate in naming.candidates(name))


def _may_be_thousands(name: str, cells: Sequence[str]) -> bool:
    dotted = [cell for cell in cells if "." in cell or "," in cell]
    return bool(dotted) and _is_large(name) and all(re.fullmatch(r"\d{1,3}[.,]\d{3}", cell) for cell in dotted)


def _odd_thousands(column: pl.Series) -> bool:
    """Engine speeds such as 8.5 between ones such as 950: perhaps 8.500 meant thousands."""
    top = column.max()
    if not isinstance(top, float) or top <= 20.0:
        return False
    small = column.filter((column > 0.0) & (column < 20.0))
    return bool((small != small.floor()).any())


def _count(path: Path, dialect: Dialect, *, decimal_comma: bool) -> tuple[int | None, int, int]:
    """Offset of the first data byte (None where it is not found), separators and, if asked, dots from there on."""
    with path.open("rb") as file:
        for _ in range(dialect.data_line):
            file.readline()
        first = file.tell()
        separator = dialect.separator.encode()
        separators = dots = 0
        block = b""
        while more := file.read(_BLOCK):
            block = more
            separators += block.count(separator)
            if decimal_comma:
                dots += block.count(b".")
    if not block.endswith(b"\n"):
        return None, 0, 0
    return first, separators, dots
