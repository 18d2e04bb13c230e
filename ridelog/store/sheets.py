"""The advice sheets of a library as they are stored: those that can be used, and those that can't any more.

A stored sheet is checked anew at each reading. One that fails it (written for another version, damaged) says nothing of
its rules, but often still from when it holds: then only rides of its own time can't be judged.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from ridelog.advice import Advice, in_force
from ridelog.errors import ProfileError


@dataclass(frozen=True)
class LostSheet:
    """A sheet that can't be used. `valid_from` is None where even that can't be read."""

    version: str
    valid_from: date | None
    error: ProfileError


@dataclass(frozen=True)
class Sheets:
    """The usable ones, the earliest in force first, and the lost ones by version."""

    usable: tuple[Advice, ...]
    lost: tuple[LostSheet, ...] = ()

    def lost_on(self, day: date | None) -> LostSheet | None:
        """The lost sheet that held on a day, or may have; None where a usable one did."""
        if not self.lost:
            return None
        held = in_force(list(self.usable), day)
        for sheet in reversed(self.lost):
            since = sheet.valid_from
            if since is None or ((day is None or since <= day) and since >= held.valid_from):
                return sheet
        return None

    def on(self, day: date | None) -> Advice:
        """The sheet in force on a day. Raises ProfileError where that is one that can't be used, or may be."""
        lost = self.lost_on(day)
        if lost is not None:
            raise lost.error
        return in_force(list(self.usable), day)


def sheets_of(texts: Sequence[tuple[str, str]]) -> Sheets:
    """From the stored names and texts."""
    from ridelog.advice import parse_advice

    usable, lost = [], []
    for name, text in texts:
        try:
            usable.append(parse_advice(text, f"advice sheet {name} of the library"))
        except ProfileError as error:
            lost.append(LostSheet(name, _valid_from(text), add_again(error, "advice")))
    usable.sort(key=lambda sheet: (sheet.valid_from, sheet.version))
    return Sheets(tuple(usable), tuple(lost))


def add_again(error: ProfileError, group: str) -> ProfileError:
    """What to do of a stored file: there is no place of it that could be corrected where it is."""
    return ProfileError(
        error.found,
        where=error.where,
        expected=error.expected,
        to_do=f"correct the file you have of it and add it again: ridelog {group} add FILE",
    )


def _valid_from(text: str) -> date | None:
    try:
        since = tomllib.loads(text).get("valid_from")
    except (tomllib.TOMLDecodeError, RecursionError):
        return None
    if isinstance(since, str):
        try:
            since = date.fromisoformat(since)
        except ValueError:
            return None
    return since if type(since) is date else None
