"""`ridelog effect`."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ridelog.cli import show
from ridelog.cli.common import (
    bike_option,
    find_bike,
    json_option,
    library_option,
    open_library,
    print_json,
    progress,
)
from ridelog.errors import UsageError

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.effect import Effect
    from ridelog.store.library import Library


@click.command(short_help="Estimate over many rides what the conservative map does.")
@bike_option
@json_option
@library_option
def effect(bike: str | None, *, as_json: bool, library_folder: Path | None) -> None:
    """Estimate how much heat the conservative map puts into the coolant over the standard one at the same work and
    speed, from the bike's rides, else from those of its build. The what-if of a ride then goes by it.

    It says "can't tell" where the map was changed with the ground only, or hardly changed.

    An estimate from coolant: it says nothing of the piston. Decide with a qualified technician and the bike's handbook.
    """
    with progress() as tell:
        library = open_library(library_folder, must_exist=True)
        profile = _bike(library, bike)
        from ridelog.effect import effect_of

        found = effect_of(library, profile, tell)
    if as_json:
        print_json(found.to_json())
    else:
        print_effect(found)


def _bike(library: Library, named: str | None) -> Bike:
    """The bike that was named, or the library's only one. Raises UsageError where there are more."""
    found = find_bike(library, named)
    if found is not None:
        return found
    bikes = library.bikes()
    if len(library.bike_files()) == 1 and bikes:
        return bikes[0]
    ids = ", ".join(bike.id for bike in bikes[:8]) + (", ..." if len(bikes) > 8 else "")
    raise UsageError(
        f"the library holds {len(bikes)} bikes" if bikes else "the library holds no bike",
        expected=f"--bike with one of {ids}" if bikes else "a bike file",
        to_do="name one with --bike" if bikes else "add one: ridelog bikes add FILE",
    )


def print_effect(found: Effect) -> None:
    """The effect as a person reads it: the answer or why there is none, what it rests on, cautions."""
    from ridelog.words import effect as words

    said = []
    if found.heat_ratio is not None and found.same_throttle is not None:
        said += [words.found(found.heat_ratio), words.at_throttle(found.same_throttle)]
    else:
        said.append(words.CANT_TELL.format(reason=found.reason))
    if found.level == "build":
        said.append(words.of_build(found.build, len(found.bikes)))
    if found.rides:
        said.append(
            words.rests_on(
                found.rides, found.switches, found.switches_on_like_ground, found.standard_s, found.conservative_s
            )
        )
    show.lines(f"Bike {found.bike}", said)
    if found.left_out:
        reasons = Counter(one.reason for one in found.left_out)
        show.lines(words.left_out(len(found.left_out)), [words.how_many(n, why) for why, n in reasons.most_common()])
    show.lines("How", [found.method])
    show.lines("", list(words.CAUTIONS))
