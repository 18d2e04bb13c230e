"""`ridelog bikes` and `ridelog advice`: the files a user writes."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ridelog.cli import show
from ridelog.cli.common import InOrder, json_option, library_option, open_library, print_json
from ridelog.cli.edge import Refused, say
from ridelog.errors import NotInLibrary, ProfileError, UsageError
from ridelog.words import library as words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from ridelog.advice import Advice
    from ridelog.bike import Bike
    from ridelog.store.mappings import ColumnMeaning, Mapping


def _plain(record: Any) -> dict[str, Any]:
    """A profile as JSON values: days as ISO text, pairs as objects."""
    document = asdict(record)
    for key, value in document.items():
        if isinstance(value, date):
            document[key] = value.isoformat()
        elif key in {"slot_values", "thresholds"}:
            document[key] = dict(value)
        elif key == "services":
            document[key] = [{"date": item["day"].isoformat(), "what": item["what"]} for item in value]
        elif key == "rules":
            document[key] = [
                {**{k: v for k, v in item.items() if k != "levels"}, **dict(item["levels"])} for item in value
            ]
    return document


@click.group(cls=InOrder, invoke_without_command=True)
@json_option
@library_option
@click.pass_context
def bikes(ctx: click.Context, *, as_json: bool, library_folder: Path | None) -> None:
    """List the bikes of the library; draft, add or show one."""
    ctx.obj = library_folder
    if ctx.invoked_subcommand is None:
        library = open_library(library_folder)
        _list_bikes(library.bikes(), as_json=as_json)
        _refuse([one for one in library.bike_files().values() if isinstance(one, ProfileError)])


def _refuse(lost: Sequence[ProfileError]) -> None:
    """Stored files that can't be used are told after the others were listed. Raises Refused where there are any."""
    for error in lost:
        say(error.one_line())
    if lost:
        raise Refused


def _list_bikes(found: list[Bike], *, as_json: bool) -> None:
    if as_json:
        print_json({"schema": 1, "bikes": [_plain(bike) for bike in found]})
    elif not found:
        show.lines("", [words.NO_BIKES])
    else:
        rows = [
            (
                bike.id,
                bike.build,
                f"{bike.total_kg:g} kg",
                f"{bike.peak_power_kw:g} kW",
                "yes" if bike.fan_on_c is not None else "no",
                ", ".join(f"{name} {value:g} C" for name, value in bike.thresholds),
                str(len(bike.defaults_used)),
            )
            for bike in found
        ]
        show.table("", words.BIKE_COLUMNS, rows, right=(2, 3, 6))


@bikes.command("new", short_help="Draft a bike file to fill in and add.")
@click.argument("bike_id", metavar="ID")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="File to write. Default: ID.bike.toml here.")
def bikes_new(bike_id: str, output: Path | None) -> None:
    """Write a bike file with every key behind a '#', to fill in and add."""
    from ridelog.bike import template

    _draft(output or Path(f"{bike_id}.bike.toml"), template(bike_id), "bikes")


def _draft(path: Path, text: str, group: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as error:
        raise UsageError("is there already", where=str(path), to_do="choose another name with -o") from error
    except OSError as error:
        raise UsageError(
            f"can't be written ({error.strerror})", where=str(path), to_do="choose another place"
        ) from error
    show.lines("", [words.wrote_draft(str(path), group)])


@bikes.command("add", short_help="Check a bike file and add it, or replace the bike's old one.")
@click.argument("file", type=click.Path(path_type=Path, readable=False))
@json_option
@library_option
@click.pass_obj
def bikes_add(folder: Path | None, file: Path, *, as_json: bool, library_folder: Path | None) -> None:
    """Check a bike file and add it; a bike of the same id is replaced, its old file kept."""
    library = open_library(library_folder or folder)
    before = {known.id: known for known in library.bikes()}
    bike = library.add_bike(file)
    if before.get(bike.id, bike) != bike:
        say(words.bike_replaced(bike.id))
    if as_json:
        print_json({"schema": 1, "bikes": [_plain(bike)]})
    else:
        show.lines("", [words.bike_added(bike.id, bike.build)])
        show.lines(words.DEFAULTS, [", ".join(bike.defaults_used)] if bike.defaults_used else [])


@bikes.command("show", short_help="Print a bike file, and what is remembered of its columns.")
@click.argument("bike_id", metavar="ID")
@json_option
@library_option
@click.pass_obj
def bikes_show(folder: Path | None, bike_id: str, *, as_json: bool, library_folder: Path | None) -> None:
    """Print the bike file as it was added, and what was confirmed of the columns of the bike's logs."""
    library = open_library(library_folder or folder)
    bike = library.bike(bike_id)
    known = library.column_mappings(bike.id)
    if as_json:
        columns = [_plain_meaning(mapping, meaning) for mapping in known for meaning in mapping.meanings]
        print_json({"schema": 1, "bikes": [{**_plain(bike), "columns": columns}]})
        return
    text = library.bike_text(bike.id)
    click.echo(text, nl=False)
    if known:
        # As comments, so that what is printed stays a bike file.
        click.echo("\n" if text.endswith("\n") else "\n\n", nl=False)
        for line in _confirmed(bike.id, known):
            click.echo(f"# {show.plain(' '.join(line.split()))}")


def _plain_meaning(mapping: Mapping, meaning: ColumnMeaning) -> dict[str, Any]:
    return {
        "header": mapping.header,
        "column": meaning.column,
        "channel": meaning.channel,
        "unit": meaning.unit,
        "confirmed_utc": meaning.confirmed_utc.isoformat(),
    }


def _confirmed(bike_id: str, known: list[Mapping]) -> Iterator[str]:
    yield words.confirmed_head(bike_id)
    for mapping in known:
        yield words.confirmed_header([name for name, _ in mapping.columns])
        for one in mapping.meanings:
            yield words.confirmed_column(one.column, one.channel, one.unit, one.confirmed_utc)


@bikes.command("forget-columns", short_help="Forget what is remembered of a bike's columns.")
@click.argument("bike_id", metavar="ID")
@json_option
@library_option
@click.pass_obj
def bikes_forget_columns(folder: Path | None, bike_id: str, *, as_json: bool, library_folder: Path | None) -> None:
    """Forget what was confirmed of the columns of a bike's logs. Rides already imported stay as they are."""
    library = open_library(library_folder or folder)
    if not (count := library.forget_columns(bike_id)):
        library.bike_text(bike_id)  # nothing to forget: a slip of the pen in the id is told
    if as_json:
        print_json({"schema": 1, "bike": bike_id, "forgotten": count})
    else:
        show.lines("", [words.forgotten(count, bike_id)])


@click.group(cls=InOrder, invoke_without_command=True)
@json_option
@library_option
@click.pass_context
def advice(ctx: click.Context, *, as_json: bool, library_folder: Path | None) -> None:
    """List the advice sheets of the library; draft, add or show one."""
    ctx.obj = library_folder
    if ctx.invoked_subcommand is None:
        found = open_library(library_folder).sheets()
        _list_advice(list(found.usable), as_json=as_json)
        _refuse([one.error for one in found.lost])


def _list_advice(found: list[Advice], *, as_json: bool) -> None:
    if as_json:
        print_json({"schema": 1, "sheets": [_plain(sheet) for sheet in found]})
        return
    if not found:
        show.lines("", [words.NO_SHEETS])
        return
    rows = [
        (
            sheet.version,
            sheet.valid_from.isoformat(),
            ", ".join(rule.kind for rule in sheet.rules if rule.map == "conservative"),
            ", ".join(rule.kind for rule in sheet.rules if rule.map == "either"),
        )
        for sheet in found
    ]
    show.table("", words.SHEET_COLUMNS, rows)


@advice.command("new", short_help="Draft an advice sheet to change and add.")
@click.argument("version")
@click.option(
    "-o", "--output", type=click.Path(path_type=Path), help="File to write. Default: VERSION.advice.toml here."
)
def advice_new(version: str, output: Path | None) -> None:
    """Write an advice sheet with every rule at its default, valid from today, to change and add."""
    from datetime import datetime

    from ridelog.advice import template

    _draft(output or Path(f"{version}.advice.toml"), template(version, datetime.now().astimezone().date()), "advice")


@advice.command("add")
@click.argument("file", type=click.Path(path_type=Path, readable=False))
@json_option
@library_option
@click.pass_obj
def advice_add(folder: Path | None, file: Path, *, as_json: bool, library_folder: Path | None) -> None:
    """Check an advice sheet and add it. Rides are judged by the sheet that held on their date."""
    library = open_library(library_folder or folder)
    before = {known.version: known for known in library.sheets().usable}
    sheet = library.add_advice(file)
    if before.get(sheet.version, sheet) != sheet:
        say(words.sheet_replaced(sheet.version))
    if as_json:
        print_json({"schema": 1, "sheets": [_plain(sheet)]})
    else:
        show.lines("", [words.sheet_added(sheet.version, sheet.valid_from)])
        show.lines(words.DEFAULTS, [", ".join(sheet.defaults_used)] if sheet.defaults_used else [])


@advice.command("show", short_help="Print the rules of a sheet, defaults filled in.")
@click.argument("version")
@json_option
@library_option
@click.pass_obj
def advice_show(folder: Path | None, version: str, *, as_json: bool, library_folder: Path | None) -> None:
    """Print the rules of a sheet, defaults filled in. `built-in` is the one used where there is none."""
    from ridelog.advice import CONDITIONS, default_advice

    built_in = default_advice()
    if version == built_in.version:
        sheet = built_in
    else:
        library = open_library(library_folder or folder, must_exist=True)
        stored = library.sheets()
        known = [built_in.version, *(one.version for one in stored.usable), *(one.version for one in stored.lost)]
        if version not in known:
            raise NotInLibrary(
                f"there is no advice sheet {version!r}", expected="one of " + ", ".join(known), to_do="name one of them"
            )
        sheet = library.advice(version)
    if as_json:
        print_json({"schema": 1, "sheets": [_plain(sheet)]})
        return
    rows = [
        (
            rule.kind,
            rule.map,
            ", ".join(
                f"{key} {value:g} {CONDITIONS[rule.kind][key].unit}".removesuffix(" 1") for key, value in rule.levels
            ),
            show.duration(rule.min_duration_s),
            show.duration(rule.merge_gap_s),
            show.share(rule.leave_share),
            show.duration(rule.grace_s),
        )
        for rule in sheet.rules
    ]
    show.table(words.sheet_title(sheet.version, sheet.valid_from), words.RULE_COLUMNS, rows, right=(3, 4, 5, 6))
