"""What a log wrote in its map column, kept where the bike file did not list it, so that a corrected one still can."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from ridelog.bike import Bike
from ridelog.channels import RAW_PREFIX
from ridelog.normalize.convert import Converted
from ridelog.normalize.states import line_to_add, written
from ridelog.ride import Note, RawColumn, Ride
from ridelog.words import normalizing

UNREAD = "map_unread"
"""Kind of the note on a map column that was not, or not wholly, understood. Its text begins with the column's name."""

_SHOWN = 6


def kept(
    column: RawColumn, converted: Sequence[Converted], bike: Bike | None, source: str
) -> tuple[list[Converted], list[Note]]:
    """The column as it was written, under `raw.<name>`, and a note, where `bike` does not list all of its values."""
    if bike is None:
        return [], []
    strange = [v for v in column.values.drop_nulls().unique().to_list() if bike.slot_of(written(v)) is None]
    if not strange:
        return [], []
    name = RAW_PREFIX + column.name
    words = sorted({written(value) for value in strange})
    example = ", ".join(repr(word[:20]) for word in words[:_SHOWN]) + (", ..." if len(words) > _SHOWN else "")
    note = Note(
        UNREAD,
        normalizing.map_unlisted(column.name, bike.id, example, line_to_add(column.values, bike.slot_values), name),
        int(column.values.is_in(strange).sum() or 0),
        example,
    )
    if any(one.name == name for one in converted):
        return [], [note]
    texts = column.values
    if texts.dtype != pl.String:
        texts = texts.map_elements(written, return_dtype=pl.String)
    return [Converted(name, texts, f"{source}, {column.name}")], [note]


def unread(ride: Ride) -> str | None:
    """The column that holds what the log wrote as its map, None where the import understood it all."""
    texts = [note.text for note in ride.notes if note.kind == UNREAD]
    for name in ride.samples.columns:
        if name.startswith(RAW_PREFIX) and any(f"{name.removeprefix(RAW_PREFIX)}: " in text for text in texts):
            return name
    return None


def codes(values: pl.Series) -> tuple[pl.Series, list[str]]:
    """Words as numbers (Float64, null where there is no word), and the word of each number."""
    words = sorted({written(value) for value in values.drop_nulls().unique().to_list()})
    numbers = {word: float(code) for code, word in enumerate(words)}
    distinct = values.drop_nulls().unique().to_list()
    mapping = {value: numbers[written(value)] for value in distinct}
    return values.replace_strict(mapping, default=None, return_dtype=pl.Float64), words
