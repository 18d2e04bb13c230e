"""What is told of a column of cells that were read as numbers, and the unit it then has."""

from __future__ import annotations

import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers.numbers import Parsed
from ridelog.ride import Note
from ridelog.units import parse_unit
from ridelog.words import reading

_TOLD = {
    "missing": reading.MISSING,
    "not_finite": reading.NOT_FINITE,
    "grouped": reading.GROUPED,
    "odd_characters": reading.ODD_CHARACTERS,
    "unit_in_cell": reading.UNIT_IN_CELL,
    "other_unit": reading.OTHER_UNIT,
    "text": reading.NO_NUMBERS,
}


def with_unit(unit: str | None, parsed: Parsed, name: str, file_name: str) -> str | None:
    """The unit of a column by its header and its cells. Raises InputRefused where they contradict each other."""
    if parsed.unit is None:
        return unit
    if unit is not None and parse_unit(unit) != parse_unit(parsed.unit):
        raise InputRefused(
            f"the header gives {unit!r} for this column, its values {parsed.unit!r}",
            where=f"{file_name}, column {name}",
            expected="one unit a column",
            to_do="correct the header, or the export",
        )
    return parsed.unit if unit is None else unit


def told(parsed: Parsed, name: str, numbers: pl.Series | None) -> list[Note]:
    """Notes on the cells of one column; `numbers` are the file lines of its rows."""
    why = parsed.signs.why if parsed.signs is not None and parsed.is_number else None
    signs = [Note("decimal_sign", f"{name}: {why}")] if why else []
    return signs + [
        Note(
            f"cells_{kind}",
            f"{name}: {_TOLD[kind]}",
            rows=count,
            example=_example(parsed, kind, numbers),
        )
        for kind, count in parsed.counts.items()
        if count
    ]


def _example(parsed: Parsed, kind: str, numbers: pl.Series | None) -> str | None:
    if kind not in parsed.examples:
        return None
    row, text = parsed.examples[kind]
    return repr(text[:24]) + (f" in line {numbers[row]}" if numbers is not None else "")
