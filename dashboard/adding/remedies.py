"""From the importer's refusals to what can be done about them on a page: the one place that knows both.

The importer speaks to whoever types its options. A page has fields for them; what it has no field for, it says plainly.
"""

from __future__ import annotations

import re

from dashboard.adding.jobs import Refusal
from ridelog.errors import AmbiguousColumn, RidelogError

_MISSED = re.compile(r"\s*What each one missed: (.*)$", re.DOTALL)
_READER = re.compile(r"; (?=[a-z][a-z0-9-]*: )")
_QUOTED = r"'(?:[^']|'\\'')*'"
_OFFSETS = r"(?:--offset '.+?=(?:SECONDS|-?[\d.]+)'(?: or )?)+(?: \([^)]*\))?"
_BUS = r"it needs \1, which this page does not take: import both from a terminal"
_NO_START = "leave the moment of the first sample empty; the time zone tells that of times without one"

_REMEDIES: tuple[tuple[str, str, str], ...] = (
    # as the importer has it, as a page has it, the field it asks for
    (rf"say which: (?:--column {_QUOTED}(?: or )?)+", "say below what it holds", "column"),
    (r"(if its column names are unusual, name) them: .*$", r"\1 its time below", "column"),
    (rf"(if another column holds the time, name it): --column {_QUOTED}", r"\1 below", "column"),
    (rf"name it: --column {_QUOTED}(?: \(or [^)]*\))?", "name it below", "column"),
    (rf"\(--column {_QUOTED}\)", "(else name it below)", "column"),
    (r"\(--format forces a reader\)", "(else choose below how to read it)", "format"),
    (r"choose one with --format \S+", "choose below how to read it", "format"),
    (r",? or leave --format out", ", or let it be found out how to read it", "format"),
    (r"import it with --description FILE, (a \.dbc file that describes the messages of this bike)", _BUS, ""),
    (r"the description given with --description", "the description", ""),
    (r"tell its zone with --timezone, or ", "tell its time zone below, or ", "timezone"),
    (r"check --timezone (if one of them writes local time)", r"give the time zone below \1", "timezone"),
    (r"give (the offset that held|its offset), such as --timezone (\S+)", r"give \1 below, such as \2", "timezone"),
    (r"(?:and )?give --timezone", "and give the time zone below", "timezone"),
    (r"leave --start out; --timezone tells the zone of times without one", _NO_START, "timezone"),
    (r"import them with --together", "add them at once as one ride from several devices", ""),
    (rf"give its first sample's time after that of (.+?): {_OFFSETS}", r"say how long after \1 it begins", ""),
    (rf"(if a clock was wrong), tell by how much: {_OFFSETS}", r"\1, say where its recording begins", ""),
    (r", and --offset if it was given", "", ""),
    (r"add --together, or leave --offset out", "add the files at once as one ride from several devices", ""),
    (r"correct the option", "correct what was typed", ""),
    (r"leave the option out to have the format found from the content", "leave it open", "format"),
    (r"else import (?:it alone|them one by one)", "else keep the files apart", ""),
)
"""Longer ones first where one holds another. The test over the importer's own texts tells when one is missing."""

_FIELDS: tuple[tuple[str, str, str], ...] = (
    ("--timezone", "the time zone", "timezone"),
    ("--start", "the moment of its first sample", "start"),
    ("--column", "what a column holds", "column"),
    ("--format", "how to read it", "format"),
    ("--offset", "how the recordings lie to each other", ""),
    ("--together", "files of one ride, added at once", ""),
    ("--description", "the description of the bus", ""),
    ("--bike", "the bike", ""),
    ("--ambient", "the air temperature", ""),
    ("--library", "the folder of a library", ""),
)
"""What an option is called on the page, for wherever else it is named."""

_STAYS = frozenset({"column", "format", "timezone", "start"})


def of(error: RidelogError) -> Refusal:
    """A refusal as the page shows it: the importer's facts, and the page's own way out."""
    to_do = error.to_do
    missed: tuple[str, ...] = ()
    if found := _MISSED.search(to_do):
        to_do, missed = to_do[: found.start()], tuple(_READER.split(found[1].rstrip(".")))
    asks: list[str] = []
    words = page_words(to_do, asks)
    if isinstance(error, AmbiguousColumn):
        asks.append("column")
    where, what, expected = (page_words(text, asks) for text in (error.where, error.found, error.expected))
    known = tuple(name for name in dict.fromkeys(asks) if name in _STAYS)
    return Refusal(where, what, expected, words, known, missed)


def page_words(text: str, asks: list[str] | None = None) -> str:
    """A text of the importer without options of the command line. `asks` takes the fields it is about."""
    heard: list[str] = [] if asks is None else asks
    for pattern, words, field in _REMEDIES:
        text, count = re.subn(pattern, words, text)
        if count and field:
            heard.append(field)
    for option, words, field in _FIELDS:
        # with its value, where one is shown
        text, count = re.subn(rf"{option}\b(?: {_QUOTED})?", words, text)
        if count and field:
            heard.append(field)
    return _COMMAND.sub(_without, text).strip()


_COMMAND = re.compile(
    r" ?\(ridelog [a-z-]+ [^)]*\)|To keep (?:one ride|one): ridelog remove [^.;]*|"
    r"Import both together: ridelog import .*$"
)


def _without(found: re.Match[str]) -> str:
    if found[0].startswith("To keep"):
        return "To keep one, remove the other from the library"
    if found[0].startswith("Import"):
        return "To join both, add their files at once as one ride"
    return ""


def one_line(refusal: Refusal) -> str:
    """Where: found. Expected: ... What to do: ..."""
    parts = [f"{refusal.where}: {refusal.found}" if refusal.where else refusal.found]
    if refusal.expected:
        parts.append(f"Expected: {refusal.expected}")
    if refusal.to_do:
        parts.append(f"What to do: {refusal.to_do}")
    return " ".join(part if part.endswith((".", "?", "!")) else f"{part}." for part in parts)
