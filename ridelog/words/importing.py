"""What the import tells of a file, and of what its user said of its columns."""

from __future__ import annotations


def part(rides: int, number: int) -> str:
    """A file of several rides."""
    return f"the file holds {rides} rides; this is ride {number} of {rides}"


def passed_over(name: str, why: str) -> str:
    """A file of an archive that is no log."""
    return f"{name} in the archive is no log and was passed over: {why}"


EMPTY_RECORDINGS = "recordings in which no channel holds a value were left out"


def answered(column: str, meaning: str) -> str:
    """An answer, before the option that says the same."""
    return f"{column!r} was read as {meaning}, as answered; the same without a question: "


def remembered(bike: str, columns: str) -> str:
    """What the next log will be read by."""
    return f"remembered for the next log of bike {bike} with this header: {columns}"


def forgets(remembering: str, bike: str) -> str:
    """The same, and how to undo it."""
    return f"{remembering} (ridelog bikes forget-columns {bike} forgets it)"


LEAVE_OUT = "leave it out (its values are kept as they came)"
