"""Options and helpers that several commands share."""

from __future__ import annotations

import json
import math
import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from ridelog.errors import UsageError

if TYPE_CHECKING:
    from ridelog.bike import Bike
    from ridelog.ingest import ImportOptions
    from ridelog.ride import Ride
    from ridelog.store.library import Library

Command = TypeVar("Command", bound=Callable[..., Any])


class InOrder(click.Group):
    """Lists commands in the order of the work, not of the alphabet."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click calls it so
        """Names in the order they were added."""
        return list(self.commands)


def library_option(function: Command) -> Command:
    """`--library DIR`."""
    return click.option(
        "--library",
        "library_folder",
        type=click.Path(path_type=Path, file_okay=False),
        metavar="DIR",
        help="Folder of the library. Default: $RIDELOG_LIBRARY, else your user-data folder.",
    )(function)


def json_option(function: Command) -> Command:
    """`--json`."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON document on stdout.")(function)


def bike_option(function: Command) -> Command:
    """`--bike BIKE`."""
    return click.option("--bike", metavar="BIKE", help="A bike id of the library, or the path of a bike file.")(
        function
    )


class Finite(click.FloatRange):
    """A range that holds numbers only: click's own lets 'nan' through, because it compares false with every bound."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number. Fails with click's own message for anything else."""
        number = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a number", param, ctx)
        return number


def ambient_option(function: Command) -> Command:
    """`--ambient C`."""
    return click.option(
        "--ambient",
        "ambient_c",
        type=Finite(-40.0, 60.0),
        metavar="C",
        help="Air temperature of the day in C. It wins over a logged one: such a sensor often sits in warm air.",
    )(function)


def open_library(folder: Path | None, *, must_exist: bool = False) -> Library:
    """The library of this call. One that was named to be read must be there: a slip of the pen must not make one."""
    from ridelog.store.library import Library

    if must_exist and folder is not None and not folder.exists():
        raise UsageError(
            "there is no such folder", where=str(folder), expected="the folder of a library", to_do="check --library"
        )
    return Library.open(folder)


FORMATS = ("gpx", "nmea", "arrow", "mdf", "can-text", "delimited")
"""Names `--format` takes besides those of plug-ins. Kept here so that help needs no reader; a test compares."""


@dataclass(frozen=True)
class Reading:
    """How the user wants files to be read; everything left out is found out."""

    start: str | None
    timezone: str | None
    format: str | None
    columns: tuple[str, ...]
    description: Path | None

    def given(self) -> list[str]:
        """The options that were given, as the user wrote them."""
        options: dict[str, object] = {"--start": self.start, "--timezone": self.timezone, "--format": self.format}
        options |= {"--column": self.columns, "--description": self.description}
        return [name for name, value in options.items() if value]


def reading_options(function: Command) -> Command:
    """`--start --timezone --format --column --description`, handed on as one `reading`."""

    @wraps(function)
    def gathered(**arguments: Any) -> Any:
        names = ("start", "timezone", "format", "columns", "description")
        reading = Reading(**{name: arguments.pop(name) for name in names})
        return function(reading=reading, **arguments)

    options = (
        click.option(
            "--start", metavar="ISO8601", help="Date and time of the first sample, where the log has no date."
        ),
        click.option("--timezone", metavar="TZ", help="Zone of times that name none: an IANA name, or +02:00."),
        click.option("--format", metavar="F", help=f"Read as this format: {', '.join(FORMATS)}. Else it is found out."),
        click.option(
            "--column",
            "columns",
            multiple=True,
            metavar="'NAME=channel:unit'",
            help="Say what a column holds, e.g. 'Temp=coolant_c:C' or 'Speed=gps_speed_mps:km/h'. Channels stand in"
            " README.md; time, date and raw (leave it alone) work too. May be given several times.",
        ),
        click.option(
            "--description",
            type=click.Path(exists=True, dir_okay=False, path_type=Path),
            metavar="FILE",
            help="Message description (.dbc) of a CAN trace.",
        ),
    )
    for option in reversed(options):
        gathered = option(gathered)
    return cast("Command", gathered)


def import_options(reading: Reading, bike: Bike | None, ambient_c: float | None) -> ImportOptions:
    """What the importer is told."""
    from ridelog.ingest import ImportOptions, parse_column_option

    return ImportOptions(
        bike=bike,
        bike_id=bike.id if bike else None,
        ambient_c=ambient_c,
        start=parse_time(reading.start) if reading.start else None,
        timezone=reading.timezone,
        format=reading.format,
        columns=tuple(parse_column_option(text) for text in reading.columns),
        description=reading.description,
    )


def print_json(document: dict[str, Any], indent: int | None = 2) -> None:
    """One JSON document on stdout; a NaN in it is a fault of ours and raises. Long lists go out without indent."""
    sys.stdout.write(json.dumps(document, allow_nan=False, ensure_ascii=False, indent=indent) + "\n")


def looks_like_path(text: str) -> bool:
    """True for something meant as a path rather than an id of the library."""
    return os.sep in text or "/" in text or text.endswith((".toml", ".csv", ".gz")) or is_there(Path(text))


def is_there(path: Path) -> bool:
    """Does something of that name exist? A text no file system can take as a name is no path."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


def find_bike(library: Library | None, text: str | None) -> Bike | None:
    """The bike an option names: a file where it is one, else an id of the library."""
    if text is None:
        return None
    if looks_like_path(text):
        from ridelog.bike import read_bike

        return read_bike(Path(text))
    if library is None:
        raise UsageError(f"--bike {text}", expected="a bike id of the library or a path", to_do="name a bike file")
    return library.bike(text)


def ride_or_file(library: Library, text: str, bike: Bike | None, ambient_c: float | None, reading: Reading) -> Ride:
    """A stored ride by id (or the start of one), or a log file read without storing it."""
    path = Path(text)
    if not text.strip():
        raise UsageError(
            "no ride is named", expected="a log file or a ride of the library", to_do="`ridelog rides` lists the rides"
        )
    if not looks_like_path(text):
        if reading.given():
            raise UsageError(
                f"{', '.join(reading.given())} can't be applied to a stored ride",
                where=text,
                expected="these options with a log file",
                to_do="name the file, or correct the ride: ridelog edit",
            )
        return library.load(library.resolve(text))
    from ridelog.ingest import read_rides, remembered

    if not is_there(path):
        raise UsageError(
            "there is no such file", where=text, expected="a log file or a ride of the library", to_do="check the path"
        )
    if path.is_dir():
        raise UsageError(
            "is a folder", where=text, expected="one log file or a ride of the library", to_do="name a file in it"
        )
    options = import_options(reading, bike, ambient_c)
    found = read_rides([path], replace(options, remembered=remembered(library, options.bike_id)))
    if len(found) > 1:
        raise UsageError(
            f"the file holds {len(found)} rides",
            where=path.name,
            expected="one ride",
            to_do="import it, then name one of its rides (`ridelog import`, `ridelog rides`)",
        )
    return found[0]


class Progress:
    """Says on stderr what is being done, once it has taken more than a second. Call it to tell what that is."""

    def __init__(self) -> None:
        self._doing = "working"
        self._stop = threading.Event()
        self._asking = threading.Event()
        self._screen = threading.Lock()

    def __call__(self, text: str) -> None:
        """What is being done from now on."""
        self._doing = text

    @contextmanager
    def paused(self) -> Iterator[None]:
        """Draws nothing meanwhile: somebody is being asked."""
        self._asking.set()
        try:
            with self._screen:
                yield
        finally:
            self._asking.clear()

    def watch(self) -> None:
        """Draw until told to stop."""
        if self._stop.wait(1.0):
            return
        if not sys.stderr.isatty():
            click.echo(f"ridelog: {self._doing} …", err=True)
            return
        from rich.console import Console

        while not self._stop.wait(0.05):
            with self._screen, Console(stderr=True).status(self._doing) as status:
                while not self._asking.is_set() and not self._stop.wait(0.2):
                    status.update(self._doing)

    def stop(self) -> None:
        """Draw no more."""
        self._stop.set()


@contextmanager
def progress() -> Iterator[Progress]:
    """Says on stderr what is being done, once it has taken more than a second. Yields what to tell it with."""
    telling = Progress()
    thread = threading.Thread(target=telling.watch, daemon=True)
    thread.start()
    try:
        yield telling
    finally:
        telling.stop()
        thread.join()


def parse_time(text: str) -> datetime:
    """An ISO 8601 date and time, with or without a zone. Raises UsageError."""
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f"{text!r} is not a date and time",
            where="--start",
            expected="ISO 8601 such as 2026-05-02T09:30:00+02:00",
            to_do="correct the option",
        ) from error


def to_utc(moment: datetime) -> datetime:
    """In UTC; a time without a zone is refused, because guessing one moves the ride."""
    if moment.tzinfo is None:
        raise UsageError(
            f"{moment.isoformat()} has no time zone",
            where="--start",
            expected="a time with its zone, such as 2026-05-02T09:30:00+02:00 or ...Z",
            to_do="add the zone",
        )
    return moment.astimezone(UTC)
