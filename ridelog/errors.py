"""The errors ridelog raises on purpose.

    RidelogError
    ├── InputRefused          a log that can't become a ride
    │   ├── AmbiguousColumn   a column fits two meanings; the caller has to choose
    │   └── LimitExceeded     a size limit was passed, before or while unpacking
    ├── ProfileError          a bike file or an advice sheet that can't be used
    ├── NotInLibrary          no such ride, bike or sheet
    ├── LibraryError          the library folder can't be opened, read or written
    └── UsageError            arguments that can't be carried out

Each says four things: where, what was found, what was expected, what to do. They stay readable as attributes, so
that the command line, the report of an import and the dashboard can lay them out in their own way.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f]")


def plain(text: str) -> str:
    """A text without control characters: what stands in a file must not act on the terminal that shows it. Line ends
    and tabs become blanks, others are written out, such as \\x1b."""
    return _CONTROL.sub(lambda found: " " if found[0] in "\t\n\r" else f"\\x{ord(found[0]):02x}", text)


class RidelogError(Exception):
    """Base of all expected errors. `where` names file, row or channel; every part is a plain sentence or ''."""

    def __init__(self, found: str, *, where: str = "", expected: str = "", to_do: str = "") -> None:
        self.where = plain(where)
        self.found = plain(found)
        self.expected = plain(expected)
        self.to_do = plain(to_do)
        super().__init__(self.one_line())

    def one_line(self) -> str:
        """The whole message on one line: where: found. Expected: … To do: …"""
        parts = [f"{self.where}: {self.found}" if self.where else self.found]
        if self.expected:
            parts.append(f"Expected: {self.expected}")
        if self.to_do:
            parts.append(f"What to do: {self.to_do}")
        return plain(" ".join(part if part.endswith((".", "?", "!")) else part + "." for part in parts))

    def with_where(self, where: str) -> RidelogError:
        """Put a place in front of an error raised by code that did not know it. Returns the same error."""
        self.where = plain(f"{where}, {self.where}" if self.where else where)
        self.args = (self.one_line(),)
        return self


class InputRefused(RidelogError):
    """A log that can't become a ride; nothing of it is stored."""


@dataclass(frozen=True)
class Preview:
    """A column's values in brief: lowest and highest (None for texts) and a few examples, as written."""

    low: float | None
    high: float | None
    examples: tuple[str, ...]


class AmbiguousColumn(InputRefused):
    """A column fits two meanings. `options` are the `--column` values that settle it, most likely first.

    `column` is its name as written. `preview` shows its values, `header` is the fingerprint of the table's header;
    whoever knows them fills them in, so that the question can be asked.
    """

    def __init__(
        self, found: str, *, options: tuple[str, ...], where: str = "", expected: str = "", to_do: str = ""
    ) -> None:
        self.options = options
        self.column = options[0].rpartition("=")[0]
        self.preview: Preview | None = None
        self.header = ""
        which = "say which: " + " or ".join(column_option(text) for text in options)
        super().__init__(found, where=where, expected=expected, to_do=which + to_do)


def column_option(text: str) -> str:
    """`NAME=channel:unit` as it is typed in a shell, whatever the name holds."""
    quoted = text.replace("'", "'\\''")
    return f"--column '{quoted}'"


class LimitExceeded(InputRefused):
    """A size limit was passed."""


class ProfileError(RidelogError):
    """A bike file or an advice sheet that can't be used."""


class NotInLibrary(RidelogError):
    """No such ride, bike or sheet in the library."""


class LibraryError(RidelogError):
    """The library folder can't be opened, read or written."""


class UsageError(RidelogError):
    """Arguments that can't be carried out."""
