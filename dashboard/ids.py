"""Ids of the components, in one place: callbacks and tests name them from here."""

from __future__ import annotations

URL = "url"
SCREEN = "screen"
TITLE = "page-title"
CONTENT = "content"
NOTICE = "notice"

RIDE = "ride-id"
VIEW = "view"
VIEW_ASKED, VIEW_SAID = "view-asked", "view-said"
"""What an address that changed asks to be shown, and what is said of it."""
WHAT_IF, EXPOSURE, LEGEND = "what-if", "exposure", "legend"
PLACES_BOX, PLACES_CLOCK, PLACES_BIKE, PLACES_MAP = "places", "places-clock", "places-bike", "places-map"
STACK = "stack"
MAP = "map"
MAP_COLOR = "map-color"
ROW = "stretch-row"
"""Type of the pattern-matched id of a row of the stretch table."""

CHAIN = "chain"
"""How the chosen stretch's settle temperature came about."""

TABLE = "stretch-table"
MORE = "stretches-more"

WHOLE = "view-whole"
CLOSER = "view-closer"
WIDER = "view-wider"
EARLIER = "view-earlier"
LATER = "view-later"


def row(index: int) -> dict[str, str | int]:
    """Id of one row of the stretch table; `index` counts `analysis.segments`."""
    return {"type": ROW, "index": index}


ADD_OPEN, ADD_PANEL, ADD_CLOSE = "add-open", "add-panel", "add-close"
ADD_CHOOSE, ADD_FOLDER, ADD_FORM, ADD_CHOSEN = "add-choose", "add-folder", "add-form", "add-chosen"
ADD_BIKE, ADD_AMBIENT, ADD_SEND, ADD_CLEAR = "add-bike", "add-ambient", "add-send", "add-clear"
ADD_TOGETHER, ADD_TOGETHER_ROW, ADD_SAID = "add-together", "add-together-row", "add-said"
ADD_JOBS, ADD_SHOWN, ADD_CLOCK = "add-jobs", "add-shown", "add-clock"
ADD_ZONE = "add-zone"
ADD_TICK = "add-tick"
"""A store that add.js sets when a file has arrived, so that the list is looked at anew."""
ADDED = "added"
"""A store that counts rides added since the page was opened."""
ADD_ACT, ADD_ANSWER = "add-act", "add-answer"
"""Types of the pattern-matched ids of a job's buttons, and of the answers to its question."""


def act(job: str, name: str) -> dict[str, str]:
    """Id of a job's button."""
    return {"type": ADD_ACT, "job": job, "act": name}


def answer(job: str, number: int) -> dict[str, str | int]:
    """Id of an answer to a job's question; `number` counts its options."""
    return {"type": ADD_ANSWER, "job": job, "option": number}


IMPORT_JOB, IMPORT_SEEN, IMPORT_BODY, IMPORT_SAID = "import-job", "import-seen", "import-body", "import-said"
JOIN_ACCEPT = "join-accept"
JOIN_ELSE = "join-else"
"""Type of the pattern-matched id of what can be done instead."""
JOIN_AT, JOIN_WAS, JOIN_STEP, JOIN_PLOT, JOIN_TOLD = "join-at", "join-was", "join-step", "join-plot", "join-told"
"""Types of the pattern-matched ids of one recording of an import."""
MORE_ZONE, MORE_START, MORE_FORMAT, MORE_COLUMN, MORE_HOLDS, MORE_SEND = (
    "more-zone", "more-start", "more-format", "more-column", "more-holds", "more-send",
)  # fmt: skip


def join(part: str, number: int) -> dict[str, str | int]:
    """Id of a part of a recording; `number` is that of its file."""
    return {"type": part, "file": number}


def join_else(act: str) -> dict[str, str]:
    """Id of a button that does something else with an import."""
    return {"type": JOIN_ELSE, "act": act}


def join_step(number: int, by: str) -> dict[str, str | int]:
    """Id of a button that moves a recording."""
    return {"type": JOIN_STEP, "file": number, "by": by}


def as_text(one: dict[str, str | int]) -> str:
    """A pattern-matched id as it stands in the page."""
    import json

    return json.dumps(one, sort_keys=True, separators=(",", ":"))


PREFS = "prefs"
"""The store, kept by the browser, of how its reader wants to see the pages."""
PREF_UNITS, PREF_THEME, PREF_HIDE, PREF_TRIM = "pref-units", "pref-theme", "pref-hide", "pref-trim"

PROFILE, PROFILE_TEXT, PROFILE_SAID = "profile", "profile-text", "profile-said"
PROFILE_LOOK, PROFILE_SAVE, PROFILE_FLIPS = "profile-look", "profile-save", "profile-flips"
EARLIER_TEXT = "earlier-text"
"""Type of the pattern-matched id of a button that takes an earlier text."""


def earlier(number: int) -> dict[str, str | int]:
    """Id of the button that takes an earlier text; `number` counts the history, the text in use being 0."""
    return {"type": EARLIER_TEXT, "index": number}


RIDE_PAGE = "ride-page"
NOTES_SAID = "notes-said"
NOTE_HERE, NOTE_PICK = "note-here", "note-pick"
NOTE_AT, NOTE_ABOUT, NOTE_TEXT, NOTE_SAID = "note-at", "note-about", "note-text", "note-said"
NOTE_SAVE, NOTE_REMOVE, NOTE_CHANGE, NOTE_FORM = "note-save", "note-remove", "note-change", "note-form"
"""Types of the pattern-matched ids of the form of a note."""


def note(part: str, number: int = 0) -> dict[str, str | int]:
    """Id of a part of a note's form; `number` is the note's in the library, 0 for a new one."""
    return {"type": part, "number": number}


CASE, CASE_PAGE, CASE_SAID = "case", "case-page", "case-said"
CASE_BIKE, CASE_DAY, CASE_WORDS, CASE_RIDES, CASE_OPEN = (
    "case-bike", "case-day", "case-words", "case-rides", "case-open",
)  # fmt: skip
CASE_CHOICE = "case-choice"
CASE_ATTACH, CASE_CLOSE, CASE_REOPEN, CASE_PRINT = "case-attach", "case-close", "case-reopen", "case-print"
CASE_FOUND, CASE_CAUSE, CASE_DONE = "case-found", "case-cause", "case-done"
CASE_ATTACH_SAID, CASE_CLOSE_SAID = "case-attach-said", "case-close-said"
CASE_TOLD, CASE_REMOVE, CASE_REMOVE_SAID = "case-told", "case-remove", "case-remove-said"
CASE_RIDE, CASE_TODAY, CASE_OUT = "case-ride", "case-today", "case-out"
"""Types of the pattern-matched ids of a ride of a case, of how it compares with today, of what takes it out."""


def case_part(part: str, number: int) -> dict[str, str | int]:
    """Id of a part of a ride of a case; `number` counts its rides."""
    return {"type": part, "index": number}


COMPARE_RIDES = "compare-rides"
