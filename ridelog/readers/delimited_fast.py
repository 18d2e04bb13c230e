"""The fast path: a clean table goes through a typed parser, some megabytes at a time.

Clean means: every row has as many cells as the header, every cell of a number column is a number, nothing is quoted.
Each of these is checked on the bytes or on the result, never assumed, because the parser pads short rows, keeps blank
lines and reads infinity without a word. Whatever fails a check is left to the careful path.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import polars as pl

from ridelog.readers import naming
from ridelog.readers.dialect import Dialect, is_time, split_line
from ridelog.readers.numbers import parse_column
from ridelog.readers.signs import fits, only_channel, signs_of
from ridelog.readers.textfile import LONGEST_LINE, line_too_long
from ridelog.results import FloatArray

BATCH_BYTES = 8 * 1024 * 1024
"""How much text is parsed at a time: what is in memory beside the columns themselves."""

_SLICE = 256 * 1024
_SAMPLE_ROWS = 300
_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,2})?")
_COMMA = re.compile(r"[+-]?\d*,\d+")
_WHOLE_OR_GROUP = re.compile(r"[+-]?(?:\d+|[1-9]\d{0,2}[.,]\d{3})")

Schema = dict[str, type[pl.Float64 | pl.String]]


def read_fast(path: Path, dialect: Dialect, lines: Sequence[str]) -> list[pl.Series] | None:
    """The columns, one a header cell, Float64 or String; None where the careful path has to do it.

    `lines` are the first lines of the file, for a guess at the types; a wrong guess fails the parsing, never the
    values. Lines end in LF or CR LF, cells are ASCII or UTF-8, or the answer is None.
    """
    sample = [split_line(line, dialect.separator) for line in lines[dialect.data_line :][:_SAMPLE_ROWS]]
    decimal_comma = _decimal_comma(sample, dialect.separator)
    schema = _schema(sample, dialect, decimal_comma=decimal_comma is True) if decimal_comma is not None else None
    if schema is None or decimal_comma is None:
        return None
    columns = []
    for n, kind in enumerate(list(schema.values())[: dialect.width]):
        cells = [row[n] for row in sample if any(row) and row[n]]
        columns.append(_Column(kind, dialect.names[n], dialect.units[n], open_=_open(cells)))
    done = 0
    for frame, share in _frames(path, dialect, schema, decimal_comma=decimal_comma):
        if frame is None:
            return None
        done += frame.height
        expected = int(done / share * 1.02) + 16
        for column, part in zip(columns, frame.iter_columns(), strict=False):
            if not column.take(part, done, expected):
                return None
    if any(column.doubtful() for column in columns):
        return None
    finished = [column.finish(done) for column in columns] if done else []
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
        if number and _may_be_thousands(cells, dialect.names[column], dialect.units[column], comma=decimal_comma):
            return None
        if (
            not number
            and not all(is_time(cell) for cell in cells)
            and (_many_numbers(cells) or parse_column(pl.Series("", cells), ".").is_number)
        ):
            return None
        schema[f"column_{column}"] = pl.Float64 if number else pl.String
    if trailing:
        schema[f"column_{dialect.width}"] = pl.String
    return schema


def _many_numbers(cells: Sequence[str]) -> bool:
    """Numbers among words: what the words are is looked at one by one."""
    return sum(_PLAIN.fullmatch(cell) is not None for cell in cells) > 0.2 * len(cells)


def _frames(
    path: Path, dialect: Dialect, schema: Schema, *, decimal_comma: bool
) -> Iterator[tuple[pl.DataFrame | None, float]]:
    """The batches in their order with the share of the file read so far; None where one is not clean.

    Each is parsed while its bytes are looked over and the one before is put away.
    """
    with ThreadPoolExecutor(1) as ahead:
        waiting: tuple[Future[pl.DataFrame | None], int, float] | None = None
        for block, share in _blocks(path, dialect.data_line):
            parsing = ahead.submit(_parse, block, schema, dialect.separator, decimal_comma=decimal_comma)
            rows = _rows(block)
            del block
            if waiting is not None:
                yield _checked(*waiting)
            waiting = (parsing, rows, share)
        if waiting is not None:
            yield _checked(*waiting)


def _checked(parsing: Future[pl.DataFrame | None], rows: int, share: float) -> tuple[pl.DataFrame | None, float]:
    frame = parsing.result()
    return (frame if frame is not None and frame.height == rows else None), share


def _rows(block: bytes) -> int:
    """Lines of a block, -1 where it holds what a clean table does not: a quotation mark, a zero byte, odd line ends."""
    if block.find(b'"') >= 0 or block.find(b"\0") >= 0 or not block.endswith(b"\n"):
        return -1
    rows = _line_ends(block)
    if block.find(b"\r") >= 0 and not block.count(b"\r") == block.count(b"\r\n") == rows:
        return -1
    return rows


def _line_ends(block: bytes) -> int:
    # A third of what `bytes.count` takes, which stops at every one of them.
    signs = np.frombuffer(block, np.uint8)
    return sum(int(np.count_nonzero(signs[at : at + _SLICE] == ord("\n"))) for at in range(0, signs.size, _SLICE))


def _parse(block: bytes, schema: Schema, separator: str, *, decimal_comma: bool) -> pl.DataFrame | None:
    """Whole lines as a typed table, None where a cell is not what its column holds."""
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

    def __init__(self, kind: type[pl.Float64 | pl.String], name: str, unit: str | None, *, open_: bool) -> None:
        self.channel, self.unit = only_channel(naming.candidates(name)), unit
        # Parts of the values that tell, where the first cells left it open, whether 1.050 means 1050.
        self.open = open_
        self.fractions = False
        self.top = self.top_whole = 0.0
        self.nulls = False
        self.numbers: FloatArray | None = np.empty(0) if kind is pl.Float64 else None
        self.texts: list[pl.Series] = []

    def take(self, part: pl.Series, end: int, expected: int) -> bool:
        """Add rows that end at `end`, room being made for `expected`; False where they are not what a clean table
        holds."""
        if self.numbers is None:
            self.texts.append(part)
            return True
        if not math.isfinite(float(part.sum() or 0.0)):  # one infinity or NaN makes the sum one
            return False
        if self.open and part.null_count() < part.len():
            self._look(part)
        self.nulls = self.nulls or bool(part.null_count())
        at = end - part.len()
        if self.numbers.size < end:
            # Not `resize`, which would write zeros into all of the new room first.
            larger = np.empty(max(end, expected))
            larger[:at] = self.numbers[:at]
            self.numbers = larger
        for piece in part.get_chunks():
            self.numbers[at : at + piece.len()] = piece.to_numpy()
            at += piece.len()
        return True

    def _look(self, part: pl.Series) -> None:
        whole = part == part.floor()
        if not whole.all():
            self.fractions = True
            self.top = max(self.top, _size(part))
            part = part.filter(whole)
        self.top_whole = max(self.top_whole, _size(part))

    def doubtful(self) -> bool:
        """May a sign taken for a decimal one have stood between thousands? The careful path then looks at the texts."""
        if not self.fractions:
            return False
        return 100.0 <= self.top_whole < 1000.0 or not fits(self.channel, self.unit, max(self.top, self.top_whole))

    def finish(self, rows: int) -> pl.Series:
        """The whole column, in one piece."""
        if self.numbers is None:
            return pl.concat(self.texts).rechunk()
        self.numbers.resize(rows, refcheck=False)
        column = pl.Series(self.numbers)
        self.numbers = None
        # Nulls passed through numpy as NaN; there were no others, or the sum would have told.
        return column.fill_nan(None) if self.nulls else column


def _blocks(path: Path, skip_lines: int) -> Iterator[tuple[bytes, float]]:
    """Some megabytes of whole lines at a time, with the share (0..1) of the data read when they are done."""
    with path.open("rb") as file:
        for _ in range(skip_lines):
            file.readline()
        first, size = file.tell(), path.stat().st_size
        start = first
        while start < size:
            # Where the batch ends is looked up first, so that its bytes are read once and never copied together.
            file.seek(min(start + BATCH_BYTES, size) - 1)
            if len(file.readline(LONGEST_LINE)) == LONGEST_LINE:
                raise line_too_long()
            end = file.tell()
            file.seek(start)
            yield file.read(end - start), (end - first) / (size - first)
            start = end


def _decimal_comma(rows: Sequence[Sequence[str]], separator: str) -> bool | None:
    """Whether the sample has decimal commas; None where it has both signs, which takes the careful path."""
    if separator == ",":
        return False
    commas = any(_COMMA.fullmatch(cell) for row in rows for cell in row)
    dots = any("." in cell and _PLAIN.fullmatch(cell) for row in rows for cell in row)
    return None if commas and dots else commas


def _may_be_thousands(cells: Sequence[str], name: str, unit: str | None, *, comma: bool) -> bool:
    """Do the first cells show groups of three digits that the parser would take for decimals?"""
    channel = only_channel(naming.candidates(name))
    signs = signs_of(pl.Series(cells, dtype=pl.String), "," if comma else ".", channel, unit)
    return signs.groups("," if comma else ".")


def _size(part: pl.Series) -> float:
    """The largest absolute value, 0 where there is none."""
    return max(float(part.max() or 0.0), -float(part.min() or 0.0))  # type: ignore[arg-type]


def _open(cells: Sequence[str]) -> bool:
    """Do the first cells leave open whether a sign in a later one is decimal? One that can only be so settles it."""
    return all(_WHOLE_OR_GROUP.fullmatch(cell) for cell in cells)
