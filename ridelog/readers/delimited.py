"""Delimited text: rows of values split by comma, semicolon, tab or |, under a line of column names."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers import textfile
from ridelog.readers.base import HEAD_BYTES, ReadOptions, Sniff
from ridelog.readers.delimited_careful import read_careful
from ridelog.readers.delimited_fast import read_fast
from ridelog.readers.dialect import SEPARATORS, Dialect, find_header, is_time, is_value, read_dialect, split_line
from ridelog.readers.foreign import looks_binary, refuse_foreign
from ridelog.readers.long_layout import find_layout
from ridelog.readers.numbers import parse_column
from ridelog.readers.parsed_column import told
from ridelog.readers.time_per_signal import on_one_axis
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading


class DelimitedReader:
    """CSV and its relatives, in any encoding, dialect and order of columns."""

    name = "delimited"
    description = reading.TABLE_OF_TEXT
    endings = (".csv", ".tsv", ".txt", ".log", ".dat")

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002 - the content decides
        """Sure of a header with known names; willing where rows of values repeat, so that the refusal can be
        precise."""
        if looks_binary(head):
            return Sniff(0.0, "the bytes are not text")
        text = textfile.decode_head(head)
        if text.lstrip().startswith("<") and any(mark in text for mark in ("<?xml", "</", "/>")):
            return Sniff(0.0, "it is XML, not a table")
        lines = textfile.lines_of(text)[:1000]
        header = find_header(lines)
        if header is not None and header.known >= 2:
            return Sniff(0.9, f"line {header.line + 1} names {header.known} known columns")
        if header is not None:
            return Sniff(0.7, f"line {header.line + 1} looks like column names")
        rows = [split_line(line, sep) for line in lines[:200] if line.strip() for sep in SEPARATORS if sep in line]
        values = sum(len(row) > 1 and all(is_value(cell) for cell in row if cell) for row in rows)
        if values and values > 0.3 * len(rows):
            return Sniff(0.6, "there are rows of values, but no line names the columns")
        return Sniff(0.0, "no line names columns, and no rows of values follow each other")

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """The one table of the file. Raises InputRefused, LimitExceeded."""
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
        refuse_foreign(head, options.file_name)
        if looks_binary(head):
            raise InputRefused(
                "the bytes are not text", where=options.file_name, expected="a table as text", to_do="check the file"
            )
        log = self._read_clean(path, head, options) or self._read_careful(path, options)
        if not log.height:
            raise InputRefused(
                "there is a header but not one row of values",
                where=options.file_name,
                expected="rows under the header",
                to_do="check that the recording was started; copy the log again",
            )
        return [on_one_axis(log, options.file_name)]

    def _read_clean(self, path: Path, head: bytes, options: ReadOptions) -> RawLog | None:
        """The table by the fast path, None where it is not clean enough for that."""
        if textfile.guess_utf16(head) or b"\0" in head:
            return None
        lines = textfile.lines_of(textfile.decode_head(head))
        if len(head) == HEAD_BYTES:
            lines = lines[:-1]
        dialect = self._dialect(lines, options)
        if find_layout(dialect, lines, options.file_name, options.named_columns) is not None:
            return None
        above = b"".join(head.splitlines(keepends=True)[: dialect.data_line])
        columns = read_fast(path, dialect, lines)
        if columns is None:
            return None
        notes = [] if textfile.is_utf8(above) else [textfile.WINDOWS_1252]
        notes.extend(_layout_notes(dialect))
        height = columns[0].len()
        _check_rows(height, options)
        done: list[RawColumn] = []
        while columns:
            values = columns.pop(0)
            name, unit = dialect.names[len(done)], dialect.units[len(done)]
            if values.dtype == pl.String and not all(is_time(cell) for cell in values.drop_nulls().head(50).to_list()):
                parsed = parse_column(values, ".")
                notes.extend(told(parsed, name, None))
                values = parsed.values
            done.append(RawColumn(name, unit, values.alias(name)))
        return RawLog(self.name, tuple(done), height, (), dialect.data_line + 1, tuple(notes))

    def _read_careful(self, path: Path, options: ReadOptions) -> RawLog:
        with textfile.opened(path) as text:
            lines = text.first_lines(HEAD_BYTES)
            dialect = self._dialect(lines, options)
            layout = find_layout(dialect, lines, options.file_name, options.named_columns)
            _check_rows(text.newlines - dialect.data_line, options)
            table = read_careful(text, dialect, options.file_name, options.limits, layout)
            notes = (*text.notes, *_layout_notes(dialect), *table.notes)
        first = int(table.lines[0]) if table.lines is not None else dialect.data_line + 1
        return RawLog(self.name, table.columns, table.rows_in, table.breaks, first, notes, table.lines)

    @staticmethod
    def _dialect(lines: list[str], options: ReadOptions) -> Dialect:
        return read_dialect(lines, options.file_name, options.limits, options.named_columns)


def _check_rows(rows: int, options: ReadOptions) -> None:
    if rows > options.limits.max_rows:
        raise options.limits.exceeded("max_rows", f"the file has {rows:,} rows", where=options.file_name)


def _layout_notes(dialect: Dialect) -> list[Note]:
    notes: list[Note] = []
    if dialect.header_line:
        # What stands there may name people and places, so it is counted, never shown.
        notes.append(Note("preamble", reading.PREAMBLE, rows=dialect.header_line))
    if dialect.units_text is not None:
        notes.append(Note("units_row", reading.UNITS_ROW))
    if dialect.mended:
        notes.append(Note("mended_names", reading.MENDED_NAMES))
    return notes
