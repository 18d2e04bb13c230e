"""What people write in their own words: kept as they wrote it, but for what would act on a screen, and limited."""

from __future__ import annotations

import re
import unicodedata

from ridelog.errors import UsageError, plain

_JOINERS = {"\u200c", "\u200d"}
"""Formatting characters that words of some languages, and pictures of several signs, need."""


def cleaned(text: str, most: int, where: str) -> str:
    """The text on one line, without control characters and without such as turn the direction of writing; those are
    written out, such as \\x1b and \\u202e. Raises UsageError for an empty text and for one of more than `most`
    characters; `where` names it, such as "the note"."""
    if len(text) > most:
        raise UsageError(
            f"{where} has {len(text):,} characters",
            expected=f"at most {most:,}",
            to_do="say it more shortly, or keep the long text elsewhere and name it here",
        )
    written = plain(re.sub(r"\s+", " ", text)).strip()
    shown = "".join(_out(char) for char in written)
    if not any(_seen(char) for char in written):
        raise UsageError(f"{where} is empty", expected="a few words", to_do="write what was seen or said")
    return shown


_BLANKS = {"\u115f", "\u1160", "\u2800", "\u3164", "\uffa0"}
"""Letters and signs that are drawn as nothing: fillers of Hangul, the empty pattern of Braille."""


def _seen(char: str) -> bool:
    """Whether a reader sees something of it. Marks and joiners alone show nothing."""
    kind = unicodedata.category(char)
    return kind not in {"Cf", "Cs"} and kind[0] not in "ZM" and char not in _BLANKS


def _out(char: str) -> str:
    """Half of a character pair is no character (an argument in another encoding gives such): it can't be stored."""
    kind = unicodedata.category(char)
    if kind == "Cs":
        return "\ufffd"
    return f"\\u{ord(char):04x}" if kind == "Cf" and char not in _JOINERS else char


def quoted(text: str) -> str:
    """Somebody's words as such: between quotation marks."""
    return f"“{text}”"


def shortened(text: str, most: int) -> str:
    """The beginning of a text where it is long, with the sign that something was left out."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"
