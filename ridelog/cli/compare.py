"""`ridelog compare`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ridelog.cli import show
from ridelog.cli.common import find_bike, json_option, library_option, open_library, print_json, progress
from ridelog.errors import UsageError

if TYPE_CHECKING:
    from ridelog.analysis.matched_records import Comparison
    from ridelog.store.library import Library


@click.command(short_help="Set rides beside rides at the same load, speed and air.")
@click.argument("rides", nargs=-1, metavar="[RIDE]...")
@click.option("--bike", metavar="BIKE", help="With --service: the bike, an id of the library or a bike file.")
@click.option("--service", metavar="DATE", help="Rides after the work the bike file lists on that day, against before.")
@click.option("--build", "among_build", is_flag=True, help="The rides' bike against the other bikes of its build.")
@json_option
@library_option
def compare(
    rides: tuple[str, ...],
    *,
    bike: str | None,
    service: str | None,
    among_build: bool,
    as_json: bool,
    library_folder: Path | None,
) -> None:
    """Set the first RIDE beside the others at the same load, speed and air: hotter, cooler, the same, or can't tell.

    With --bike BIKE --service DATE the rides after a piece of work are set beside those before it. With --build the
    bike of the ride is set beside the other bikes of its build.

    Estimates from logs, no findings: decide with a qualified technician and the bike's handbook.
    """
    with progress() as tell:
        asked = Question(rides, bike, service, among_build)
        found = run_comparison(open_library(library_folder, must_exist=True), asked, tell)
    if as_json:
        print_json(document(found))
    else:
        print_comparison(found)


@dataclass(frozen=True)
class Question:
    """What the user asked for, as it came."""

    rides: tuple[str, ...] = ()
    bike: str | None = None
    service: str | None = None
    among_build: bool = False


def run_comparison(library: Library, asked: Question, tell: Callable[[str], None]) -> Comparison:
    """The comparison that was asked for. Raises UsageError where the options don't fit together."""
    from ridelog import compare_rides
    from ridelog.compare import Asked, compare_with_build
    from ridelog.compare import compare as compare_sides

    bike, service, rides = asked.bike, asked.service, asked.rides
    if service is not None:
        profile = find_bike(library, bike)
        if profile is None or rides or asked.among_build:
            raise UsageError(
                "--service goes with --bike and nothing else",
                expected="ridelog compare --bike BIKE --service DATE",
                to_do="name the bike and leave rides and --build out",
            )
        chosen = compare_rides.around_service(library, profile, _day(service), tell)
        sides = Asked("service", chosen.first_name, chosen.others_name, chosen.service, chosen.left_out)
        return compare_sides(chosen.first, chosen.others, sides)
    if bike is not None:
        raise UsageError("--bike goes with --service", where="--bike", to_do="add --service DATE, or leave --bike out")
    if not rides:
        raise UsageError(
            "no ride is named", expected="two rides, or one with --build", to_do="ridelog rides lists the library"
        )
    if asked.among_build:
        build = compare_rides.among_build(library, rides, tell)
        return compare_with_build(build.bike, build.first, build.others)
    chosen = compare_rides.named(library, rides, tell)
    return compare_sides(chosen.first, chosen.others, Asked("rides", chosen.first_name, chosen.others_name))


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f"{text!r} is not a day", where="--service", expected="a day such as 2026-05-02", to_do="correct the option"
        ) from error


def document(found: Comparison) -> dict[str, Any]:
    """The JSON document."""
    from ridelog.results import to_json

    return {"schema": 1, **to_json(found)}


def print_comparison(found: Comparison) -> None:
    """The comparison as a person reads it: the answer, what it rests on, then table by table."""
    from ridelog.words import compare as words
    from ridelog.words import compare_tables as pages
    from ridelog.words.terms import open_line

    show.lines(pages.title(found), found.summary)
    for table in pages.tables(found):
        show.table(table.title, table.columns, table.rows, right=table.right, optional=table.optional)
    show.lines(words.RIDDEN, pages.riding_lines(found))
    show.lines("Can't tell", [open_line(one.question, one.reason) for one in found.cannot_tell])
    show.lines("Left out", found.left_out)
    show.lines("", [words.METHOD, *found.cautions] if found.settle else found.cautions)
