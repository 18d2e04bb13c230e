"""`ridelog diagnose`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ridelog.cli import show
from ridelog.cli.common import (
    ambient_option,
    bike_option,
    find_bike,
    json_option,
    library_option,
    open_library,
    print_json,
    progress,
    ride_or_file,
)
from ridelog.errors import UsageError
from ridelog.words import progress as doing

if TYPE_CHECKING:
    from ridelog.analysis.thermal_prior import RideFit
    from ridelog.bike import Bike
    from ridelog.diagnose import Diagnosis
    from ridelog.ride import Ride
    from ridelog.store.library import Library

SHOWN = 4
"""Causes a person is shown; `--json` lists them all."""

LEAST_SHOWN = 0.05


@click.command(short_help="Rank the causes of a hot ride against the bike's healthy rides.")
@click.argument("ride_or_file_", metavar="RIDE_OR_FILE")
@bike_option
@ambient_option
@click.option(
    "--against",
    multiple=True,
    metavar="RIDE",
    help="A healthy ride of the library to hold it against; may be given several times. Else the bike's other rides,"
    " then rides of its build.",
)
@json_option
@library_option
def diagnose(
    ride_or_file_: str,
    bike: str | None,
    ambient_c: float | None,
    *,
    against: tuple[str, ...],
    as_json: bool,
    library_folder: Path | None,
) -> None:
    """Rank what may be behind a hot ride: ground, map, air side, coolant side, heat made, sensor, or nothing at all.

    RIDE_OR_FILE is a ride of the library (the start of its id will do) or a log file, which is then not stored.

    Likelihoods from one log, not findings: decide with a qualified technician and the bike's handbook.
    """
    with progress() as tell:
        tell(doing.DIAGNOSING)
        found = run_diagnosis(open_library(library_folder), ride_or_file_, bike, ambient_c, against)
    if as_json:
        print_json(found.to_json())
    else:
        print_diagnosis(found)


def run_diagnosis(
    library: Library, text: str, bike: str | None = None, ambient_c: float | None = None, against: tuple[str, ...] = ()
) -> Diagnosis:
    """The diagnosis of a stored ride or of a file."""
    from dataclasses import replace

    from ridelog.cli.analyzing import AS_FOUND
    from ridelog.diagnose import diagnose as diagnose_study
    from ridelog.study import known_of_ride, study

    profile = find_bike(library, bike)
    ride = ride_or_file(library, text, profile, ambient_c, AS_FOUND)
    known = known_of_ride(library, ride, profile)
    if against:
        known = replace(known, baseline=_named(library, ride, known.bike, against))
    return diagnose_study(study(ride, known, ambient_c=ambient_c))


def _named(library: Library, ride: Ride, bike: Bike | None, against: tuple[str, ...]) -> tuple[RideFit, ...]:
    """Fits of the rides that were named. Raises UsageError for one that can't serve."""
    from dataclasses import replace

    from ridelog.analyze import heat_fit
    from ridelog.ride import ride_day

    if bike is None:
        raise UsageError("--against needs a bike: heat is figured from its file", to_do="name one with --bike")
    found: dict[str, RideFit] = {}
    for text in against:
        name = library.resolve(text)
        if name == ride.id:
            raise UsageError(f"{name} is the ride that is looked at", where="--against", expected="another ride")
        other = library.load(name)
        profile = bike if other.bike in (None, bike.id) else library.bike(str(other.bike))
        fit = heat_fit(other, profile)
        if fit is None:
            raise UsageError(
                f"no heat balance can be made of {name}",
                where="--against",
                expected="a ride with coolant, engine speed and load",
                to_do=f"look at `ridelog analyze {name}` for the reason",
            )
        found[name] = replace(
            fit, other=profile.id if profile.id != bike.id else None, day=ride_day(other), air_c=other.ambient_c
        )
    return tuple(found.values())


def print_diagnosis(found: Diagnosis) -> None:
    """The diagnosis as a person reads it: the answer, the causes with what speaks for and against, what to check."""
    from ridelog.words.causes import CAUSE_WORDS, against_what, chance

    # Without a heat balance the ride is held against nothing.
    held = [against_what(len(found.baseline.rides), found.baseline.level)] if found.fitted else []
    show.lines(f"Ride {found.ride}", [*found.summary, *held])
    settled = found.conclusion != "not_enough_evidence" or found.fitted
    # Without a heat balance the likelihoods are what they were before the ride: not worth a line.
    shown = [one for one in found.ranked[:SHOWN] if one.probability >= LEAST_SHOWN] if settled else []
    for number, one in enumerate(shown, start=1):
        said = [*(f"For: {text}" for text in one.evidence_for), *(f"Against: {text}" for text in one.evidence_against)]
        show.lines(f"{number}. {CAUSE_WORDS[one.cause].capitalize()} ({chance(one.holds)})", said)
    show.lines("Check next", list(found.check_next))
    show.lines("", list(found.cautions))
