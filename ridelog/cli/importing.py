"""`ridelog import`."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ridelog.cli import show
from ridelog.cli.asking import asker, at_terminal
from ridelog.cli.common import (
    Reading,
    ambient_option,
    bike_option,
    find_bike,
    import_options,
    json_option,
    library_option,
    looks_like_path,
    open_library,
    print_json,
    progress,
    reading_options,
)
from ridelog.cli.edge import Refused, say
from ridelog.errors import UsageError
from ridelog.words import library as words

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.ingest import Outcome
    from ridelog.store.library import Library


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path, readable=False), metavar="FILE...")
@bike_option
@ambient_option
@click.option("--together", is_flag=True, help="The files are one ride, from several devices.")
@click.option(
    "--offset",
    "offsets",
    multiple=True,
    metavar="'FILE=SECONDS'",
    help="With --together: seconds to add to the clock of FILE; where it has no date, the seconds from the first sample"
    " of the file whose clock is kept to its own. May be given several times.",
)
@reading_options
@json_option
@library_option
def import_(
    files: tuple[Path, ...],
    bike: str | None,
    ambient_c: float | None,
    *,
    reading: Reading,
    together: bool,
    offsets: tuple[str, ...],
    as_json: bool,
    library_folder: Path | None,
) -> None:
    """Read logs and store them in the library.

    Each file becomes a ride (or several, where it holds several recordings). A file that can't be read is named with
    the reason; the others are still imported. The original is kept. Where a column fits two meanings it is asked at a
    terminal, and refused elsewhere.
    """
    from ridelog.ingest import import_files
    from ridelog.ingest_together import parse_offset_option

    library = open_library(library_folder)
    profile = stored_bike(library, bike)
    options = replace(import_options(reading, profile, ambient_c), offsets=tuple(map(parse_offset_option, offsets)))
    with progress() as tell:
        ask = asker(tell.paused) if at_terminal() and not as_json else None
        outcomes = import_files(library, files, options, together=together, progress=tell, ask=ask)
    if as_json:
        print_json({"schema": 1, "rides": [_entry(outcome) for outcome in outcomes]})
    else:
        _print(outcomes)
    asked = [*reading.given(), *(["--bike"] if bike else []), *(["--ambient"] if ambient_c is not None else [])]
    asked += ["--offset"] if offsets else []
    for outcome in outcomes:
        if outcome.status == "already_stored" and asked:
            say(words.not_applied(str(outcome.ride_id), asked))
    refused = [outcome for outcome in outcomes if outcome.status == "refused"]
    for outcome in refused:
        say(words.not_imported(outcome.reason))
    if refused:
        raise Refused


def stored_bike(library: Library, text: str | None) -> Bike | None:
    """The bike of an import. One named by a file is added to the library, so that its rides can be analyzed later."""
    bike = find_bike(library, text)
    if bike is None or text is None or not looks_like_path(text):
        return bike
    if bike.id not in {known.id for known in library.bikes()}:
        say(words.bike_added_with_import(bike.id))
        return library.add_bike(Path(text))
    if library.bike(bike.id) != bike:
        raise UsageError(
            f"the library already has a bike {bike.id}, and this file differs from it",
            where=text,
            expected="the id of that bike, or a file with another id",
            to_do=f"use --bike {bike.id}, or replace it first: ridelog bikes add {text}",
        )
    return bike


def _entry(outcome: Outcome) -> dict[str, Any]:
    return {
        "id": outcome.ride_id,
        "files": [{"name": file.name, "sha256": file.sha256} for file in outcome.files],
        "status": outcome.status,
        "reason": outcome.reason,
        "notes": [
            {"kind": note.kind, "text": note.text, "rows": note.rows, "example": note.example} for note in outcome.notes
        ],
    }


def _print(outcomes: list[Outcome]) -> None:
    rows = [
        (
            outcome.ride_id or show.DASH,
            " + ".join(file.name for file in outcome.files),
            words.STATUS_WORDS[outcome.status],
        )
        for outcome in outcomes
    ]
    show.table("", words.IMPORT_COLUMNS, rows)
    for outcome in outcomes:
        if outcome.status != "refused":
            show.lines(words.noted(str(outcome.ride_id)), [note.sentence() for note in outcome.notes])
    stored = [outcome for outcome in outcomes if outcome.status == "stored"]
    if stored:
        show.lines("", [words.next_step(str(stored[0].ride_id))])
