"""`ridelog rides`, `edit`, `remove`: the list of the library and what can be corrected in it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ridelog.cli import show
from ridelog.cli.common import (
    ambient_option,
    json_option,
    library_option,
    open_library,
    parse_time,
    print_json,
    to_utc,
)
from ridelog.cli.edge import say
from ridelog.errors import LibraryError
from ridelog.words import library as said
from ridelog.words import terms as words

if TYPE_CHECKING:
    from ridelog.store.library import Library
    from ridelog.store.rows import RideRow

LATEST = 50
"""Rides listed unless --all is given."""


@click.command()
@click.option("--bike", metavar="BIKE", help="Only rides of this bike.")
@click.option("--all", "all_", is_flag=True, help=f"All rides, not only the latest {LATEST}.")
@json_option
@library_option
def rides(bike: str | None, *, all_: bool, as_json: bool, library_folder: Path | None) -> None:
    """List the rides of the library, newest first."""
    library = open_library(library_folder, must_exist=True)
    found = library.list_rides(bike=bike, limit=None if all_ else LATEST + 1)
    more = not all_ and len(found) > LATEST
    found = found if all_ else found[:LATEST]
    if as_json:
        print_json({"schema": 1, "rides": [ride_entry(row) for row in found]}, indent=None)
    elif not found and bike is not None:
        known = sorted({row.bike for row in library.list_rides(limit=None) if row.bike})
        show.lines("", [said.no_rides_of(bike, known)])
    elif not found:
        show.lines("", [said.NO_RIDES])
    else:
        show.table("", said.RIDE_COLUMNS, [_cells(row) for row in found], right=(3, 4, 5), optional=(6, 4, 3))
    if more:
        say(said.latest(LATEST))


def ride_entry(row: RideRow) -> dict[str, Any]:
    """One ride of `rides --json`."""
    return {
        "id": row.id,
        "bike": row.bike,
        "start_utc": row.start_utc.isoformat() if row.start_utc else None,
        "start_local": row.start_local.isoformat() if row.start_local else None,
        "duration_s": row.duration_s,
        "distance_m": row.distance_m,
        "peak_c": row.peak_c,
        "condition": row.condition,
        "channels": list(row.channels),
    }


def _cells(row: RideRow) -> tuple[str, ...]:
    return (
        row.id,
        row.bike or show.DASH,
        _start(row),
        show.duration(row.duration_s),
        show.number(row.distance_m / 1000 if row.distance_m is not None else None, 1, "km"),
        words.degrees(row.peak_c) if row.peak_c is not None else show.DASH,
        row.condition,
    )


def _start(row: RideRow) -> str:
    """The start in UTC; where no zone is known, as the log has it, and saying so."""
    if row.start_utc is not None:
        return f"{row.start_utc:%Y-%m-%d %H:%M}"
    return f"{row.start_local:%Y-%m-%d %H:%M} (local)" if row.start_local is not None else show.DASH


@click.command()
@click.argument("ride")
@click.option("--bike", metavar="BIKE", help="A bike id of the library.")
@ambient_option
@click.option("--start", metavar="ISO8601", help="Date and time of the first sample, with its zone.")
@click.option(
    "--condition",
    type=click.Choice(["healthy", "faulty", "unknown"]),
    help="What is known of the bike on that day; a faulty bike is no measure for others.",
)
@json_option
@library_option
def edit(
    ride: str,
    bike: str | None,
    ambient_c: float | None,
    start: str | None,
    condition: str | None,
    *,
    as_json: bool,
    library_folder: Path | None,
) -> None:
    """Correct what the import was told about RIDE. What the log says is never changed."""
    library = open_library(library_folder, must_exist=True)
    changes: dict[str, Any] = {}
    if bike is not None:
        changes["bike"] = library.bike(bike).id
    if ambient_c is not None:
        changes["ambient_c"] = ambient_c
    if start is not None:
        changes["start_utc"] = to_utc(parse_time(start))
    if condition is not None:
        changes["condition"] = condition
    if not changes:
        raise click.UsageError("nothing to change: give --bike, --ambient, --start or --condition")
    row = library.edit(library.resolve(ride), **changes)
    if as_json:
        print_json({"schema": 1, "rides": [ride_entry(row)]})
    else:
        show.lines("", [said.edited(row.id, changes)])


@click.command()
@click.argument("ride")
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
@library_option
def remove(ride: str, *, yes: bool, as_json: bool, library_folder: Path | None) -> None:
    """Remove RIDE and its kept original from the library."""
    library = open_library(library_folder, must_exist=True)
    name = library.resolve(ride)
    if not yes and not click.confirm(said.ask_removal(name, _told(library, name)), err=True):
        say(said.NOTHING_REMOVED)
        return
    library.remove(name)
    if as_json:
        print_json({"schema": 1, "removed": [name]})
    else:
        show.lines("", [said.removed(name)])


def _told(library: Library, name: str) -> str:
    """What is lost with a ride, for the question. What is damaged can be removed like the rest."""
    try:
        row, notes = library.row(name), len(library.notes_of(name))
    except LibraryError:
        return said.DAMAGED
    return said.lost_with(row.duration_s, ", ".join(file.name for file in row.files), notes)
