"""`ridelog places`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ridelog.cli import show
from ridelog.cli.common import json_option, library_option, open_library, print_json, progress
from ridelog.errors import UsageError

if TYPE_CHECKING:
    from ridelog.analysis.passes_records import SameGround
    from ridelog.cli.common import Progress
    from ridelog.places_hot import HotPlaces
    from ridelog.results import CannotTell
    from ridelog.store.library import Library


@click.command(short_help="The same ground again, pass by pass; the hottest places.")
@click.argument("rides", metavar="[RIDE]...", nargs=-1)
@click.option("--bike", metavar="BIKE", help="Without a ride: the hottest places of this bike's rides.")
@click.option(
    "--no-positions",
    "positions",
    is_flag=True,
    flag_value=False,
    default=True,
    help="Leave latitude and longitude out of --json: a track may show where somebody lives. Without --json none are"
    " printed.",
)
@json_option
@library_option
def places(
    rides: tuple[str, ...], bike: str | None, *, positions: bool, as_json: bool, library_folder: Path | None
) -> None:
    """With one RIDE: its laps, or the stretches it rode more than once, pass by pass.

    With several, in any order: the stretches they share, and whether the bike ran warmer on them at the same load and
    air. Same loop, same rider, before and after is the surest test of a change.

    Without any: the places of the library where it gets hot, and for how many rides and bikes.
    """
    if rides and bike is not None:
        raise UsageError(
            "--bike picks rides by itself", where=f"--bike {bike}", expected="rides, or --bike", to_do="leave one out"
        )
    with progress() as tell:
        library = open_library(library_folder, must_exist=True)
        ground = same_ground(library, rides, tell) if rides else None
        hot = hottest(library, bike, tell) if not rides else None
    if ground is not None:
        print_json(ground.to_json(positions=positions), indent=None) if as_json else print_same_ground(ground)
    if hot is not None:
        print_json(hot.to_json(positions=positions), indent=None) if as_json else print_hottest(hot)


def same_ground(library: Library, rides: tuple[str, ...], tell: Progress) -> SameGround:
    """Passes of stored rides over the same ground."""
    from ridelog.places import same_ground as of_studies
    from ridelog.study import known_of_ride, study
    from ridelog.words import progress as doing

    studies = []
    names = list(dict.fromkeys(library.resolve(text) for text in rides))
    for number, name in enumerate(names, 1):
        tell(doing.looking_at(number, len(names)))
        ride = library.load(name)
        studies.append(study(ride, known_of_ride(library, ride)))
    return of_studies(studies)


def hottest(library: Library, bike: str | None, tell: Progress) -> HotPlaces:
    """The hottest places of all rides, or of a bike's."""
    from ridelog.places_hot import hot_places

    return hot_places(library, bike, tell)


def print_same_ground(found: SameGround) -> None:
    """Stretches and passes as a person reads them."""
    from ridelog.words import places as words

    show.lines("", found.summary)
    for row in found.stretches:
        show.lines(words.kind(row), [words.passed(row)])
        passes = [words.pass_cells(one) for one in row.passes]
        columns = words.pass_columns(row.kind)
        show.table("", columns, passes, right=(3, 4, 5), optional=(7, 4, 5, 2))
        if row.compared:
            cells = [words.compared_cells(one, row.kind) for one in row.compared]
            show.table("", words.compared_columns(row.kind), cells, optional=(6, 7, 5))
    if found.stretches:
        show.lines("", [words.NOTE_ON_HEAT, words.COMPARED_NOTE])
    _print_untold(found.cannot_tell)


def print_hottest(found: HotPlaces) -> None:
    """The hottest places as a person reads them."""
    from ridelog.words import places_hot as words

    show.lines("", found.summary)
    rows = [words.hot_cells(number, place, found.bike) for number, place in enumerate(found.places, 1)]
    show.table("", words.hot_columns(found.bike), rows, right=(0,), optional=(5, 3))
    if rows:
        show.lines("", [words.HOT_NOTE])
    _print_untold(found.cannot_tell)


def _print_untold(items: tuple[CannotTell, ...]) -> None:
    from ridelog.words import places as words

    show.lines("Left out", words.untold(items))
    show.lines("", words.CAUTIONS)
