"""The fast path: a clean table goes through a typed parser, some megabytes at a time.

Clean means: every row has as many cells as the header, every cell of a number column is a number, nothing is quoted.
Each of these is checked on the bytes or on the result, never assumed, because the parser pads short rows, keeps blank
lines and reads infinity without a word. Whatever fails a check is left to the careful path.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import polars as pl

from ridelog.readers import naming
from ridelog.readers.dialect import Dialect, is_time, split_line
from ridelog.readers.numbers import parse_column
from ridelog.readers.textfile import TextFile
from ridelog.results import FloatArray

BATCH_BYTES = 24 * 1024 * 1024
"""How much text is parsed at a time: what is in memory beside the columns themselves."""

_SAMPLE_ROWS = 300
_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?")
_COMMA = re.compile(r"[+-]?\d*,\d+")

Schema = dict[str, type[pl.Float64 | pl.String]]


def read_fast(text: TextFile, dialect: Dialect, lines: Sequence[str]) -> list[pl.Series] | None:
    """The columns, one a header cell, Float64 or String; None where the careful path has to do it.

    `lines` are the first lines of the file, for a guess at the types; a wrong guess fails the parsing, never the
    values.
    """
    quotes_above = "".join(lines[: dialect.data_line]).count('"')
    rows = text.newlines - dialect.data_line
    if text.quotes != quotes_above or not text.ends_with_newline or rows < 1:
        return None
    sample = [
        split_line(line, dialect.separator) for line in lines[dialect.data_line : dialect.data_line + _SAMPLE_ROWS]
    ]
    decimal_comma = _decimal_comma(sample, dialect.separator)
    schema = _schema(sample, dialect, decimal_comma=decimal_comma is True) if decimal_comma is not None else None
    if schema is None or decimal_comma is None:
        return None
    columns = [_Column(dialect.names[n], kind, rows) for n, kind in enumerate(list(schema.values())[: dialect.width])]
    done = 0
    for block in _blocks(text.path, dialect.data_line):
        frame = _parse(block, schema, dialect.separator, decimal_comma=decimal_comma)
        if frame is None or done + frame.height > rows:
            return None
        for column, part in zip(columns, frame.iter_columns(), strict=False):
            if not column.take(part, done):
                return None
        done += frame.height
    finished = [column.finish() for column in columns] if done == rows else []
    # A blank line parses as a row without one value; the clock's column has none such.
    return finished if any(not column.null_count() for column in finished) else None


def _schema(sample: Sequence[Sequence[str]], dialect: Dialect, *, decimal_comma: bool) -> Schema | None:
    """Types of the columns by the first rows; None where those are not clean. A separator at the end of every row adds
    an empty column."""
    filled = [row for row in sample if any(row)]
    widths = {len(row) for row in filled}
    trailing = widths == {dialect.width + 1} and all(not row[-1] for row in filled)
    if widths != {dialect.width} and not trailing:
        return None
    pattern = _COMMA if decimal_comma else _PLAIN
    schema: Schema = {}
    for column in range(dialect.width):
        cells = [row[column] for row in filled if row[column]]
        number = all(pattern.fullmatch(cell) or _PLAIN.fullmatch(cell) for cell in cells)
        if number and _may_be_thousands(dialect.names[column], cells):
            return None
        if (
            not number
            and not all(is_time(cell) for cell in cells)
            and parse_column(pl.Series("", cells), ".").is_number
        ):
            return None
        schema[f"column_{column}"] = pl.Float64 if number else pl.String
    if trailing:
        schema[f"column_{dialect.width}"] = pl.String
    return schema


def _parse(block: bytes, schema: Schema, separator: str, *, decimal_comma: bool) -> pl.DataFrame | None:
    """Whole lines as a typed table, None where it is not one row a line with every cell in place."""
    try:
        frame = pl.scan_csv(
            block,
            has_header=False,
            separator=separator,
            quote_char=None,
            schema=schema,
            decimal_comma=decimal_comma,
        ).collect()
    except pl.exceptions.PolarsError:
        return None
    # A short row is padded with nulls, so where the last column has none no row was short.
    if frame[:, -1].null_count() and block.count(separator.encode()) != frame.height * (frame.width - 1):
        return None
    # With a decimal comma a dot can only be a sign between thousands, which the parser reads as a decimal sign.
    if decimal_comma and b"." in block:
        return None
    return frame


class _Column:
    """One column as it fills up."""

    def __init__(self, name: str, kind: type[pl.Float64 | pl.String], rows: int) -> None:
        self.large = any(candidate.channel == "engine_rpm" for candidate in naming.candidates(name))
        self.nulls = False
        self.numbers: FloatArray | None = np.empty(rows) if kind is pl.Float64 else None
        self.texts: list[pl.Series] = []

    def take(self, part: pl.Series, at: int) -> bool:
        """Add some rows; False where they are not what a clean table holds."""
        if self.numbers is None:
            self.texts.append(part)
            return True
        if not math.isfinite(float(part.sum() or 0.0)):  # one infinity or NaN makes the sum one
            return False
        if self.large and _odd_thousands(part):
            return False
        self.nulls = self.nulls or bool(part.null_count())
        for piece in part.get_chunks():
            self.numbers[at : at + piece.len()] = piece.to_numpy()
            at += piece.len()
        return True

    def finish(self) -> pl.Series:
        """The whole column, in one piece."""
        if self.numbers is None:
            return pl.concat(self.texts).rechunk()
        column = pl.Series(self.numbers)
        self.numbers = None
        # Nulls passed through numpy as NaN; there were no others, or the sum would have told.
        return column.fill_nan(None) if self.nulls else column


def _blocks(path: Path, skip_lines: int) -> Iterator[bytes]:
    with path.open("rb") as file:
        for _ in range(skip_lines):
            file.readline()
        start, size = file.tell(), path.stat().st_size
        while start < size:
            # Where the batch ends is looked up first, so that its bytes are read once and never copied together.
            file.seek(min(start + BATCH_BYTES, size) - 1)
            file.readline()
            end = file.tell()
            file.seek(start)
            yield file.read(end - start)
            start = end


def _decimal_comma(rows: Sequence[Sequence[str]], separator: str) -> bool | None:
    """Whether the sample has decimal commas; None where it has both signs, which takes the careful path."""
    if separator == ",":
        return False
    commas = any(_COMMA.fullmatch(cell) for row in rows for cell in row)
    dots = any("." in cell and _PLAIN.fullmatch(cell) for row in rows for cell in row)
    return None if commas and dots else commas


def _may_be_thousands(name: str, cells: Sequence[str]) -> bool:
    dotted = [cell for cell in cells if "." in cell or "," in cell]
    large = any(candidate.channel == "engine_rpm" for candidate in naming.candidates(name))
    return bool(dotted) and large and all(re.fullmatch(r"\d{1,3}[.,]\d{3}", cell) for cell in dotted)


def _odd_thousands(column: pl.Series) -> bool:
    """Engine speeds such as 8.5 between ones such as 950: perhaps 8.500 meant thousands."""
    top = column.max()
    if not isinstance(top, float) or top <= 20.0:
        return False
    small = column.filter((column > 0.0) & (column < 20.0))
    return bool((small != small.floor()).any())
