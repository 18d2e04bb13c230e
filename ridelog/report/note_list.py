"""The notes of a ride as a list beside its picture: the numbers are those of the marks."""

from __future__ import annotations

from ridelog.report.sentences import sentence
from ridelog.results import Analysis
from ridelog.told import quoted
from ridelog.words.notes import ABOUT_WORDS, elapsed

NOTE_COLUMNS = ("Note", "From the start", "Its words", "Counts as")


def note_rows(analysis: Analysis) -> list[tuple[str, str, str, str]]:
    """Number, moment, words and meaning of each note, in order of time."""
    return [
        (str(number), elapsed(note.at_s), quoted(note.text), sentence(ABOUT_WORDS[note.about]).rstrip("."))
        for number, note in enumerate(analysis.notes, 1)
    ]
