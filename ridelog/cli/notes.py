"""`ridelog note`: what a rider or a workshop wrote of a moment of a ride."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ridelog.cli import show
from ridelog.cli.common import json_option, library_option, open_library, print_json

if TYPE_CHECKING:
    from ridelog.notes import Span
    from ridelog.store.casebook import NoteRow
    from ridelog.store.library import Library
    from ridelog.store.rows import Keep

ABOUT = ("map_conservative", "map_standard", "stop", "coolant_lost", "service", "other")


class _About(click.Choice[str]):
    """One of ABOUT; dashes do for underscores."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The name with underscores."""
        return super().convert(value.replace("-", "_") if isinstance(value, str) else value, param, ctx)


@click.command(short_help="Note what happened in a ride; list, correct, remove notes.")
@click.argument("ride")
@click.argument("words", metavar="[TEXT]", nargs=-1)
@click.option(
    "--at",
    metavar="TIME",
    help="When: seconds, m:ss or h:mm:ss from the start of the ride, or a time of day where the ride has a date. What"
    " can be both is refused: +12:34 is from the start, T10:31 a time of day.",
)
@click.option("--timezone", metavar="TZ", help="Zone of a time of day, where the log does not know it.")
@click.option(
    "--about",
    type=_About(ABOUT),
    metavar="ABOUT",
    help="What it speaks of: map-conservative, map-standard (in use from there on), stop, coolant-lost, service or"
    " other. Left out, it is taken from plain words.",
)
@click.option("--correct", type=click.IntRange(1), metavar="N", help="Change note N: its text, --at, --about.")
@click.option("--remove", type=click.IntRange(1), metavar="N", help="Remove note N.")
@json_option
@library_option
def note(
    ride: str,
    words: tuple[str, ...],
    *,
    at: str | None,
    timezone: str | None,
    about: str | None,
    correct: int | None,
    remove: int | None,
    as_json: bool,
    library_folder: Path | None,
) -> None:
    """Write a note on the time line of RIDE: `ridelog note RIDE --at 0:12:34 coolant at the overflow`.

    Without a text, the notes of the ride are listed with their numbers. Notes on the map in use and on lost coolant
    serve the analysis as evidence.
    """
    text = " ".join(words) if words else None
    library = open_library(library_folder, must_exist=True)
    row = library.row(library.resolve(ride))
    document: dict[str, Any] = {}
    if remove is not None:
        if text is not None or at is not None or about is not None or correct is not None:
            raise click.UsageError("--remove goes alone")
        said = _removed(library, row.id, remove, document)
    elif correct is None and text is None:
        if at is not None or about is not None or timezone is not None:
            raise click.UsageError("a note needs its text: ridelog note RIDE --at TIME TEXT")
        said = []
    elif correct is None:
        if at is None:
            raise click.UsageError("a note needs its time: ridelog note RIDE --at TIME TEXT")
        said = _added(library, row.id, text or "", at=at, timezone=timezone, about=about, document=document)
    else:
        if text is None and at is None and about is None:
            raise click.UsageError("nothing to change: give a text, --at or --about")
        said = _corrected(library, row.id, correct, text=text, at=at, timezone=timezone, about=about, document=document)
    if as_json:
        notes = [note_entry(one) for one in library.notes_of(row.id)]
        print_json({"schema": 1, "ride": row.id, **document, "notes": notes})
    elif said:
        show.lines("", said)
    else:
        _list(library, row.id)


def note_entry(row: NoteRow) -> dict[str, Any]:
    """One note of `note --json`."""
    return {
        "number": row.number,
        "at_s": row.at_s,
        "about": row.about,
        "text": row.text,
        "written_utc": row.written_utc.isoformat(),
    }


def _span(library: Library, ride_id: str) -> Span:
    from ridelog.notes import span_of

    return span_of(library, library.row(ride_id))


def _about(library: Library, ride_id: str, text: str, about: str | None) -> tuple[str, str | None]:
    """What a text is about, and why; no reason where it was told."""
    if about is not None:
        return about, None
    from ridelog.note_about import about_of

    bike = library.row(ride_id).bike
    taken = about_of(text, library.bike(bike) if bike is not None else None)
    return taken.about, taken.why


def _added(
    library: Library,
    ride_id: str,
    text: str,
    *,
    at: str,
    timezone: str | None,
    about: str | None,
    document: dict[str, Any],
) -> list[str]:
    from ridelog.notes import read_time
    from ridelog.words import notes as words

    when = read_time(at, _span(library, ride_id), timezone)
    meant, why = _about(library, ride_id, text, about)
    row = library.add_note(ride_id, when.at_s, meant, text)
    document |= {"added": row.number, "about_by": "told" if why is None else why}
    return [words.written(row.number, row.at_s, row.text), words.taken(row.about, why)]


def _corrected(
    library: Library,
    ride_id: str,
    number: int,
    *,
    text: str | None,
    at: str | None,
    timezone: str | None,
    about: str | None,
    document: dict[str, Any],
) -> list[str]:
    from ridelog.notes import read_time
    from ridelog.store.rows import KEEP
    from ridelog.words import notes as words

    at_s = read_time(at, _span(library, ride_id), timezone).at_s if at is not None else KEEP
    meant, why = _meant_after(library, ride_id, number, text, about)
    row = library.correct_note(ride_id, number, at_s=at_s, about=meant, text=text if text is not None else KEEP)
    document["corrected"] = row.number
    if text is not None or about is not None:
        document["about_by"] = "told" if why is None else why
    said = [words.corrected(row.number, row.at_s, row.text)]
    return said if text is None and about is None else [*said, words.taken(row.about, why)]


def _meant_after(
    library: Library, ride_id: str, number: int, text: str | None, about: str | None
) -> tuple[str | Keep, str | None]:
    """What a corrected note is about. Another time alone means nothing else; another text may, but not where somebody
    had said what the note is about."""
    from ridelog.store.rows import KEEP

    if about is not None:
        return about, None
    old = next((row for row in library.notes_of(ride_id) if row.number == number), None)
    if text is None or old is None or _about(library, ride_id, old.text, None)[0] != old.about:
        return KEEP, None
    return _about(library, ride_id, text, None)


def _removed(library: Library, ride_id: str, number: int, document: dict[str, Any]) -> list[str]:
    from ridelog.words import notes as words

    row = library.remove_note(ride_id, number)
    document["removed"] = note_entry(row) if row is not None else {"number": number}
    return [words.removed(row.number, row.at_s, row.text) if row is not None else words.removed_damaged(number)]


def _list(library: Library, ride_id: str) -> None:
    from ridelog.notes import clock_of
    from ridelog.words import notes as words

    rows = library.notes_of(ride_id)
    if not rows:
        show.lines("", [words.NO_NOTES])
        return
    span = _span(library, ride_id)
    cells = [
        (
            str(row.number),
            words.elapsed(row.at_s),
            words.time_of_day(clock_of(span, row.at_s)),
            words.ABOUT_WORDS[row.about],
            row.text,
        )
        for row in rows
    ]
    show.table("", ("note", "from start", "time of day", "counts as", "text"), cells, right=(0, 1))
