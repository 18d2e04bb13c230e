"""The careful path: every line is looked at as text, and whatever is not a plain row is named in a note."""

from __future__ import annotations

import re
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers import naming
from ridelog.readers.dialect import Dialect, is_value, split_line
from ridelog.readers.limits import Limits
from ridelog.readers.long_format import pivot
from ridelog.readers.long_layout import Layout
from ridelog.readers.numbers import file_decimal, parse_column
from ridelog.readers.parsed_column import told, with_unit
from ridelog.readers.signs import only_channel
from ridelog.readers.textfile import TextFile
from ridelog.readers.time_per_signal import signal_groups
from ridelog.ride import Note, RawColumn
from ridelog.words import reading

_RAGGED_SHARE = 0.01
"""More rows than this with a wrong number of cells, and the separator or the decimal sign is in doubt."""

_LOOKED_AT = 5_000


@dataclass(frozen=True)
class Table:
    """A table read with care. `rows_in` counts rows of values in the file, kept or not; `breaks` are row indices."""

    columns: tuple[RawColumn, ...]
    rows_in: int
    breaks: tuple[int, ...]
    notes: tuple[Note, ...]
    lines: npt.NDArray[np.int64] | None = None
    """The file's line of each row, where they do not follow each other."""


def read_careful(
    text: TextFile, dialect: Dialect, file_name: str, limits: Limits, layout: Layout | None = None
) -> Table:
    """The table, with notes; one in long format (`layout`) with one row a time. Raises InputRefused where rows don't
    fit the header."""
    lines = pl.read_lines(text.path).to_series().slice(dialect.data_line)
    if lines.len() > limits.max_rows:
        raise limits.exceeded("max_rows", f"the file has {lines.len():,} rows", where=file_name)
    lines = lines.str.strip_chars_end("\r")
    numbers = pl.int_range(dialect.data_line + 1, dialect.data_line + 1 + lines.len(), eager=True, dtype=pl.UInt32)
    ends_open = not text.ends_with_newline
    sorting = _Sorting(dialect, file_name)
    torn = 0
    if ends_open and _last_quote_is_open(lines):
        # Cut inside a quoted cell: left there, its lone mark would put all quotes of the file in doubt.
        sorting.notes.append(_cut_line(numbers[-1]))
        lines, numbers, torn, ends_open = lines[:-1], numbers[:-1], 1, False
    keep, breaks_at = sorting.sort(lines, numbers)
    kept, kept_numbers = lines.filter(keep), numbers.filter(keep)
    rows_in = kept.len() + sorting.events + torn
    kept = sorting.unpadded(kept, kept_numbers)
    kept, kept_numbers = sorting.fit(kept, kept_numbers)
    if kept.len() and ends_open and sorting.last_may_be_cut(kept, int(kept_numbers[-1]) == int(numbers[-1])):
        _not_short(sorting.notes, f"line {kept_numbers[-1]} ")
        sorting.notes.append(_cut_line(kept_numbers[-1]))
        kept, kept_numbers = kept[:-1], kept_numbers[:-1]
    breaks = tuple(
        sorted({row for line in breaks_at if 0 < (row := int((kept_numbers < line).sum())) < kept_numbers.len()})
    )
    frame = _split(kept, dialect, quoted=sorting.quoted)
    del lines, kept, keep, numbers  # the texts stand in the frame now; a long log has no room for them twice
    if layout is not None and frame.height:
        long = pivot(frame, kept_numbers, breaks, dialect=dialect, layout=layout, file_name=file_name, limits=limits)
        return Table(long.columns, rows_in, long.breaks, (*sorting.notes, *long.notes), _lines(long.lines))
    columns = _numbers(frame, dialect, kept_numbers, sorting.notes, file_name)
    return Table(tuple(columns), rows_in, breaks, tuple(sorting.notes), _lines(kept_numbers))


def _row_of(cell: str, sign: str) -> str:
    return rf"^{cell}(?:{sign}{cell})*$"


def _not_short(notes: list[Note], line: str) -> None:
    """Take a note on that one line's missing cells back: the line is left out, so nothing of it counts as no value."""

    def told(note: Note) -> bool:
        return note.kind == "short_rows" and note.rows == 1 and (note.example or "").startswith(line)

    notes[:] = [note for note in notes if not told(note)]


def _cut_line(line: int) -> Note:
    return Note(
        "left_out_cut_line",
        reading.CUT_LINE,
        rows=1,
        example=f"line {line}",
    )


def _last_quote_is_open(lines: pl.Series) -> bool:
    """Is the last line the only one whose quotation marks do not come in pairs?"""
    if lines.len() < 2 or str(lines[-1]).count('"') % 2 == 0:
        return False
    return int((lines.str.count_matches('"', literal=True) % 2).sum() or 0) == 1


def _lines(numbers: pl.Series) -> npt.NDArray[np.int64] | None:
    found = numbers.to_numpy().astype(np.int64)
    return None if not found.size or int(found[-1] - found[0]) == found.size - 1 else found


class _Sorting:
    """Decides line by line: a row, a blank, a repeated header, an event, or something to refuse."""

    def __init__(self, dialect: Dialect, file_name: str) -> None:
        self.dialect = dialect
        self.file_name = file_name
        self.notes: list[Note] = []
        self.events = 0
        self.quoted = False

    def sort(self, lines: pl.Series, numbers: pl.Series) -> tuple[pl.Series, list[int]]:
        """Mask of the lines that are rows, and the line numbers at which a new recording begins."""
        separator = self.dialect.separator
        blank = lines.str.strip_chars(' \t\u00a0"' + separator).str.len_bytes() == 0
        if blank.any():
            self.notes.append(Note("blank_lines", reading.BLANK_LINES, rows=int(blank.sum() or 0)))
        wordy = lines.str.contains(r"^[\s\"]*(?:[#%]|//|[^\W\d_])") & ~blank
        breaks: list[int] = []
        drop = blank
        if int(wordy.sum() or 0) > 0:
            kinds = self._kinds(lines, numbers, wordy, breaks)
            drop = drop | kinds
        return ~drop, breaks

    def _kinds(self, lines: pl.Series, numbers: pl.Series, wordy: pl.Series, breaks: list[int]) -> pl.Series:
        texts = lines.filter(wordy)
        distinct = texts.unique(maintain_order=True)
        decided = {text: self._kind(text) for text in distinct.head(_LOOKED_AT).to_list()}
        kind = texts.replace_strict(decided, default="row", return_dtype=pl.String)
        at = numbers.filter(wordy)
        repeated = at.filter(kind == "header")
        if repeated.len():
            self.notes.append(
                Note("repeated_header", reading.REPEATED_HEADER, rows=repeated.len(), example=f"line {repeated[0]}")
            )
            breaks.extend(int(line) for line in repeated.to_list())
        changed = at.filter(kind == "other_header")
        if changed.len():
            raise InputRefused(
                "a second header with other columns stands inside the table",
                where=f"{self.file_name}, row {changed[0]}",
                expected="one header for the whole table",
                to_do=f"split the file above row {changed[0]} and import both parts",
            )
        events = at.filter(kind == "event")
        if events.len():
            self.events = events.len()
            self.notes.append(
                Note("left_out_marker", reading.MARKER_LINES, rows=events.len(),
                     example=f"line {events[0]}")
            )  # fmt: skip
        dropped = at.filter(kind != "row")
        return numbers.is_in(dropped.implode()) if dropped.len() else pl.repeat(value=False, n=lines.len(), eager=True)

    def _kind(self, text: str) -> str:
        stripped = text.strip()
        # A logger started again by other software may write the same names in other letters.
        same = stripped.casefold()
        if same == self.dialect.header_text.strip().casefold():
            return "header"
        if self.dialect.units_text is not None and same == self.dialect.units_text.strip().casefold():
            return "units"
        if re.match(r"\"?(?:#|//|%)", stripped):
            return "event"
        cells = split_line(stripped, self.dialect.separator)
        filled = [cell for cell in cells if cell]
        known = {c.channel for cell in filled for c in naming.candidates(naming.split_unit(naming.mend(cell))[0])}
        if len(known) >= 2 and not any(is_value(cell) for cell in filled):
            return "other_header"
        if len(filled) <= 2 and len(cells) != self.dialect.width and not any(cell[:1].isdigit() for cell in filled):
            return "event"
        return "row"

    def unpadded(self, lines: pl.Series, numbers: pl.Series) -> pl.Series:
        """Decides whether quotation marks enclose cells; blanks around such cells go. The parser takes only marks that
        stand at both ends of a cell, and fails at others: one row of that kind, and all marks are ordinary signs."""
        marked = lines.str.contains('"', literal=True)
        if not marked.any():
            return lines
        rows = marked.arg_true()
        some = lines.gather(rows)  # the others have nothing to look at
        sign = re.escape(self.dialect.separator)
        plain, enclosed = rf'[^"{sign}]*', r'"(?:[^"]|"")*"'
        inside = rf'(?:[^"{sign}](?:[^"{sign}]|"[^"{sign}]*")*)?'
        padded = some.str.contains(_row_of(rf"(?: *{enclosed} *|{plain})", sign))
        wrong = ~padded & ~some.str.contains(_row_of(rf"(?:{enclosed}|{inside})", sign))
        self.quoted = not wrong.any()
        if not self.quoted:
            found = numbers.gather(rows).filter(wrong)
            self.notes.append(
                Note("quotes", reading.LOOSE_QUOTES,
                     rows=found.len(), example=f"line {found[0]}")
            )  # fmt: skip
            return lines
        bare = some.filter(padded).str.replace_all(rf" *({enclosed}) *", "$1")
        return lines.clone().scatter(rows.filter(padded), bare)

    def fit(self, lines: pl.Series, numbers: pl.Series) -> tuple[pl.Series, pl.Series]:
        """Rows that have as many cells as the header; others are padded, left out or refused, and told."""
        width = self.dialect.width
        bare = lines.str.replace_all(r'"[^"]*"', "") if self.quoted else lines
        cells = bare.str.count_matches(self.dialect.separator, literal=True).cast(pl.Int64) + 1
        if not (cells != width).any():
            return lines, numbers
        tail = re.escape(self.dialect.separator)
        empty_tail = (cells > width) & lines.str.contains(rf"(?:{tail}[\s\"]*){{1}}$")
        extra = cells - width
        for more in sorted(set(extra.filter(empty_tail).to_list())):
            here = empty_tail & (extra == more)
            trimmed = lines.str.replace(rf"(?:{tail}[ \"]*){{{more}}}$", "")
            shorter = here & (trimmed != lines)
            lines = pl.select(pl.when(shorter).then(trimmed).otherwise(lines)).to_series()
            cells = pl.select(pl.when(shorter).then(width).otherwise(cells)).to_series()
        too_many, too_few = cells > width, cells < width
        self._refuse_ragged(cells, numbers, too_many, too_few)
        if too_few.any():
            found = numbers.filter(too_few)
            self.notes.append(
                Note("short_rows", reading.SHORT_ROWS, rows=found.len(),
                     example=reading.cells_of(found[0], cells.filter(too_few)[0], width))
            )  # fmt: skip
            missing = cells - width
            for less in sorted(set(missing.filter(too_few).to_list())):
                padded = lines + self.dialect.separator * -less
                lines = pl.select(pl.when(missing == less).then(padded).otherwise(lines)).to_series()
        if too_many.any():
            found = numbers.filter(too_many)
            self.notes.append(
                Note("left_out_long_rows", reading.LONG_ROWS, rows=found.len(),
                     example=reading.cells_over(found[0], cells.filter(too_many)[0], width))
            )  # fmt: skip
            lines, numbers = lines.filter(~too_many), numbers.filter(~too_many)
        return lines, numbers

    def _refuse_ragged(self, cells: pl.Series, numbers: pl.Series, too_many: pl.Series, too_few: pl.Series) -> None:
        width = self.dialect.width
        for mask, why in (
            (too_many, "decimal commas, or a text with the separator in it?"),
            (too_few, "rows cut off?"),
        ):
            if mask is too_few and signal_groups(self.dialect.names, self.dialect.units) is not None:
                continue  # signals of different rates end in different rows
            found = int(mask.sum() or 0)
            # A single torn line in a short file is still a torn line, not another layout.
            if found > max(1, _RAGGED_SHARE * cells.len()):
                row, has = numbers.filter(mask)[0], cells.filter(mask)[0]
                comma = self.dialect.separator == "," and mask is too_many
                raise InputRefused(
                    f"{found:,} of {cells.len():,} rows do not fit the header: row {row} has {has} values, the header "
                    f"names {width} ({why})",
                    where=f"{self.file_name}, row {row}",
                    expected=f"{width} values in every row",
                    to_do="export the log again with ';' between the columns" if comma else "export the log again",
                )

    def last_may_be_cut(self, kept: pl.Series, is_last: bool) -> bool:
        """Can the last line, which has no line end, have lost its end?

        It can't where its last cell has as many decimals as that column always has, or is quoted to its end.
        """
        if not is_last:
            return False
        last = split_line(str(kept[-1]), self.dialect.separator)
        if len(last) < self.dialect.width or kept.len() < 3:
            return len(last) < self.dialect.width or True
        if self.quoted and str(kept[-1]).rstrip().endswith('"'):
            return False
        decimals = Counter(
            _decimals(split_line(line, self.dialect.separator)[-1])
            for line in kept.slice(max(0, kept.len() - 201), 200).to_list()
        )
        return not (len(decimals) == 1 and _decimals(last[-1]) in decimals and next(iter(decimals)) > 0)


def _decimals(cell: str) -> int:
    """Digits after the decimal sign; 0 where there is none."""
    match = re.fullmatch(r"[+-]?\d*[.,](\d+)", cell)
    return len(match[1]) if match else 0


def _split(lines: pl.Series, dialect: Dialect, *, quoted: bool) -> pl.DataFrame:
    """The cells of all rows as text. The row count is checked, because a parser that meets odd quotes loses rows."""
    schema = {f"column_{number}": pl.String for number in range(dialect.width)}
    if not lines.len():
        return pl.DataFrame(schema=schema)
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        path = Path(folder) / "rows.txt"
        pl.DataFrame({"": lines}).write_csv(path, include_header=False, quote_style="never")
        frame = pl.scan_csv(
            path,
            has_header=False,
            separator=dialect.separator,
            quote_char='"' if quoted else None,
            schema=schema,
            glob=False,
        ).collect()
    if frame.height != lines.len():
        raise RuntimeError(f"{lines.len()} lines became {frame.height} rows")
    return frame


def _numbers(
    frame: pl.DataFrame, dialect: Dialect, numbers: pl.Series, notes: list[Note], file_name: str
) -> list[RawColumn]:
    texts = list(frame.iter_columns())
    channels = [only_channel(naming.candidates(name)) for name in dialect.names]
    decimal = file_decimal(texts, dialect.separator, channels)
    if decimal == ",":
        notes.append(Note("decimal_comma", reading.DECIMAL_COMMA))
    del frame
    columns: list[RawColumn] = []
    while texts:
        text = texts.pop(0)
        number = len(columns)
        name, unit = dialect.names[number], dialect.units[number]
        parsed = parse_column(text, decimal, channel=channels[number], unit=unit)
        notes.extend(told(parsed, name, numbers))
        columns.append(RawColumn(name, with_unit(unit, parsed, name, file_name), parsed.values))
    return columns
