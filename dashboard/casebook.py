"""What the pages ask of notes and complaints: a part of the provider, the only door to the library."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Protocol

from dashboard import texts
from ridelog.errors import NotInLibrary, UsageError
from ridelog.words import notes as note_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ridelog.case_findings import Today
    from ridelog.notes import Span
    from ridelog.store.complaints import ComplaintRow
    from ridelog.store.library import Library

MOST_CHOICES = 50
"""Rides of a bike that are offered, the latest first: so many can be attached at once."""


@dataclass(frozen=True)
class NoteItem:
    """A note in the list. `number` is its own in the library, `mark` that of its mark on the picture; `told` what
    somebody said it is about, "" where its words say so."""

    number: int
    mark: int
    at_s: float
    time_of_day: str
    about: str
    told: str
    text: str


@dataclass(frozen=True)
class RideChoice:
    """A ride that can be attached to a case."""

    id: str
    start_utc: datetime | None
    start_local: datetime | None
    timezone: str | None
    duration_s: float
    peak_c: float | None
    condition: str


class CaseDoor(Protocol):
    """What pages and callbacks know of notes and complaints."""

    def notes(self, ride_id: str) -> list[NoteItem]:
        """The notes of a ride in order of time."""

    def write_note(self, ride_id: str, at: str, about: str, text: str) -> list[str]:
        """Write a note; what is said of it. `about` "" leaves that to its words. Raises UsageError, NotInLibrary."""

    def correct_note(self, ride_id: str, number: int, at: str, about: str, text: str) -> list[str]:
        """Write a note anew in place of what it was. Raises as `write_note`."""

    def remove_note(self, ride_id: str, number: int) -> list[str]:
        """Remove a note. Raises NotInLibrary."""

    def cases(self) -> list[ComplaintRow]:
        """All complaints, the latest day first."""

    def case_record(self) -> dict[str, int]:
        """How often the tool was right over closed cases."""

    def case(self, name: str) -> ComplaintRow:
        """One complaint by its whole id. Raises NotInLibrary."""

    def bike_names(self) -> list[str]:
        """The bikes a case can be about."""

    def bike_of(self, ride_id: str) -> str | None:
        """The bike of a ride. Raises NotInLibrary."""

    def rides_of(self, bike: str) -> list[RideChoice]:
        """The latest rides of a bike."""

    def open_case(self, bike: str, day: str, said: str, rides: Sequence[str]) -> ComplaintRow:
        """Take down a complaint. Raises UsageError, NotInLibrary."""

    def attach(self, name: str, rides: Sequence[str]) -> ComplaintRow:
        """Attach rides, each with what is found of it now. Raises UsageError, NotInLibrary."""

    def close_case(self, name: str, found: str, cause: str) -> ComplaintRow:
        """Write down what the workshop found; `cause` "" names none. Raises UsageError, NotInLibrary."""

    def reopen_case(self, name: str) -> ComplaintRow:
        """Open a closed case again. Raises UsageError, NotInLibrary."""

    def take_out(self, name: str, ride_id: str) -> ComplaintRow:
        """Take a ride out of an open case, with what was found of it. Raises UsageError, NotInLibrary."""

    def remove_case(self, name: str) -> None:
        """Remove a case with all that was found. Raises NotInLibrary."""

    def today(self, name: str, ride_id: str) -> Today:
        """A ride of a case beside today. Raises NotInLibrary for one the case does not have."""


class CaseLibrary:
    """The same over a library folder."""

    _library: Library

    # -- notes --------------------------------------------------------------------------------------------------------

    def notes(self, ride_id: str) -> list[NoteItem]:
        """The notes of a ride in order of time."""
        from ridelog.notes import clock_of

        rows = self._library.notes_of(ride_id)
        if not rows:
            return []
        span = self._span(ride_id)
        return [
            NoteItem(
                number=row.number,
                mark=mark,
                at_s=row.at_s,
                time_of_day=note_words.time_of_day(clock_of(span, row.at_s)),
                about=row.about,
                told=row.about if self._meant(ride_id, row.text)[0] != row.about else "",
                text=row.text,
            )
            for mark, row in enumerate(rows, 1)
        ]

    def write_note(self, ride_id: str, at: str, about: str, text: str) -> list[str]:
        """Write a note; what is said of it."""
        from ridelog.notes import read_time

        when = read_time(_given(at), self._span(ride_id))
        meant, why = (about, None) if about else self._meant(ride_id, text)
        row = self._library.add_note(ride_id, when.at_s, meant, text)
        return [texts.note_written(row.at_s, row.text), texts.note_taken(row.about, why)]

    def correct_note(self, ride_id: str, number: int, at: str, about: str, text: str) -> list[str]:
        """Write a note anew in place of what it was."""
        from ridelog.notes import read_time

        when = read_time(_given(at), self._span(ride_id))
        meant, why = (about, None) if about else self._meant(ride_id, text)
        row = self._library.correct_note(ride_id, number, at_s=when.at_s, about=meant, text=text)
        return [texts.note_corrected(row.at_s, row.text), texts.note_taken(row.about, why)]

    def remove_note(self, ride_id: str, number: int) -> list[str]:
        """Remove a note."""
        row = self._library.remove_note(ride_id, number)
        return [texts.note_removed(row.at_s, row.text) if row is not None else note_words.removed_damaged(number)]

    def _span(self, ride_id: str) -> Span:
        from ridelog.notes import span_of

        return span_of(self._library, self._library.row(ride_id))

    def _meant(self, ride_id: str, text: str) -> tuple[str, str | None]:
        """What a text is about by its words, and why."""
        from ridelog.note_about import about_of

        bike = self._library.row(ride_id).bike
        taken = about_of(text, self._library.bike(bike) if bike is not None else None)
        return taken.about, taken.why

    # -- complaints ---------------------------------------------------------------------------------------------------

    def cases(self) -> list[ComplaintRow]:
        """All complaints, the latest day first."""
        return self._library.complaints()

    def case_record(self) -> dict[str, int]:
        """How often the tool was right over closed cases."""
        from ridelog.cases import tool_record

        return tool_record(self._library)

    def case(self, name: str) -> ComplaintRow:
        """One complaint by its whole id."""
        found = self._library.complaint(name)
        if found.id != name:
            raise NotInLibrary(
                f"there is no case {name!r}", expected=f"a case such as {found.id}", to_do="look at the list of cases"
            )
        return found

    def bike_names(self) -> list[str]:
        """The bikes a case can be about."""
        return [bike.id for bike in self._library.bikes()]

    def bike_of(self, ride_id: str) -> str | None:
        """The bike of a ride."""
        return self._library.row(ride_id).bike

    def rides_of(self, bike: str) -> list[RideChoice]:
        """The latest rides of a bike."""
        return [
            RideChoice(row.id, row.start_utc, row.start_local, row.timezone, row.duration_s, row.peak_c, row.condition)
            for row in self._library.list_rides(bike=bike, limit=MOST_CHOICES)
        ]

    def open_case(self, bike: str, day: str, said: str, rides: Sequence[str]) -> ComplaintRow:
        """Take down a complaint."""
        from ridelog.cases import open_case

        return open_case(self._library, bike, said, day=_day(day), rides=rides)

    def attach(self, name: str, rides: Sequence[str]) -> ComplaintRow:
        """Attach rides, each with what is found of it now."""
        from ridelog.cases import add_rides

        return add_rides(self._library, self.case(name), rides)

    def close_case(self, name: str, found: str, cause: str) -> ComplaintRow:
        """Write down what the workshop found."""
        from ridelog.cases import close_case

        return close_case(self._library, self.case(name), found, cause or None)

    def reopen_case(self, name: str) -> ComplaintRow:
        """Open a closed case again."""
        return self._library.reopen_complaint(self.case(name).id)

    def take_out(self, name: str, ride_id: str) -> ComplaintRow:
        """Take a ride out of an open case, with what was found of it."""
        return self._library.drop_from_complaint(self.case(name).id, ride_id)

    def remove_case(self, name: str) -> None:
        """Remove a case with all that was found."""
        self._library.drop_complaint(self.case(name).id)

    def today(self, name: str, ride_id: str) -> Today:
        """A ride of a case beside today."""
        from ridelog.case_findings import today
        from ridelog.cases import frozen_of

        for one in frozen_of(self.case(name)):
            if one.ride == ride_id:
                return today(self._library, one)
        raise NotInLibrary(f"it has no ride {ride_id!r}", where=f"case {name}", to_do="load the page again")


def _given(at: str) -> str:
    if not at.strip():
        raise UsageError(
            "the note has no time", expected="a time within the ride", to_do="click the picture, or type a time"
        )
    return at


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(f"{text[:40]!r} is no date", expected="such as 2026-05-02", to_do="correct the day") from error
