"""What may be behind a ride, and notes on it."""

from __future__ import annotations

from ridelog.told import quoted
from ridelog.words import notes as note_words

BEHIND = "What may be behind it"
BEHIND_OPEN = "Open a case with this ride"
BEHIND_NOTHING_SETTLED = "No likelihoods are told: without a heat balance they would rest on nothing of this ride."
CAUSES_REST = "The less likely ones"
CAUSES_FOR, CAUSES_AGAINST, CAUSES_CHECK = "Speaks for it", "Speaks against it", "Check next"
CAUSES_NONE = "Nothing in this log."
CHECK_FIRST = "What to look at, the cheapest and safest first"
FOLLOWED = "Was the advice followed?"
FOLLOWED_WORDS = {
    "yes": "Yes.",
    "no": "No.",
    "unknown": "Can't tell.",
    "not_advised": "There was nothing to follow.",
}

NOTES = "Notes on this ride"
NOTES_NONE = (
    "No note yet. What was seen on the way (coolant at the overflow, a stop, a change of map) helps to explain."
)
NOTES_HOW = "Click the picture at the moment, or type its time. Notes on the map and on lost coolant count as evidence."
NOTE_NEW = "Add a note"
NOTE_AT = "When: from the start (+0:12:34), or the time of day (10:31)"
NOTE_TEXT = "What happened"
NOTE_ABOUT = "It counts as"
NOTE_BY_WORDS = "what its words say"
NOTE_SAVE = "Add the note"
NOTE_CHANGE = "Correct or remove"
NOTE_CORRECT = "Save the correction"
NOTE_REMOVE = "Remove this note"
NOTE_HERE = "Note at the middle of this view"
NOTE_OTHERWISE = "Choose a meaning with “Correct or remove” if it is another."
NOTE_GONE = "This note is no longer there. Load the page again."
NOTES_ANEW = "Analyzing the ride with its notes …"


def note_written(at_s: float, text: str) -> str:
    """A note was written."""
    return f"Noted at {note_words.elapsed(at_s)}: {quoted(text)}."


def note_corrected(at_s: float, text: str) -> str:
    """A note was changed."""
    return f"Corrected. Now at {note_words.elapsed(at_s)}: {quoted(text)}."


def note_removed(at_s: float, text: str) -> str:
    """A note was removed."""
    return f"Removed: {quoted(text)} at {note_words.elapsed(at_s)}."


def note_taken(about: str, why: str | None) -> str:
    """What a note counts as."""
    return note_words.taken(about, why, NOTE_OTHERWISE)
