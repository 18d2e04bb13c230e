"""What is settled of columns while files are imported: asked for where open, remembered once a ride was stored."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ridelog.errors import AmbiguousColumn
from ridelog.ingest_ask import Ask, question_of
from ridelog.ingest_options import ImportOptions
from ridelog.ingest_read import read_rides
from ridelog.normalize import ColumnChoice, Header, Settled
from ridelog.ride import Note, Ride
from ridelog.words import importing
from ridelog.words.terms import column_words

if TYPE_CHECKING:
    from ridelog.store.library import Library


def remembered(library: Library, bike_id: str | None) -> tuple[Settled, ...]:
    """What earlier imports confirmed of the columns of a bike's logs; nothing without a bike."""
    if bike_id is None:
        return ()
    return tuple(
        Settled(
            mapping.header,
            ColumnChoice((meaning.column,), meaning.channel, meaning.unit),
            meaning.confirmed_utc.date().isoformat(),
        )
        for mapping in library.column_mappings(bike_id)
        for meaning in mapping.meanings
    )


class Columns:
    """The answers of one call, and what of the user's words is to be remembered for the bike."""

    def __init__(self, library: Library, bike_id: str | None, ask: Ask | None) -> None:
        self._library = library
        self._bike_id = bike_id
        self._ask = ask
        self._answers: tuple[Settled, ...] = ()
        self._remembered = remembered(library, bike_id)
        self._heard: dict[str, tuple[Header, dict[str, ColumnChoice]]] = {}

    def read(self, group: Sequence[Path], options: ImportOptions, *, may_ask: Callable[[], bool]) -> list[Ride]:
        """The rides of some files, several being read together; asks what is open. Raises RidelogError only."""
        while True:
            self._heard = {}
            known = replace(options, answers=self._answers, remembered=self._remembered, on_settled=self._hear)
            try:
                return read_rides(group, known, together=len(group) > 1)
            except AmbiguousColumn as error:
                if not self._answered(error, may_ask):
                    raise

    def _answered(self, error: AmbiguousColumn, may_ask: Callable[[], bool]) -> bool:
        """Has the user settled it? A question that stays open although it was answered is not asked again."""
        question = question_of(error)
        if self._ask is None or question is None or not may_ask():
            return False
        answer = self._ask(question)
        if answer is None:
            return False
        settled = Settled(question.header, answer.choice)
        if settled in self._answers:
            return False
        self._answers = (settled, *self._answers)
        return True

    def _hear(self, header: Header, choices: Sequence[ColumnChoice]) -> None:
        heard = self._heard.setdefault(header.fingerprint, (header, {}))[1]
        heard.update({choice.names[0]: choice for choice in choices})

    def confirm(self) -> tuple[Note, ...]:
        """Remember what the user said of the columns of the files read last, now that a ride of them is stored."""
        if self._bike_id is None:
            return ()
        told: list[str] = []
        for header, choices in self._heard.values():
            if choices:
                meanings = [(name, choice.channel, choice.unit) for name, choice in choices.items()]
                self._library.confirm_columns(self._bike_id, header.fingerprint, header.columns, meanings)
                told.extend(f"{name!r} as {column_words(one.channel, one.unit)}" for name, one in choices.items())
        if not told:
            return ()
        self._remembered = remembered(self._library, self._bike_id)
        text = importing.remembered(self._bike_id, "; ".join(told))
        return (Note("confirmed", importing.forgets(text, self._bike_id)),)
