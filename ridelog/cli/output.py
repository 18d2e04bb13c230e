"""`ridelog report` and `ridelog export`: results as files."""

from __future__ import annotations

from pathlib import Path

import click

from ridelog.cli import show
from ridelog.cli.analyzing import run_analysis
from ridelog.cli.common import Finite, library_option, open_library, progress
from ridelog.errors import UsageError
from ridelog.words import progress as doing


@click.command(short_help="Write the report of a ride: one HTML file.")
@click.argument("ride")
@click.option(
    "-o", "--output", required=True, type=click.Path(path_type=Path, dir_okay=False), help="HTML file to write."
)
@click.option(
    "--units",
    type=click.Choice(["metric", "imperial"]),
    default="metric",
    show_default=True,
    help="Units of the page; sentences of the technical annex keep degrees C.",
)
@click.option(
    "--annex/--no-annex",
    default=True,
    show_default=True,
    help="Add the technical annex for the workshop, or write the customer's page alone.",
)
@library_option
def report(ride: str, output: Path, *, units: str, annex: bool, library_folder: Path | None) -> None:
    """Write the report of RIDE: one HTML file that needs no network and prints on paper.

    One page for the customer comes first: what happened, where, for how long, what to do next. The technical annex
    follows.
    """
    from ridelog.diagnose import diagnose
    from ridelog.export import write_atomically
    from ridelog.report import render

    if output.suffix.lower() not in {".html", ".htm"}:
        raise UsageError(f"{output.name} does not end in .html", where="-o", expected="a name such as ride.html")
    with progress() as tell:
        tell(doing.WRITING_REPORT)
        done = run_analysis(open_library(library_folder, must_exist=True), ride)
        page = render(
            done.found.analysis,
            done.found.traces,
            done.ride,
            done.known.bike,
            advice=done.known.advice,
            units=units,
            diagnosis=diagnose(done),
            annex=annex,
        )
        write_atomically(output, page.encode("utf-8"))
    show.lines("", [show.wrote(output)])


@click.command(short_help="Write a ride for other programs, by the ending of the name.")
@click.argument("ride")
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(path_type=Path, dir_okay=False),
    help="File to write: .parquet or .csv (the ride), .geojson (flagged stretches), .gpx (the track).",
)
@click.option(
    "--trim-ends",
    "trim_ends_m",
    type=Finite(0, 100_000),
    default=0.0,
    metavar="M",
    help="Leave out the first and last M metres, so that the file does not show where the ride began.",
)
@click.option(
    "--heat",
    "heat",
    is_flag=True,
    help="Write the heat balance step by step instead (.csv or .parquet): what its figures are worked out from.",
)
@library_option
def export(ride: str, output: Path, *, trim_ends_m: float, heat: bool, library_folder: Path | None) -> None:
    """Write RIDE as a file for other programs, chosen by the ending of its name."""
    from ridelog.export import export as write

    if heat and trim_ends_m:
        raise UsageError("--heat and --trim-ends don't go together", to_do="leave one out: steps hold no position")

    library = open_library(library_folder, must_exist=True)
    with progress() as tell:
        tell(doing.WRITING)
        if heat:
            from ridelog.export_heat import export_steps

            found = run_analysis(library, ride).found
            export_steps(found.analysis, found.traces, output)
        elif output.suffix.lower() == ".geojson":
            done = run_analysis(library, ride)
            write(done.ride, output, segments=done.found.analysis.segments, trim_ends_m=trim_ends_m)
        else:
            write(library.load(library.resolve(ride)), output, trim_ends_m=trim_ends_m)
    show.lines("", [show.wrote(output)])
