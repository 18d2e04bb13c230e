"""`ridelog analyze`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ridelog.cli import show
from ridelog.cli.common import (
    Reading,
    ambient_option,
    bike_option,
    find_bike,
    json_option,
    library_option,
    open_library,
    print_json,
    progress,
    reading_options,
    ride_or_file,
)
from ridelog.words import analyzed as heads
from ridelog.words import heat as heat_words
from ridelog.words import notes as note_words
from ridelog.words import progress as doing
from ridelog.words import riding as riding_words
from ridelog.words import terms as words
from ridelog.words.checks import check_lines

if TYPE_CHECKING:
    from collections.abc import Callable

    from ridelog.results import Analysis, Exposure, Segment
    from ridelog.store.library import Library
    from ridelog.study import Study


AS_FOUND = Reading(None, None, None, (), None)
"""Nothing said about how to read a file."""


@click.command(short_help="Tell when, where and how long it was hot, and on which map.")
@click.argument("ride_or_file_", metavar="RIDE_OR_FILE")
@bike_option
@ambient_option
@reading_options
@json_option
@library_option
def analyze(
    ride_or_file_: str,
    bike: str | None,
    ambient_c: float | None,
    *,
    reading: Reading,
    as_json: bool,
    library_folder: Path | None,
) -> None:
    """Tell when, where and for how long it was hot, and which stretches called for the conservative map.

    RIDE_OR_FILE is a ride of the library (the start of its id will do) or a log file, which is then not stored.
    """
    with progress() as tell:
        tell(doing.ANALYZING)
        library = open_library(library_folder)
        result = run_analysis(library, ride_or_file_, bike, ambient_c, reading, progress=tell).found.analysis
    if as_json:
        from ridelog.results import to_json

        print_json({"schema": 1, **to_json(result)})
    else:
        print_analysis(result)


def run_analysis(
    library: Library,
    text: str,
    bike: str | None = None,
    ambient_c: float | None = None,
    reading: Reading = AS_FOUND,
    *,
    progress: Callable[[str], None] | None = None,
) -> Study:
    """The analysis of a stored ride or of a file, with the bike named, else the one the ride belongs to."""
    from ridelog.study import known_of_ride, study

    profile = find_bike(library, bike)
    ride = ride_or_file(library, text, profile, ambient_c, reading)
    return study(ride, known_of_ride(library, ride, profile, progress), ambient_c=ambient_c)


def print_analysis(result: Analysis) -> None:
    """The analysis as a person reads it: the answer, the stretches, the time above, the doubts."""

    facts = result.ride
    head = heads.head(facts.id, facts.bike, show.duration(facts.duration_s), facts.distance_m)
    show.lines(head, result.summary)
    _print_segments(result)
    _print_exposure(result)
    _print_heat(result)
    if result.boiling:
        show.lines(heads.BOILING, heads.boiling_lines(result.boiling))
    show.lines(riding_words.TITLE, riding_words.riding_lines(result.facts))
    show.lines(heads.NOTES, [note_words.listed(note.at_s, note.about, note.text) for note in result.notes])
    show.lines(heads.CHECKS, check_lines(result.facts))
    asked = [words.open_line(item.question, item.reason) for item in result.cannot_tell]
    show.lines(heads.OPEN, asked)
    marks = [
        heads.doubtful_line(
            words.channel_words(mark.channel),
            words.quality_words(mark.kind),
            (words.clock(mark.start_s), words.clock(mark.end_s)),
            words.ACTION_WORDS[mark.action],
            mark.detail,
        )
        for mark in result.quality
    ]
    # Latitude and longitude are one position in words: what is said of both alike stands once.
    show.lines(heads.DOUBTFUL, dict.fromkeys(marks))
    show.lines("", heads.CAUTIONS)


def _print_segments(result: Analysis) -> None:
    show.table(
        heads.STRETCHES,
        heads.STRETCH_COLUMNS,
        [_segment_cells(segment, result) for segment in result.segments],
        right=(0, 1, 3),
        optional=(3, 4, 8, 1, 5),
    )
    if any(segment.settle_c is not None for segment in result.segments):
        show.lines("", [heat_words.SETTLE_NOTE])


def _print_exposure(result: Analysis) -> None:
    unseen = any(row.estimated_s is not None for row in result.exposure)
    rows = [
        (
            f"{row.name} {row.threshold_c:g} C",
            *_seen(row),
            show.duration(row.unknown_s),
            *([heat_words.estimated(row)] if unseen else []),
        )
        for row in result.exposure
    ]
    columns = (*heads.ABOVE_COLUMNS, *([heads.ESTIMATED_COLUMN] if unseen else []))
    show.table(heads.TIME_ABOVE, columns, rows, right=tuple(range(1, len(columns))), optional=(4, 5, 3))


def _seen(row: Exposure) -> tuple[str, ...]:
    """What the sensor saw; where it never spoke, nought seconds would be no finding."""
    if row.peak_c is None:
        return (heads.NOT_SEEN, *[show.DASH] * 4)
    return (
        show.duration(row.observed_s),
        f"{show.duration(row.observed_low_s)} to {show.duration(row.observed_high_s)}",
        show.duration(row.longest_s),
        str(row.excursions),
        show.duration(row.engine_off_s),
    )


def _print_heat(result: Analysis) -> None:
    """What the heat balance found, and the same ride on the conservative map."""
    show.lines(heads.HEAT, [f"{name}: {text}" for name, text in heat_words.heat_lines(result)])
    rows = heat_words.what_if_rows(result)
    if rows and result.what_if is not None:
        show.table(
            heads.OTHER_MAP,
            [name.lower() for name in heat_words.WHAT_IF_COLUMNS],
            rows,
            right=(1,),
        )
        assumed = heat_words.what_if_map(result)
        show.lines("", [heat_words.what_if_note(result.what_if), *([assumed] if assumed else [])])


def _segment_cells(segment: Segment, result: Analysis) -> tuple[str, ...]:
    drag = show.DASH
    if segment.drag_coefficient is not None and segment.drag_low is not None and segment.drag_high is not None:
        drag = f"{segment.drag_coefficient:z.2f} ({segment.drag_low:z.2f} to {segment.drag_high:z.2f})"
    coolant = show.DASH
    if segment.coolant_start_c is not None and segment.coolant_peak_c is not None:
        coolant = f"{segment.coolant_start_c:.0f}, peak {segment.coolant_peak_c:.0f} C"
    return (
        words.clock(segment.start_s),
        words.clock(segment.end_s),
        words.segment_words(segment),
        show.number(segment.mean_speed_mps * 3.6 if segment.mean_speed_mps is not None else None, 0, "km/h"),
        drag,
        coolant,
        heat_words.settle(segment),
        heat_words.limit_after(segment),
        show.share(segment.conservative_share),
        words.verdict_words(segment, result),
    )
