"""The question what a column holds, for whoever can put it to the user: a terminal, a page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

from ridelog.errors import AmbiguousColumn, Preview, UsageError
from ridelog.ingest_options import parse_column_option
from ridelog.normalize import ColumnChoice
from ridelog.words import importing
from ridelog.words.terms import column_words


@dataclass(frozen=True)
class Option:
    """One answer: in words, and as `--column` takes it."""

    words: str
    text: str
    choice: ColumnChoice


@dataclass(frozen=True)
class Question:
    """What does a column hold? `where` names the file, `found` says why it has to be asked, `options` are the likeliest
    first; the last may leave the column out. Names and values are as the file has them: show them harmlessly."""

    where: str
    column: str
    found: str
    preview: Preview
    options: tuple[Option, ...]
    header: str


Answer: TypeAlias = Option | None
"""One of the question's options; None where the user does not go on: the file is refused as without a question."""

Ask: TypeAlias = Callable[[Question], Answer]


def question_of(error: AmbiguousColumn) -> Question | None:
    """The question behind a refusal; None where it can't be asked, because it is not known which table it is of."""
    if not error.header or error.preview is None:
        return None
    options = [option for text in error.options if (option := _option(text)) is not None]
    # Without its time there is no ride: that column can't be left out.
    if all(option.choice.channel != "time" for option in options):
        text = f"{error.column}=raw"
        options.append(Option(importing.LEAVE_OUT, text, parse_column_option(text)))
    return Question(error.where, error.column, error.found, error.preview, tuple(options), error.header)


def _option(text: str) -> Option | None:
    try:
        choice = parse_column_option(text)
    except UsageError:
        return None
    return Option(column_words(choice.channel, choice.unit), text, choice)
