"""What the user, or an earlier import, said of the columns of one table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace

from ridelog.errors import AmbiguousColumn, column_option
from ridelog.ingest_options import ImportOptions
from ridelog.normalize import ColumnChoice, Header, remembered
from ridelog.ride import Note, RawColumn
from ridelog.words import importing
from ridelog.words.terms import column_words


@dataclass(frozen=True)
class Told:
    """`choices` are the user's word, an answer before an option; `heard` those of them that found their column, by its
    name as written; `remembered` are those of earlier imports that hold here."""

    header: Header
    choices: tuple[ColumnChoice, ...]
    heard: tuple[ColumnChoice, ...]
    remembered: tuple[ColumnChoice, ...]
    notes: tuple[Note, ...]


def told_of(columns: Sequence[RawColumn], options: ImportOptions) -> Told:
    """What is told of these columns."""
    header = Header.of(columns)
    fingerprint = header.fingerprint
    answers = [one.choice for one in options.answers if one.header == fingerprint]
    choices = (*answers, *options.columns)
    known = [one for one in options.remembered if one.header == fingerprint]
    used, notes = remembered.apply(columns, known, choices, options.bike_id or "")
    heard = []
    for column in columns:
        choice = next((choice for choice in choices if choice.fits(column)), None)
        if choice is None:
            continue
        heard.append(replace(choice, names=(column.name,)))
        if choice in answers:
            meant = column_words(choice.channel, choice.unit)
            text = importing.answered(column.name, meant)
            notes.append(Note("answered", text + column_option(heard[-1].option())))
    return Told(header, choices, tuple(heard), tuple(used), tuple(notes))


def names(options: ImportOptions) -> tuple[str, ...]:
    """Column names that a header may hold beside those of the tables of names."""
    settled = (*options.answers, *options.remembered)
    return tuple(name for choice in (*options.columns, *(one.choice for one in settled)) for name in choice.names)


@contextmanager
def questions_of(header: Header) -> Iterator[None]:
    """A question raised inside knows the header it belongs to."""
    try:
        yield
    except AmbiguousColumn as question:
        question.header = header.fingerprint
        raise
